revoke select (enrolled_by) on device from rimeyard_door;
alter table unsent drop column operator_id;
alter table audit drop column session;
