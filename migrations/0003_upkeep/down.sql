revoke all on feed_scope, feed_entry, idempotency, refresh_token from rimeyard_sweep;
revoke usage on schema public from rimeyard_sweep;
drop policy sweep on feed_scope;
drop policy sweep on feed_entry;
drop policy sweep on idempotency;
drop policy sweep on refresh_token;
drop index feed_entry_gone, idempotency_age, refresh_token_expiry;
alter table refresh_token
    drop constraint refresh_token_org_id_parent_fkey,
    add constraint refresh_token_org_id_parent_fkey foreign key (org_id, parent) references refresh_token (org_id, id);
drop index mark_parked;
alter table mark drop column retry_at;
