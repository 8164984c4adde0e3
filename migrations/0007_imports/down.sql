drop index meter_reading_doubted, inspection_doubted;
alter table snowfall drop column entered, drop column unit;
drop table import_fault, import_item, import_row, import;
