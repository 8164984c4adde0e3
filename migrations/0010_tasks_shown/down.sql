alter table inspection drop column tasks_shown;
