-- What is owed of machines, and whom to tell.

-- A task of the unit's sheet, done; or, as a correction, not done after all. Facts: appended only.
create table task_done (
    org_id          uuid not null,
    id              uuid not null,
    unit_id         uuid not null,
    depot_id        uuid not null,
    task            text not null check (length(task) between 1 and 60),
    done            boolean not null default true,
    done_at         timestamptz not null,
    received_at     timestamptz not null default now(),
    done_by         uuid not null,
    run_hours       double precision,
    work_order_id   uuid,
    corrects        uuid,
    note            text check (length(note) <= 2000),
    took_effect_at  timestamptz not null generated always as (least(done_at, received_at)) stored,
    primary key (org_id, id),
    check (done or corrects is not null),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, done_by) references person (org_id, id),
    foreign key (org_id, work_order_id) references work_order (org_id, id),
    foreign key (org_id, corrects) references task_done (org_id, id)
);
create index on task_done (org_id, unit_id, task, took_effect_at);
create index on task_done (org_id, depot_id, id);
create index on task_done (org_id, done_by);
create index on task_done (org_id, work_order_id) where work_order_id is not null;
create index on task_done (org_id, corrects) where corrects is not null;

-- A task put off by a named person, until a day.
create table deferral (
    org_id       uuid not null,
    id           uuid not null,
    unit_id      uuid not null,
    depot_id     uuid not null,
    task         text not null check (length(task) between 1 and 60),
    until_day    date not null,
    reason       text not null check (length(reason) between 1 and 500),
    deferred_by  uuid not null,
    deferred_at  timestamptz not null default now(),
    ended_at     timestamptz,
    rev          bigint not null default 1,
    primary key (org_id, id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, deferred_by) references person (org_id, id)
);
create index on deferral (org_id, unit_id);
create index on deferral (org_id, depot_id, id);
create index on deferral (org_id, deferred_by);

-- One open alert for each kind and subject; cleared ones are history.
create table alert (
    org_id             uuid not null,
    id                 uuid not null,
    depot_id           uuid not null,
    kind               text not null check (length(kind) between 1 and 60),
    subject_id         uuid not null,
    unit_id            uuid,
    severity           text not null check (severity in ('notice', 'warning', 'urgent')),
    text               text not null check (length(text) between 1 and 1000),
    opened_at          timestamptz not null,
    raised_at          timestamptz not null,
    escalated_at       timestamptz,
    acknowledged_at    timestamptz,
    acknowledged_by    uuid,
    acknowledged_with  text check (length(acknowledged_with) between 1 and 500),
    cleared_at         timestamptz,
    rev                bigint not null default 1,
    primary key (org_id, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, unit_id) references unit (org_id, id),
    foreign key (org_id, acknowledged_by) references person (org_id, id)
);
create unique index alert_one_open on alert (org_id, depot_id, kind, subject_id) where cleared_at is null;
create index on alert (org_id, depot_id, id);
create index on alert (org_id, unit_id);
create index alert_open on alert (org_id, id) where cleared_at is null;
create index on alert (org_id, acknowledged_by);

-- The tasks of a unit as its published document has them, and how urgent the worst is (0 not due .. 5 long overdue), so
-- that what is owed in a whole district is found without reading what is not.
alter table unit_state
    add column tasks  text not null default '[]',
    add column owed   smallint not null default 0;
create index unit_state_owed on unit_state (org_id, depot_id, owed);

do $$
declare
    name text;
begin
    foreach name in array array['task_done', 'deferral', 'alert'] loop
        execute format('alter table %I enable row level security', name);
        execute format('alter table %I force row level security', name);
        execute format(
            'create policy app on %I to rimeyard_app
                 using (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)
                 with check (org_id = nullif(current_setting(''app.org'', true), '''')::uuid)', name);
    end loop;
end $$;
grant select, insert on task_done to rimeyard_app;
grant select, insert, update on deferral, alert to rimeyard_app;

-- Whatever is stored says nothing of tasks yet.
update mark set due_at = now(), gen = gen + 1;
