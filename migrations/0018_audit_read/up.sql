-- The audit is read from the newest on: by who did it, by what it was done to, and within what is granted.
create index on audit (org_id, person_id, id);
create index on audit (org_id, object_kind, object_id, id);
create index on audit (org_id, scope_id, id);
drop index audit_org_id_person_id_idx;
drop index audit_org_id_object_kind_object_id_idx;
