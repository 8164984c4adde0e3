-- Through what a change came: the session of a phone or a sign-in, or a depot system's key. Sessions have no table of their
-- own, so it refers to none. Null: nobody's, as what a worker does, or from before this was noted.
alter table audit add column session uuid;
create index on audit (org_id, session, id) where session is not null;

-- Who had a shared phone in their hands when something was noted, as the phone tells it. It is kept as it comes, and so it
-- refers to nobody.
alter table unsent add column operator_id uuid;

-- A phone that was not shut out, and whose session is over all the same, hands in what it has as the word of who made its
-- code.
grant select (enrolled_by) on device to rimeyard_door;
