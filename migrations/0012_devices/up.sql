-- Phones: enrolled with a short-lived code, known by a key pair of their own, and shut out when they are lost.

-- The code that a phone is enrolled with: of a person's own phone, or of one that the operators of a depot share. Ten
-- minutes long it is worth as much as a password, once.
create table device_code (
    org_id       uuid not null,
    id           uuid not null,
    code_hash    bytea not null check (octet_length(code_hash) = 32),
    person_id    uuid,
    depot_id     uuid,
    created_at   timestamptz not null default now(),
    created_by   uuid not null,
    expires_at   timestamptz not null,
    redeemed_at  timestamptz,
    primary key (org_id, id),
    check ((person_id is null) <> (depot_id is null)),
    foreign key (org_id, person_id) references person (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, created_by) references person (org_id, id)
);
create index on device_code (org_id, person_id) where person_id is not null;
create index on device_code (org_id, depot_id) where depot_id is not null;
create index on device_code (org_id, created_by);
-- Across organisations: a phone that comes with a code knows no organisation.
create unique index device_code_hash on device_code (code_hash);
create index device_code_expiry on device_code (expires_at);

-- A phone. `person_id` is whose it is; a shared one is a person of its own, an operator, and `depot_id` is where it
-- hangs. `session` is its one family of refresh tokens; `thumbprint` names its public key (RFC 7638).
create table device (
    org_id           uuid not null,
    id               uuid not null,
    name             text not null check (length(name) between 1 and 200),
    person_id        uuid not null,
    depot_id         uuid,
    code_id          uuid not null,
    session          uuid not null,
    thumbprint       text not null check (length(thumbprint) = 43),
    enrolled_at      timestamptz not null default now(),
    enrolled_by      uuid not null,
    revoked_at       timestamptz,
    revoked_by       uuid,
    revoked_because  text check (length(revoked_because) between 1 and 500),
    rev              bigint not null default 1,
    primary key (org_id, id),
    check ((revoked_at is null) = (revoked_by is null) and (revoked_at is null) = (revoked_because is null)),
    foreign key (org_id, person_id) references person (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, enrolled_by) references person (org_id, id),
    foreign key (org_id, revoked_by) references person (org_id, id)
);
create index on device (org_id, person_id);
create index on device (org_id, depot_id) where depot_id is not null;
create index on device (org_id, enrolled_by);
create index on device (org_id, revoked_by) where revoked_by is not null;
create unique index on device (org_id, session);
create unique index on device (org_id, code_id);
-- Across organisations: a key pair is of one phone, enrolled once.
create unique index device_thumbprint on device (thumbprint);

-- What a phone that was shut out had not sent yet: kept for a person, who enters it or sets it aside, and never dropped.
create table unsent (
    org_id       uuid not null,
    id           uuid not null,
    device_id    uuid not null,
    depot_id     uuid,
    what         text not null check (length(what) between 1 and 60),
    body         text not null check (octet_length(body) <= 65536),
    received_at  timestamptz not null default now(),
    settled_at   timestamptz,
    settled_by   uuid,
    outcome      text check (outcome in ('entered', 'set aside')),
    word         text check (length(word) between 1 and 500),
    rev          bigint not null default 1,
    primary key (org_id, id),
    check ((settled_at is null) = (settled_by is null) and (settled_at is null) = (outcome is null)
           and (settled_at is null) = (word is null)),
    foreign key (org_id, device_id) references device (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, settled_by) references person (org_id, id)
);
create index on unsent (org_id, device_id);
create index on unsent (org_id, depot_id, id);
create index on unsent (org_id, settled_by) where settled_by is not null;

do $$
declare
    name text;
begin
    foreach name in array array['device_code', 'device', 'unsent'] loop
        execute format('alter table %I enable row level security', name);
        execute format('alter table %I force row level security', name);
        execute format(
            'create policy app on %I to rimeyard_app
             using (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)
             with check (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)', name);
    end loop;
end $$;
-- The app makes codes and takes them, and never reads one's hash.
grant select (org_id, id, person_id, depot_id, created_at, created_by, expires_at, redeemed_at), insert,
      update (redeemed_at)
    on device_code to rimeyard_app;
grant select, insert, update (revoked_at, revoked_by, revoked_because, rev) on device to rimeyard_app;
grant select, insert, update (settled_at, settled_by, outcome, word, rev) on unsent to rimeyard_app;
-- Whose a code is, and which key a session is bound to, is asked before the organisation is known.
create policy door on device_code to rimeyard_door using (true) with check (true);
create policy door on device to rimeyard_door using (true) with check (true);
grant select (org_id, id, code_hash, created_by, expires_at) on device_code to rimeyard_door;
grant select (org_id, id, session, thumbprint, revoked_at, revoked_by) on device to rimeyard_door;
-- A code that is over is of no use to anybody; which phone came with it, the phone's row says.
create policy sweep on device_code to rimeyard_sweep using (expires_at <= now() - interval '1 day');
grant select (org_id, id, expires_at), delete on device_code to rimeyard_sweep;
