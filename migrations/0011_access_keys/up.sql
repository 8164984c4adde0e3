-- Keys of depot systems: programs that ask with a secret of their own instead of signing in.

-- The secret is 256 random bits and kept as its SHA-256 only. What it may write is named; what it may read is what its
-- depot system is granted.
create table access_key (
    org_id        uuid not null,
    id            uuid not null,
    person_id     uuid not null,
    name          text not null check (length(name) between 1 and 200),
    key_hash      bytea not null check (octet_length(key_hash) = 32),
    may_write     text[] not null default '{}' check (may_write <@ '{meter readings,snowfall}'::text[]),
    created_at    timestamptz not null default now(),
    created_by    uuid not null,
    expires_at    timestamptz not null,
    last_used_at  timestamptz,
    revoked_at    timestamptz,
    revoked_by    uuid,
    rev           bigint not null default 1,
    primary key (org_id, id),
    check ((revoked_at is null) = (revoked_by is null)),
    foreign key (org_id, person_id) references person (org_id, id),
    foreign key (org_id, created_by) references person (org_id, id),
    foreign key (org_id, revoked_by) references person (org_id, id)
);
create index on access_key (org_id, person_id);
create index on access_key (org_id, created_by);
create index on access_key (org_id, revoked_by) where revoked_by is not null;
-- Across organisations: whoever comes with a key names no organisation.
create unique index access_key_hash on access_key (key_hash);

alter table access_key enable row level security;
alter table access_key force row level security;
create policy app on access_key to rimeyard_app
    using (org_id = nullif(current_setting('app.org', true), '')::uuid)
    with check (org_id = nullif(current_setting('app.org', true), '')::uuid);
-- The app makes keys and revokes them, and never reads a hash.
grant select (org_id, id, person_id, name, may_write, created_at, created_by, expires_at, last_used_at, revoked_at,
              revoked_by, rev),
      insert, update (revoked_at, revoked_by, rev)
    on access_key to rimeyard_app;
create policy door on access_key to rimeyard_door using (true) with check (true);
grant select, update (last_used_at) on access_key to rimeyard_door;
