drop table learned;
