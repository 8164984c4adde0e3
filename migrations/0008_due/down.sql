drop index unit_state_owed;
alter table unit_state drop column tasks, drop column owed;
drop table alert;
drop table deferral;
drop table task_done;
