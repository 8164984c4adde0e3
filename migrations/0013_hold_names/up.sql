-- Who alone may lift a hold tag, where it names somebody. Null: whoever works on machines at its depot.
alter table hold add column to_be_lifted_by uuid;
alter table hold add foreign key (org_id, to_be_lifted_by) references person (org_id, id);
create index on hold (org_id, to_be_lifted_by) where to_be_lifted_by is not null;
