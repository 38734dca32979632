-- A milestone that comes back every week, such as the cut-off of a restock: from its day on, until a last day.
alter table milestone add column repeats_until_on date;
alter table milestone add constraint milestone_repeats_from_a_day
    check (repeats_until_on is null or (on_day is not null and repeats_until_on > on_day));
-- Nobody's season is longer than a year and some weeks.
alter table milestone add constraint milestone_repeats_not_for_ever check (repeats_until_on <= on_day + 420);
grant update (repeats_until_on) on milestone to caselot_runtime;
