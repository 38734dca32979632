-- Posted troop lists. A list that is taken back takes the troops and places with it that it made, as long as nothing hangs
-- on them (the foreign keys see to that too); a troop that a list has only described anew is described as before.
grant delete on troop, troop_season to caselot_runtime;
