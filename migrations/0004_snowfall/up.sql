-- New snow of each day at a depot. Appended only: of one day, what was noted last counts.
create table snowfall (
    org_id       uuid not null,
    depot_id     uuid not null,
    on_day       date not null,
    id           uuid not null,
    snowfall_mm  double precision not null check (snowfall_mm between 0 and 5000),
    noted_by     uuid not null,
    noted_at     timestamptz not null default now(),
    primary key (org_id, depot_id, on_day, id),
    foreign key (org_id, depot_id) references depot (org_id, id),
    foreign key (org_id, noted_by) references person (org_id, id)
);
create index on snowfall (org_id, noted_by);
alter table snowfall enable row level security;
alter table snowfall force row level security;
create policy app on snowfall to rimeyard_app
    using (org_id = nullif(current_setting('app.org', true), '')::uuid)
    with check (org_id = nullif(current_setting('app.org', true), '')::uuid);
grant select, insert on snowfall to rimeyard_app;
