drop index mark_parked;
alter table mark drop column retry_at;
