-- The spine's tables. Every table that belongs to an organisation begins its key with org_id, has row-level
-- security forced, and refers to others by (org_id, id), because foreign keys bypass row-level security.
--
-- Three group roles (created by `rimeyard migrate` before this runs, since roles belong to the cluster):
--   rimeyard_app    everything of one organisation, the one in the setting app.org
--   rimeyard_door   sign-in: finds a credential or refresh token before the organisation is known
--   rimeyard_clock  claims marks of every organisation

create table organisation (
    org_id      uuid primary key,
    name        text not null check (length(name) between 1 and 200),
    created_at  timestamptz not null default now()
);

-- One row: what a reader's cursor is valid against, beside the cluster's own identity. An operator raises
-- `counter` after restoring a backup.
create table installation (
    one      boolean primary key default true check (one),
    counter  bigint not null default 1
);
insert into installation default values;

create table depot (
    org_id             uuid not null references organisation,
    id                 uuid not null,
    name               text not null check (length(name) between 1 and 200),
    zone               text not null,
    latitude           double precision not null check (latitude between -90 and 90),
    longitude          double precision not null check (longitude between -180 and 180),
    season_starts      text not null check (season_starts ~ '^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$'),
    season_ends        text not null check (season_ends ~ '^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$'),
    typical_snow_days  integer not null check (typical_snow_days between 0 and 366),
    snow_day_mm        double precision not null default 25 check (snow_day_mm > 0),
    design_storm       jsonb not null,
    duties             jsonb not null default '[]',
    operators          jsonb not null default '[]',
    rev                bigint not null default 1,
    created_at         timestamptz not null default now(),
    primary key (org_id, id),
    unique (org_id, name)
);

create table person (
    org_id      uuid not null references organisation,
    id          uuid not null,
    name        text not null check (length(name) between 1 and 200),
    role        text not null check (role in ('technician', 'operator', 'depot lead', 'district manager', 'depot system', 'administrator')),
    all_depots  boolean not null default false,
    active      boolean not null default true,
    rev         bigint not null default 1,
    created_at  timestamptz not null default now(),
    primary key (org_id, id)
);

create table person_depot (
    org_id     uuid not null,
    person_id  uuid not null,
    depot_id   uuid not null,
    primary key (org_id, person_id, depot_id),
    foreign key (org_id, person_id) references person (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id)
);
create index on person_depot (org_id, depot_id);

create table credential (
    org_id         uuid not null,
    person_id      uuid not null,
    email          text not null check (email = lower(email) and length(email) between 3 and 254),
    password_hash  text not null,
    changed_at     timestamptz not null default now(),
    primary key (org_id, person_id),
    foreign key (org_id, person_id) references person (org_id, id)
);
-- Across organisations: whoever signs in names an address, not an organisation.
create unique index credential_email on credential (email);

-- A family descends from one sign-in; each use of a token makes a child.
create table refresh_token (
    org_id      uuid not null,
    id          uuid not null,
    person_id   uuid not null,
    family      uuid not null,
    parent      uuid,
    token_hash  bytea not null,
    created_at  timestamptz not null default now(),
    expires_at  timestamptz not null,
    used_at     timestamptz,
    revoked_at  timestamptz,
    primary key (org_id, id),
    foreign key (org_id, person_id) references person (org_id, id),
    foreign key (org_id, parent) references refresh_token (org_id, id)
);
create index on refresh_token (org_id, person_id);
create index on refresh_token (org_id, family);
create index on refresh_token (org_id, parent);
create unique index refresh_token_hash on refresh_token (token_hash);

-- The keys that sign access tokens; they belong to the installation.
create table signing_key (
    kid          text primary key,
    private_pem  text not null,
    public_pem   text not null,
    created_at   timestamptz not null default now(),
    retired_at   timestamptz
);

create table checklist (
    org_id      uuid not null references organisation,
    id          uuid not null,
    name        text not null check (length(name) between 1 and 200),
    kind        text not null,
    version     integer not null default 1,
    rev         bigint not null default 1,
    created_at  timestamptz not null default now(),
    primary key (org_id, id),
    unique (org_id, name)
);

create table checklist_version (
    org_id        uuid not null,
    checklist_id  uuid not null,
    version       integer not null,
    content       jsonb not null,
    created_at    timestamptz not null default now(),
    created_by    uuid,
    primary key (org_id, checklist_id, version),
    foreign key (org_id, checklist_id) references checklist (org_id, id),
    foreign key (org_id, created_by) references person (org_id, id)
);
create index on checklist_version (org_id, created_by);

create table model (
    org_id         uuid not null references organisation,
    id             uuid not null,
    name           text not null check (length(name) between 1 and 200),
    kind           text not null,
    checklist_id   uuid not null,
    sheet_version  integer not null default 1,
    rev            bigint not null default 1,
    created_at     timestamptz not null default now(),
    primary key (org_id, id),
    unique (org_id, name),
    foreign key (org_id, checklist_id) references checklist (org_id, id)
);
create index on model (org_id, checklist_id);

-- Every version is kept: an old verdict is read against the sheet of its day.
create table sheet (
    org_id      uuid not null,
    model_id    uuid not null,
    version     integer not null,
    content     jsonb not null,
    created_at  timestamptz not null default now(),
    created_by  uuid,
    primary key (org_id, model_id, version),
    foreign key (org_id, model_id) references model (org_id, id),
    foreign key (org_id, created_by) references person (org_id, id)
);
create index on sheet (org_id, created_by);

create table unit (
    org_id       uuid not null,
    id           uuid not null,
    depot_id     uuid not null,
    model_id     uuid not null,
    tag          text not null check (length(tag) between 1 and 40),
    rigging      text not null check (rigging in ('clear', 'spread', 'blow')),
    away         text check (length(away) between 1 and 200),
    acquired_on  date,
    retired_at   timestamptz,
    rev          bigint not null default 1,
    created_at   timestamptz not null default now(),
    primary key (org_id, id),
    unique (org_id, tag),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, model_id) references model (org_id, id)
);
create index on unit (org_id, depot_id);
create index on unit (org_id, model_id);

-- Clocks lie: a fact takes effect when it is said to have happened, and no later than its receipt. Whatever asks for
-- the newest asks by `took_effect_at`.
create table inspection (
    org_id             uuid not null,
    id                 uuid not null,
    unit_id            uuid not null,
    depot_id           uuid not null,
    kind               text not null check (kind in ('pre_season', 'in_season', 'after_storm', 'after_repair', 'storage')),
    performed_at       timestamptz not null,
    received_at        timestamptz not null default now(),
    performed_by       uuid not null,
    run_hours          double precision,
    model_id           uuid not null,
    sheet_version      integer not null,
    checklist_id       uuid not null,
    checklist_version  integer not null,
    corrects           uuid,
    note               text check (length(note) <= 2000),
    flags              text[] not null default '{}',
    took_effect_at     timestamptz not null generated always as (least(performed_at, received_at)) stored,
    primary key (org_id, id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, performed_by) references person (org_id, id),
    foreign key (org_id, model_id, sheet_version) references sheet (org_id, model_id, version),
    foreign key (org_id, checklist_id, checklist_version) references checklist_version (org_id, checklist_id, version),
    foreign key (org_id, corrects) references inspection (org_id, id)
);
create index on inspection (org_id, unit_id, took_effect_at);
create index on inspection (org_id, depot_id, id);
create index on inspection (org_id, performed_by);
create index on inspection (org_id, model_id, sheet_version);
create index on inspection (org_id, checklist_id, checklist_version);
-- Few facts are corrected: an index of those alone stays small enough to be read whole.
create index on inspection (org_id, corrects) where corrects is not null;

-- A part as fitted to a unit, from one fitting to the next. Turning a shoe, moving a take-up or renewing ends one
-- row and starts the next: each row is one path of wear.
create table fitted_part (
    org_id         uuid not null,
    id             uuid not null,
    unit_id        uuid not null,
    part           text not null check (length(part) between 1 and 60),
    how            text not null check (how in ('as delivered', 'renewed', 'turned', 'adjusted')),
    fitted_at      timestamptz,
    fitted_hours   double precision,
    removed_at     timestamptz,
    removed_hours  double precision,
    failed         boolean,
    inspection_id  uuid,
    created_at     timestamptz not null default now(),
    created_by     uuid not null,
    primary key (org_id, id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, inspection_id) references inspection (org_id, id),
    foreign key (org_id, created_by) references person (org_id, id)
);
create unique index fitted_part_one_at_a_time on fitted_part (org_id, unit_id, part) where removed_at is null;
create index on fitted_part (org_id, unit_id);
create index on fitted_part (org_id, inspection_id);
create index on fitted_part (org_id, created_by);

-- `value` is SI; `entered` and `unit` are what the person typed. `low_c` (the forecast low, for a battery) and
-- `backed_by` (the verdict on the check that says whether the part still works) are what else the verdict stands on.
create table reading (
    org_id          uuid not null,
    inspection_id   uuid not null,
    check_code      text not null check (length(check_code) between 1 and 60),
    unit_id         uuid not null,
    fitted_part_id  uuid,
    value           double precision,
    entered         double precision,
    unit            text,
    grade           text,
    works           boolean,
    level           text,
    temperature_c   double precision,
    full_charge     double precision,
    repeats         integer not null default 1 check (repeats between 1 and 100),
    low_c           double precision,
    backed_by       text check (backed_by in ('serviceable', 'marginal', 'unserviceable')),
    verdict         text not null check (verdict in ('serviceable', 'marginal', 'unserviceable')),
    flags           text[] not null default '{}',
    note            text check (length(note) <= 2000),
    primary key (org_id, inspection_id, check_code),
    foreign key (org_id, inspection_id) references inspection (org_id, id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, fitted_part_id) references fitted_part (org_id, id)
);
create index on reading (org_id, unit_id, check_code);
create index on reading (org_id, fitted_part_id);

create table meter_reading (
    org_id       uuid not null,
    id           uuid not null,
    unit_id      uuid not null,
    depot_id     uuid not null,
    read_at      timestamptz not null,
    received_at  timestamptz not null default now(),
    read_by      uuid not null,
    run_hours    double precision,
    estimated    boolean not null default false,
    started      boolean,
    corrects     uuid,
    note         text check (length(note) <= 2000),
    flags        text[] not null default '{}',
    took_effect_at  timestamptz not null generated always as (least(read_at, received_at)) stored,
    primary key (org_id, id),
    check (run_hours is not null or started is not null),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, read_by) references person (org_id, id),
    foreign key (org_id, corrects) references meter_reading (org_id, id)
);
create index on meter_reading (org_id, unit_id, took_effect_at);
create index on meter_reading (org_id, depot_id, id);
create index on meter_reading (org_id, read_by);
create index on meter_reading (org_id, corrects) where corrects is not null;

create table finding (
    org_id         uuid not null,
    id             uuid not null,
    unit_id        uuid not null,
    depot_id       uuid not null,
    inspection_id  uuid not null,
    check_code     text not null,
    effect         text not null check (effect in ('hold', 'stop', 'degrade', 'note')),
    text           text not null,
    opened_at      timestamptz not null,
    closed_at      timestamptz,
    closed_by      uuid,
    rev            bigint not null default 1,
    primary key (org_id, id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, inspection_id) references inspection (org_id, id),
    foreign key (org_id, closed_by) references inspection (org_id, id)
);
create unique index finding_one_open on finding (org_id, unit_id, check_code) where closed_at is null;
create index on finding (org_id, unit_id);
create index on finding (org_id, depot_id, id);
create index on finding (org_id, inspection_id);
create index on finding (org_id, closed_by);

create table hold (
    org_id             uuid not null,
    id                 uuid not null,
    unit_id            uuid not null,
    depot_id           uuid not null,
    reason             text not null check (length(reason) between 1 and 500),
    finding_id         uuid,
    placed_at          timestamptz not null,
    placed_by          uuid not null,
    lifted_at          timestamptz,
    lifted_by          uuid,
    lifted_inspection  uuid,
    rev                bigint not null default 1,
    primary key (org_id, id),
    check ((lifted_at is null) = (lifted_by is null) and (lifted_at is null) = (lifted_inspection is null)),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, finding_id) references finding (org_id, id),
    foreign key (org_id, placed_by) references person (org_id, id),
    foreign key (org_id, lifted_by) references person (org_id, id),
    foreign key (org_id, lifted_inspection) references inspection (org_id, id)
);
create index on hold (org_id, unit_id);
create index on hold (org_id, depot_id, id);
create index on hold (org_id, finding_id);
create index on hold (org_id, placed_by);
create index on hold (org_id, lifted_by);
create index on hold (org_id, lifted_inspection);

-- Use under stated limits (day only, paved only), by a named person, until an end. It counts in a storm only once
-- the depot lead has admitted it for that storm.
create table storm (
    org_id         uuid not null references organisation,
    id             uuid not null,
    name           text not null check (length(name) between 1 and 200),
    starts_at      timestamptz not null,
    ends_at        timestamptz not null,
    depth_mm       double precision not null check (depth_mm > 0),
    reclear_mm     double precision not null check (reclear_mm > 0),
    density_kg_m3  double precision check (density_kg_m3 > 0),
    temperature_c  double precision,
    low_c          double precision,
    cancelled_at   timestamptz,
    rev            bigint not null default 1,
    created_at     timestamptz not null default now(),
    primary key (org_id, id),
    check (ends_at > starts_at)
);

create table storm_depot (
    org_id    uuid not null,
    storm_id  uuid not null,
    depot_id  uuid not null,
    primary key (org_id, storm_id, depot_id),
    foreign key (org_id, storm_id) references storm (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id)
);
create index on storm_depot (org_id, depot_id);

create table limited_use (
    org_id          uuid not null,
    id              uuid not null,
    unit_id         uuid not null,
    depot_id        uuid not null,
    reason          text not null check (length(reason) between 1 and 500),
    named_by        uuid not null,
    starts_at       timestamptz not null,
    ends_at         timestamptz not null,
    ended_at        timestamptz,
    admitted_storm  uuid,
    admitted_by     uuid,
    rev             bigint not null default 1,
    primary key (org_id, id),
    check (ends_at > starts_at),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, named_by) references person (org_id, id),
    foreign key (org_id, admitted_storm) references storm (org_id, id),
    foreign key (org_id, admitted_by) references person (org_id, id)
);
create index on limited_use (org_id, unit_id);
create index on limited_use (org_id, depot_id, id);
create index on limited_use (org_id, named_by);
create index on limited_use (org_id, admitted_storm);
create index on limited_use (org_id, admitted_by);

-- What is computed. The document itself is the feed's entry ('unit-state', 'depot-state'); here stands what is not
-- part of its comparison: when it was computed, until when it holds, and the inputs of the calculation.
create table unit_state (
    org_id       uuid not null,
    unit_id      uuid not null,
    depot_id     uuid not null,
    status       text not null,
    inputs       text not null,
    as_of        timestamptz not null,
    valid_until  timestamptz not null,
    primary key (org_id, unit_id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id)
);
create index on unit_state (org_id, depot_id);

create table depot_state (
    org_id       uuid not null,
    depot_id     uuid not null,
    inputs       text not null,
    as_of        timestamptz not null,
    valid_until  timestamptz not null,
    primary key (org_id, depot_id),
    foreign key (org_id, depot_id) references depot (org_id, id)
);

-- A scope is one depot, or the organisation itself (scope_id = org_id).
create table feed_scope (
    org_id    uuid not null references organisation,
    scope_id  uuid not null,
    head      bigint not null default 0,
    digest    bigint not null default 0,
    floor     bigint not null default 0,
    primary key (org_id, scope_id)
);

-- One row per object and scope: its newest state as a client reads it. `digest` is the first 8 bytes of
-- SHA-256("kind:id:rev:" + doc) as a signed integer.
create table feed_entry (
    org_id     uuid not null,
    scope_id   uuid not null,
    kind       text not null,
    object_id  uuid not null,
    seq        bigint not null,
    rev        bigint not null,
    deleted    boolean not null default false,
    digest     bigint not null,
    doc        text not null check (octet_length(doc) <= 65536),
    at         timestamptz not null default now(),
    primary key (org_id, scope_id, kind, object_id),
    foreign key (org_id, scope_id) references feed_scope (org_id, scope_id)
);
create index on feed_entry (org_id, scope_id, seq);
-- Documents are read far more often than written: kept in the row and not compressed, they go out as they are.
alter table feed_entry alter column doc set storage external;
alter table feed_entry set (toast_tuple_target = 8160);

-- One row per depot: when it is next to be recomputed. A write sets due_at to now and raises gen; a finished
-- recomputation sets due_at to its valid_until, unless gen has moved on meanwhile.
create table mark (
    org_id        uuid not null,
    depot_id      uuid not null,
    due_at        timestamptz not null default now(),
    gen           bigint not null default 1,
    lease_token   uuid,
    leased_until  timestamptz,
    attempts      integer not null default 0,
    last_error    text,
    parked_at     timestamptz,
    primary key (org_id, depot_id),
    foreign key (org_id, depot_id) references depot (org_id, id)
);
-- Across organisations: the worker asks what is due anywhere.
create index mark_due on mark (due_at) where parked_at is null;

create table audit (
    org_id       uuid not null references organisation,
    id           uuid not null,
    at           timestamptz not null default now(),
    person_id    uuid,
    action       text not null,
    object_kind  text not null,
    object_id    uuid not null,
    scope_id     uuid not null,
    request_id   uuid,
    detail       jsonb not null default '{}',
    primary key (org_id, id),
    foreign key (org_id, person_id) references person (org_id, id)
);
create index on audit (org_id, person_id);
create index on audit (org_id, object_kind, object_id);

-- The answer given to a write that carried an Idempotency-Key, stored in the effect's own transaction.
create table idempotency (
    org_id          uuid not null,
    person_id       uuid not null,
    key             text not null check (length(key) between 1 and 200),
    request_digest  bytea not null,
    status          integer not null,
    headers         jsonb not null default '{}',
    body            text not null,
    created_at      timestamptz not null default now(),
    primary key (org_id, person_id, key),
    foreign key (org_id, person_id) references person (org_id, id)
);
create index on idempotency (org_id, created_at);

-- Row-level security, forced, on every table with org_id: one policy for the application. NULLIF, because after a
-- transaction the setting is '' and not NULL.
do $$
declare
    t text;
begin
    for t in
        select c.table_name from information_schema.columns c
        join information_schema.tables b using (table_schema, table_name)
        where c.table_schema = 'public' and c.column_name = 'org_id' and b.table_type = 'BASE TABLE'
    loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format(
            'create policy app on %I to rimeyard_app
             using (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)
             with check (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)', t);
    end loop;
end $$;

grant usage on schema public to rimeyard_app, rimeyard_door, rimeyard_clock;
grant select on installation to rimeyard_app;
grant select, insert on organisation, audit, reading, sheet, checklist_version, inspection, meter_reading, idempotency
    to rimeyard_app;
grant select, insert, update on
    depot, person, checklist, model, unit, fitted_part, finding, hold, storm, limited_use, unit_state,
    depot_state, feed_scope, feed_entry, mark
    to rimeyard_app;
grant select, insert, delete on person_depot, storm_depot to rimeyard_app;
-- What is computed of a unit goes with the unit.
grant delete on unit_state to rimeyard_app;
-- The app creates and replaces credentials and never reads a hash; delete lets a later release expire idempotency.
grant insert, update on credential to rimeyard_app;
grant select (org_id, person_id, email) on credential to rimeyard_app;
grant delete on idempotency to rimeyard_app;
-- The app sees which sessions live and can end them, and never reads a token's hash.
grant select (org_id, person_id, family, expires_at, revoked_at), update (revoked_at) on refresh_token to rimeyard_app;

-- What crosses organisations, on exactly these tables.
create policy door on credential to rimeyard_door using (true) with check (true);
create policy door on refresh_token to rimeyard_door using (true) with check (true);
grant select on credential to rimeyard_door;
grant select, insert, update on refresh_token, signing_key to rimeyard_door;
create policy clock on mark to rimeyard_clock using (true) with check (true);
grant select, update on mark to rimeyard_clock;
