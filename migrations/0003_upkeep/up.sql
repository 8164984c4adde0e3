-- What keeps a house of many winters going: depots that fail rest by a clock of their own.

-- Not to be tried again before. A write, which moves due_at, does not move it.
alter table mark add column retry_at timestamptz;
-- Across organisations, like mark_due: the few that are parked are tried again now and then.
create index mark_parked on mark (retry_at) where parked_at is not null;
