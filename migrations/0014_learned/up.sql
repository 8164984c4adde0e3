-- What the organisation's machines of one model have taught, in place of its sheet's figures: learned anew when what is
-- known of them has grown by a tenth, or the sheet has changed. Old versions stay: a result of then is read against what was
-- believed then.
create table learned (
    org_id         uuid not null,
    model_id       uuid not null,
    version        integer not null check (version > 0),
    sheet_version  integer not null,
    facts          bigint not null check (facts >= 0),
    content        jsonb not null,
    learned_at     timestamptz not null,
    primary key (org_id, model_id, version),
    foreign key (org_id, model_id) references model (org_id, id),
    foreign key (org_id, model_id, sheet_version) references sheet (org_id, model_id, version)
);
create index on learned (org_id, model_id, sheet_version);

alter table learned enable row level security;
alter table learned force row level security;
create policy app on learned to rimeyard_app
    using (org_id = nullif(current_setting('app.org', true), '')::uuid)
    with check (org_id = nullif(current_setting('app.org', true), '')::uuid);
grant select, insert on learned to rimeyard_app;
