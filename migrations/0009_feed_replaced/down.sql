alter table feed_entry drop column replaced;
