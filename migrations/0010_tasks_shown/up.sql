-- Which tasks an inspection showed to be done, by the sheet of its day: those whose checks it answered, none of them
-- unserviceable. Found once, when it is recorded: a recomputation that looked for each task's checks in every inspection
-- that a machine has ever had would take longer with each winter.
alter table inspection add column tasks_shown text[] not null default '{}';
update inspection i set tasks_shown = array(
    select t ->> 'task'
    from sheet s, jsonb_array_elements(coalesce(s.content -> 'tasks', '[]')) as t
    where s.org_id = i.org_id and s.model_id = i.model_id and s.version = i.sheet_version
      and jsonb_array_length(coalesce(t -> 'checks', '[]')) > 0
      and not exists (
          select from jsonb_array_elements_text(t -> 'checks') as c (check_code)
          where not exists (
              select from reading r
              where r.org_id = i.org_id and r.inspection_id = i.id and r.check_code = c.check_code
                and r.verdict <> 'unserviceable')));
create index inspection_tasks_shown on inspection (org_id, unit_id, took_effect_at) where tasks_shown <> '{}';
