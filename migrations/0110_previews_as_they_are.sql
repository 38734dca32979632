-- A preview's row is kept and given back as one piece, and nothing ever looks inside it: kept as it was written it need not be
-- taken apart and sorted, which was a third of what keeping a long list costs the database.
alter table intake_row alter column preview type json using preview::json;
