-- Two rows that are one person, and a person who is erased.

-- The row that went into another one stays, since the log names it; nothing lists it any more.
alter table person
    add column merged_into uuid,
    add column erased_at timestamptz,
    add constraint person_merged_into foreign key (unit_id, merged_into) references person,
    add constraint person_not_merged_into_itself check (merged_into <> person_id);
create index person_merged_into_index on person (unit_id, merged_into) where merged_into is not null;
grant update (merged_into, erased_at) on person to caselot_runtime;

-- What follows a person into another row: whose it is changes, what it says never does. A merge says that the two always
-- were one person, and so an answer as of an earlier instant says it too.
grant update (person_id) on assignment, role_grant, troop_contact, evidence, screening_evidence, waiver, outbox to caselot_runtime;
grant update (resolution, preview) on intake_row to caselot_runtime;

-- What is taken away when a person is erased: words, never figures, dates or ids.
grant update (note) on evidence to caselot_runtime;
grant update (reason) on waiver, gate_override, decision to caselot_runtime;
grant update (sent_to) on return_sending to caselot_runtime;
grant update (fields) on outbox to caselot_runtime;
grant update (status, headers, body, path) on idempotency to caselot_runtime;
grant update (email) on invitation to caselot_runtime;
grant update (name) on access_key to caselot_runtime;
grant update (file_name, sheet, sheets) on intake to caselot_runtime;
grant update (content) on blob to caselot_runtime;

-- It cannot be taken back, so it is a permission of its own.
insert into permission (permission) values ('people.erase');
insert into role_permission (role, permission) values ('unit_manager', 'people.erase');

-- Two troops can swap their numbers in one statement: what is unique is asked for at its end.
alter table troop drop constraint troop_number_unique;
alter table troop add constraint troop_number_unique unique (unit_id, number_key) deferrable initially immediate;
