-- What every unit has: its people, roles, log, safe retries and outgoing mail. The pattern for all unit tables:
--   key (unit_id, id); foreign keys (unit_id, x_id); row security enabled AND forced; one policy for the owner, one by unit.
-- Foreign keys never cascade across units, and no policy asks for a troop: policies by troop break ledger triggers (measured).

-- The unit of this transaction, or null. '' is what a transaction-local setting leaves behind, so it counts as none.
create function current_unit() returns uuid
    language sql stable parallel safe
    return nullif(current_setting('caselot.unit', true), '')::uuid;

-- Puts the fence around a unit table. Called once per table by the migrations; runs as the owner.
create procedure fence(the_table regclass)
    language plpgsql as $$
begin
    execute format('alter table %s enable row level security', the_table);
    execute format('alter table %s force row level security', the_table);
    execute format('create policy by_unit on %s to caselot_runtime using (unit_id = current_unit()) with check (unit_id = current_unit())', the_table);
    execute format('create policy for_owner on %s to caselot_owner using (true) with check (true)', the_table);
end $$;

create table person (
    unit_id            uuid not null references unit,
    person_id          uuid not null,
    first_name         text not null constraint person_first_name_length check (length(first_name) between 1 and 80),
    last_name          text not null constraint person_last_name_length check (length(last_name) <= 80),
    membership_number  text constraint person_membership_number_length check (length(membership_number) between 1 and 40),
    left_on            date,
    version            bigint not null,
    log_seq            bigint not null,
    primary key (unit_id, person_id)
);
create unique index person_membership_number_unique on person (unit_id, membership_number) where membership_number is not null;
call fence('person');
grant select, insert on person to caselot_runtime;
grant update (first_name, last_name, membership_number, left_on, version, log_seq) on person to caselot_runtime;

-- Apart from person, so that a query for names cannot bring phone numbers along by accident.
create table person_contact (
    unit_id    uuid not null,
    person_id  uuid not null,
    email      text constraint person_contact_email_shape check (email ~ '^[^@\s]+@[^@\s]+$' and length(email) <= 254),
    -- Normalised for matching. Spouses share addresses, so it is not unique.
    email_key  text,
    phone      text constraint person_contact_phone_length check (length(phone) between 3 and 40),
    version    bigint not null,
    log_seq    bigint not null,
    primary key (unit_id, person_id),
    constraint person_contact_person foreign key (unit_id, person_id) references person
);
create index person_contact_email on person_contact (unit_id, email_key);
call fence('person_contact');
grant select, insert on person_contact to caselot_runtime;
grant update (email, email_key, phone, version, log_seq) on person_contact to caselot_runtime;

alter table membership add constraint membership_person foreign key (unit_id, person_id) references person;

create table role_grant (
    unit_id    uuid not null,
    grant_id   uuid not null,
    person_id  uuid not null,
    role       text not null references role,
    from_at    timestamptz not null,
    until_at   timestamptz,
    ended_at   timestamptz,
    log_seq    bigint not null,
    primary key (unit_id, grant_id),
    constraint role_grant_person foreign key (unit_id, person_id) references person,
    constraint role_grant_not_by_hand check (role <> 'troop_coordinator'),
    constraint role_grant_order check (until_at is null or until_at > from_at)
);
create index role_grant_person_index on role_grant (unit_id, person_id);
call fence('role_grant');
grant select, insert on role_grant to caselot_runtime;
grant update (ended_at, until_at, log_seq) on role_grant to caselot_runtime;

-- The unit's log: audit trail, event order and cache stamp at once. seq is gap-free and in commit order, since the head
-- row is the last lock that a transaction takes.
create table unit_log_head (
    unit_id  uuid primary key references unit,
    seq      bigint not null,
    hash     bytea not null,
    at       timestamptz not null
);
call fence('unit_log_head');
grant select, insert, update on unit_log_head to caselot_runtime;

create table unit_log (
    unit_id        uuid not null references unit,
    seq            bigint not null,
    at             timestamptz not null,
    -- 'account:<id>', 'key:<id>' or 'system'.
    actor          text not null,
    -- The operation's id, or what the system did.
    action         text not null,
    -- JSON text, kept byte for byte since the hash covers it: [{"kind":"troop","id":"..."}]. Ids and field names only.
    subjects       text not null,
    request_id     text not null,
    previous_hash  bytea not null,
    hash           bytea not null,
    primary key (unit_id, seq)
);
create index unit_log_at on unit_log (unit_id, at);
call fence('unit_log');
grant select, insert on unit_log to caselot_runtime;

-- Refusals, folded per principal, operation and minute; written apart from the refused request.
create table denial (
    unit_id    uuid not null references unit,
    actor      text not null,
    operation  text not null,
    minute_at  timestamptz not null,
    times      integer not null,
    primary key (unit_id, actor, operation, minute_at)
);
call fence('denial');
grant select, insert, update on denial to caselot_runtime;

create table idempotency (
    unit_id     uuid not null references unit,
    principal   text not null,
    method      text not null,
    path        text not null,
    key         text not null,
    body_sha256 bytea not null,
    status      smallint not null,
    headers     text not null,
    body        bytea not null,
    at          timestamptz not null,
    primary key (unit_id, principal, method, path, key)
);
create index idempotency_at on idempotency (unit_id, at);
call fence('idempotency');
grant select, insert, delete on idempotency to caselot_runtime;

-- Mail on its way out, written in the transaction of its cause.
create table outbox (
    unit_id      uuid not null references unit,
    outbox_id    uuid not null,
    person_id    uuid not null,
    template     text not null,
    fields       jsonb not null,
    created_at   timestamptz not null,
    state        text not null constraint outbox_state_known check (state in ('waiting', 'sent', 'given_up')),
    attempts     integer not null,
    due_at       timestamptz not null,
    primary key (unit_id, outbox_id),
    constraint outbox_person foreign key (unit_id, person_id) references person
);
call fence('outbox');
grant select, insert on outbox to caselot_runtime;
grant update (state, attempts, due_at) on outbox to caselot_runtime;
