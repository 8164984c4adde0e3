-- The work: what is on the shelf, what is to be done to which machine, and whose hours there are to do it.

-- The organisation's list of parts. `kit`: what is in it, [{part_id, quantity}]; null for what is no kit. Prices are in
-- the minor unit of their currency (ISO 4217).
create table part (
    org_id           uuid not null references organisation,
    id               uuid not null,
    number           text not null check (length(number) between 1 and 60),
    name             text not null check (length(name) between 1 and 200),
    title            text not null check (length(title) between 1 and 200),
    unit             text not null check (length(unit) between 1 and 20),
    pack_size        integer not null check (pack_size > 0),
    lead_time_days   integer not null check (lead_time_days >= 0),
    price_minor      bigint check (price_minor >= 0),
    currency         text check (length(currency) = 3),
    shelf_life_days  integer check (shelf_life_days > 0),
    kit              jsonb,
    rev              bigint not null default 1,
    created_at       timestamptz not null default now(),
    primary key (org_id, id),
    unique (org_id, number),
    check ((price_minor is null) = (currency is null))
);
-- Sheets name parts in words, and words are written as people write them.
create unique index part_org_id_name_key on part (org_id, lower(name));

create table work_order (
    org_id        uuid not null,
    id            uuid not null,
    unit_id       uuid not null,
    depot_id      uuid not null,
    state         text not null check (state in ('found', 'planned', 'waits for parts', 'on the bench', 'to be proved',
                                                 'closed', 'dropped')),
    title         text not null check (length(title) between 1 and 200),
    symptom       text check (length(symptom) between 1 and 500),
    noticed_at    timestamptz,
    planned_for   date,
    assigned_to   uuid,
    waits_for     text check (length(waits_for) between 1 and 200),
    needs         jsonb not null default '[]',
    downtime      jsonb not null default '[]',
    note          text check (length(note) <= 2000),
    drop_reason   text check (length(drop_reason) between 1 and 500),
    proved_by     uuid,
    opened_at     timestamptz not null default now(),
    opened_by     uuid not null,
    ended_at      timestamptz,
    ended_by      uuid,
    rev           bigint not null default 1,
    primary key (org_id, id),
    check ((state in ('closed', 'dropped')) = (ended_at is not null) and (ended_at is null) = (ended_by is null)),
    check ((state = 'dropped') = (drop_reason is not null)),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, assigned_to) references person (org_id, id),
    foreign key (org_id, proved_by) references inspection (org_id, id),
    foreign key (org_id, opened_by) references person (org_id, id),
    foreign key (org_id, ended_by) references person (org_id, id)
);
create index on work_order (org_id, unit_id);
create index on work_order (org_id, depot_id, id);
create index on work_order (org_id, assigned_to);
create index on work_order (org_id, proved_by);
create index on work_order (org_id, opened_by);
create index on work_order (org_id, ended_by);

-- One piece of work of an order: to put a finding right, a task of the sheet, the renewal of a part, or in words only.
create table work_order_line (
    org_id           uuid not null,
    id               uuid not null,
    work_order_id    uuid not null,
    title            text not null check (length(title) between 1 and 200),
    minutes_planned  double precision check (minutes_planned >= 0),
    minutes_worked   double precision check (minutes_worked >= 0),
    finding_id       uuid,
    task             text check (length(task) between 1 and 60),
    part             text check (length(part) between 1 and 60),
    takes            text[] not null default '{}',
    done_at          timestamptz,
    taken_off        text check (length(taken_off) between 1 and 500),
    primary key (org_id, id),
    check (num_nonnulls(finding_id, task, part) <= 1),
    check (done_at is null or taken_off is null),
    foreign key (org_id, work_order_id) references work_order (org_id, id),
    foreign key (org_id, finding_id) references finding (org_id, id)
);
create index on work_order_line (org_id, work_order_id, id);
create index on work_order_line (org_id, finding_id) where finding_id is not null;

-- The ledger of each depot's shelf. Appended only. `moved` leaves depot_id and arrives at to_depot_id; `counted` says
-- what was found. A part without a lot has lot_code ''. `kit_id`: the kit it was a content of.
create table stock_move (
    org_id          uuid not null,
    id              uuid not null,
    depot_id        uuid not null,
    move            text not null check (move in ('received', 'used', 'counted', 'moved', 'lost')),
    part_id         uuid not null,
    quantity        bigint not null check (quantity >= 0),
    lot_code        text not null default '' check (length(lot_code) <= 60),
    made_on         date,
    to_depot_id     uuid,
    kit_id          uuid,
    work_order_id   uuid,
    reason          text check (length(reason) <= 500),
    happened_at     timestamptz not null,
    received_at     timestamptz not null default now(),
    booked_by       uuid not null,
    corrects        uuid,
    flags           text[] not null default '{}',
    took_effect_at  timestamptz not null generated always as (least(happened_at, received_at)) stored,
    primary key (org_id, id),
    check ((move = 'moved') = (to_depot_id is not null) and to_depot_id <> depot_id),
    check (made_on is null or lot_code <> ''),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, to_depot_id) references depot (org_id, id),
    foreign key (org_id, part_id) references part (org_id, id),
    foreign key (org_id, kit_id) references part (org_id, id),
    foreign key (org_id, work_order_id) references work_order (org_id, id),
    foreign key (org_id, booked_by) references person (org_id, id),
    foreign key (org_id, corrects) references stock_move (org_id, id)
);
create index on stock_move (org_id, depot_id, part_id, lot_code, took_effect_at);
create index on stock_move (org_id, depot_id, id);
create index on stock_move (org_id, to_depot_id, part_id, lot_code, took_effect_at) where to_depot_id is not null;
create index on stock_move (org_id, part_id);
create index on stock_move (org_id, kit_id) where kit_id is not null;
create index on stock_move (org_id, work_order_id) where work_order_id is not null;
create index on stock_move (org_id, booked_by);
create unique index stock_move_corrected_once on stock_move (org_id, corrects) where corrects is not null;

-- What the ledger comes to. May be less than nothing: the books can be wrong.
create table stock_level (
    org_id    uuid not null,
    id        uuid not null,
    depot_id  uuid not null,
    part_id   uuid not null,
    lot_code  text not null,
    made_on   date,
    quantity  bigint not null,
    rev       bigint not null default 1,
    primary key (org_id, id),
    unique nulls not distinct (org_id, depot_id, part_id, lot_code, made_on),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, part_id) references part (org_id, id)
);
create index on stock_level (org_id, part_id);

-- A technician's hours for a depot, week by week, from a day until another (none: until further notice).
create table technician_hours (
    org_id          uuid not null,
    depot_id        uuid not null,
    person_id       uuid not null,
    from_day        date not null,
    until_day       date,
    weekly_minutes  integer not null check (weekly_minutes between 0 and 10080),
    primary key (org_id, depot_id, person_id, from_day),
    check (until_day > from_day),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, person_id) references person (org_id, id)
);
create index on technician_hours (org_id, person_id);
-- What a visit to the depot costs before any work is done there, and the version of what is known of its labour.
alter table depot
    add column travel_minutes integer not null default 0 check (travel_minutes between 0 and 1440),
    add column labour_rev bigint not null default 1;

do $$
declare
    name text;
begin
    foreach name in array
        array['part', 'work_order', 'work_order_line', 'stock_move', 'stock_level', 'technician_hours']
    loop
        execute format('alter table %I enable row level security', name);
        execute format('alter table %I force row level security', name);
        execute format(
            'create policy app on %I to rimeyard_app
                 using (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)
                 with check (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)', name);
    end loop;
end $$;
grant select, insert on stock_move to rimeyard_app;
grant select, insert, update on part, work_order, work_order_line, stock_level to rimeyard_app;
grant select, insert, delete on technician_hours to rimeyard_app;
