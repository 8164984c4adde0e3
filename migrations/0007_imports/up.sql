-- Tables that people bring: kept as they came, checked whole, then applied in pieces that only roll forward. What is
-- staged here is swept after 30 days; what was applied stands in its own tables.
create table import (
    org_id         uuid not null references organisation,
    id             uuid not null,
    what           text not null check (what in ('units', 'inspections', 'meter-readings', 'snowfall', 'parts', 'stock')),
    state          text not null check (state in ('receiving', 'checking', 'checked', 'refused', 'applying', 'applied', 'halted', 'abandoned')),
    dry_run        boolean not null,
    dates          text check (dates in ('month-first', 'day-first')),
    decimal_mark   text not null check (decimal_mark in ('point', 'comma')),
    header         jsonb not null,
    created_by     uuid not null,
    applied_by     uuid,
    created_at     timestamptz not null default now(),
    -- When it last got on.
    changed_at     timestamptz not null default now(),
    checked_at     timestamptz,
    applied_at     timestamptz,
    row_count      integer not null default 0,
    checked_count  integer not null default 0,
    fault_count    integer not null default 0,
    applied_count  integer not null default 0,
    -- Up to where it is checked, a row's number, and applied, an item's place: moved in the transaction of the work.
    checked_to     integer not null default 0,
    applied_to     bytea not null default '\x',
    -- Those its rows are about, once it is checked: who is granted all of them may see it.
    depots         uuid[] not null default '{}',
    halted_because text,
    lease_token    uuid,
    leased_until   timestamptz,
    attempts       integer not null default 0,
    retry_at       timestamptz,
    last_error     text,
    primary key (org_id, id),
    foreign key (org_id, created_by) references person (org_id, id),
    foreign key (org_id, applied_by) references person (org_id, id)
);
create index on import (org_id, created_by);
create index on import (org_id, applied_by);
-- Few are under way: the worker reads this whole, over all organisations.
create index import_under_way on import (org_id, changed_at) where state in ('checking', 'applying');

-- A row as it came: its cells are a JSON array of texts. `row` is its number as spreadsheets count.
create table import_row (
    org_id     uuid not null,
    import_id  uuid not null,
    row        integer not null,
    cells      text not null,
    at         timestamptz not null default now(),
    primary key (org_id, import_id, row),
    foreign key (org_id, import_id) references import (org_id, id)
);

-- A row as it was understood. `place` is where it stands in the order of applying; all of it but its last four bytes, the
-- row, is equal for the rows of one object. Two rows with the same `key` contradict each other.
create table import_item (
    org_id     uuid not null,
    import_id  uuid not null,
    place      bytea not null,
    row        integer not null,
    key        text,
    content    text not null,
    at         timestamptz not null default now(),
    primary key (org_id, import_id, place),
    foreign key (org_id, import_id) references import (org_id, id)
);

create table import_fault (
    org_id     uuid not null,
    import_id  uuid not null,
    row        integer not null,
    place      integer not null,
    field      text not null,
    problem    text not null,
    at         timestamptz not null default now(),
    primary key (org_id, import_id, row, place),
    foreign key (org_id, import_id) references import (org_id, id)
);

-- Who records a reading asks for the last that was doubted, and mostly there is none: without these the whole history of
-- a machine would be looked through each time.
create index meter_reading_doubted on meter_reading (org_id, unit_id, took_effect_at) where flags <> '{}';
create index inspection_doubted on inspection (org_id, unit_id, took_effect_at) where flags <> '{}';

-- What was entered, where it was not mm.
alter table snowfall add column entered double precision, add column unit text;

do $$
declare
    t text;
begin
    foreach t in array array['import', 'import_row', 'import_item', 'import_fault'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format(
            'create policy app on %I to rimeyard_app
             using (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)
             with check (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)', t);
    end loop;
end $$;
grant select, insert, update on import to rimeyard_app;
grant select, insert on import_row, import_item to rimeyard_app;
-- A halted import that goes on leaves its fault behind.
grant select, insert, delete on import_fault to rimeyard_app;

create policy clock on import to rimeyard_clock using (true) with check (true);
grant select (org_id, id, state, changed_at, lease_token, leased_until, attempts, retry_at, last_error),
    update (state, changed_at, halted_because, lease_token, leased_until, attempts, retry_at, last_error)
    on import to rimeyard_clock;

create policy sweep on import to rimeyard_sweep using (created_at <= now() - interval '30 days');
create policy sweep on import_row to rimeyard_sweep using (at <= now() - interval '30 days');
create policy sweep on import_item to rimeyard_sweep using (at <= now() - interval '30 days');
create policy sweep on import_fault to rimeyard_sweep using (at <= now() - interval '30 days');
grant select (org_id, id, created_at), delete on import to rimeyard_sweep;
grant select (org_id, import_id, row, at), delete on import_row to rimeyard_sweep;
grant select (org_id, import_id, place, at), delete on import_item to rimeyard_sweep;
grant select (org_id, import_id, row, place, at), delete on import_fault to rimeyard_sweep;
