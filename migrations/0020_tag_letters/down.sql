drop index unit_org_id_tag_letters;
