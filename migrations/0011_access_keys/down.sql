drop table access_key;
