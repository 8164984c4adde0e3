-- What a new machine of a model costs, in the minor unit of its currency (ISO 4217), where that is known: whether one is to
-- be repaired or renewed hangs on it. Models have row-level security already.
alter table model
    add column price_minor  bigint check (price_minor > 0),
    add column currency     text check (length(currency) = 3),
    add check ((price_minor is null) = (currency is null));
