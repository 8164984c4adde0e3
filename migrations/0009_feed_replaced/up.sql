-- The digest of the live document that an entry took the place of last; 0 where there was none. What overwrites an
-- entry leaves it here, so that the scope's digest changes by difference without the old entry being looked up: whatever
-- Postgres knows of the table, it is found by the key that the insert runs into.
alter table feed_entry add column replaced bigint not null default 0;
