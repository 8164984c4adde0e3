create index on audit (org_id, person_id);
create index on audit (org_id, object_kind, object_id);
drop index audit_org_id_person_id_id_idx;
drop index audit_org_id_object_kind_object_id_id_idx;
drop index audit_org_id_scope_id_id_idx;
