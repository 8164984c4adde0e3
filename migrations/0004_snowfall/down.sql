drop table snowfall;
