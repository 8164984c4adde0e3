drop table unsent;
drop table device;
drop table device_code;
