alter table depot drop column travel_minutes, drop column labour_rev;
drop table technician_hours, stock_level, stock_move, work_order_line, work_order, part;
