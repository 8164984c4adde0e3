-- What keeps a house going for many winters: depots that fail rest by a clock of their own, and what has served its
-- time is swept out. A fourth group role does that (created by `rimeyard migrate` before this runs):
--   rimeyard_sweep  of every organisation, sees and deletes what is past its time, and nothing else

-- Not to be tried again before. A write, which moves due_at, does not move it.
alter table mark add column retry_at timestamptz;
-- Across organisations, like mark_due: the few that are parked are tried again now and then.
create index mark_parked on mark (retry_at) where parked_at is not null;

-- A token may go before those that descend from it.
alter table refresh_token
    drop constraint refresh_token_org_id_parent_fkey,
    add constraint refresh_token_org_id_parent_fkey foreign key (org_id, parent) references refresh_token (org_id, id)
        on delete set null (parent);

-- Across organisations: the sweep asks what is oldest anywhere.
create index refresh_token_expiry on refresh_token (expires_at);
create index idempotency_age on idempotency (created_at);
create index feed_entry_gone on feed_entry (at) where deleted;

-- How long things are kept stands here and nowhere else: what is younger this role cannot see.
grant usage on schema public to rimeyard_sweep;
create policy sweep on refresh_token to rimeyard_sweep using (expires_at <= now());
create policy sweep on idempotency to rimeyard_sweep using (created_at <= now() - interval '30 days');
create policy sweep on feed_entry to rimeyard_sweep using (deleted and at <= now() - interval '400 days');
create policy sweep on feed_scope to rimeyard_sweep using (true) with check (true);
grant select (org_id, id, expires_at), delete on refresh_token to rimeyard_sweep;
grant select (org_id, person_id, key, created_at), delete on idempotency to rimeyard_sweep;
grant select (org_id, scope_id, kind, object_id, seq, deleted, at), delete on feed_entry to rimeyard_sweep;
-- Deleting tombstones raises their scope's floor, under the lock that every writer takes first.
grant select (org_id, scope_id, floor), update (floor) on feed_scope to rimeyard_sweep;
