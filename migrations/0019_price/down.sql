alter table model drop column price_minor, drop column currency;
