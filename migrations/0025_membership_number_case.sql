-- Lists are read without regard to case and spaces in a membership number; two people could hold one number in two spellings,
-- and every list with it would ask which of them is meant.
drop index person_membership_number_unique;
create unique index person_membership_number_unique
    on person (unit_id, lower(replace(membership_number, ' ', ''))) where membership_number is not null;
