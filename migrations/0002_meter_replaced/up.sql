-- A meter that is replaced begins at hours of its own: the machine's are counted on from there.
alter table meter_reading
    add column meter_replaced boolean not null default false,
    add check (not meter_replaced or (run_hours is not null and not estimated));
create index meter_reading_replaced on meter_reading (org_id, unit_id) where meter_replaced;
