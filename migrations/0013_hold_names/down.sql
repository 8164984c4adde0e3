alter table hold drop column to_be_lifted_by;
