-- A tag's number is typed on a phone, in whatever letters. Two tags may still differ in nothing else: both are found.
create index unit_org_id_tag_letters on unit (org_id, lower(tag));
