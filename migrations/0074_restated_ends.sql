-- A newer list, or the manager's newer word, that names another last day for what holds until a day: it says anew how long
-- that holds, so what was said before counts no longer, also where it named a later day.
alter table evidence add column restates boolean not null default false;
alter table screening_evidence add column restates boolean not null default false;
