-- The server's own tables: who can sign in, what roles may do, units, background work and the clock.
--
-- Three database roles exist before this runs (the supervisor or the operator makes them):
--   caselot_owner    owns everything and migrates; every policy lets it through, since row security is FORCEd and a data
--                    migration would otherwise silently touch no row
--   caselot_runtime  what the program signs in as; owns nothing; gets only the grants written here
--   caselot_backup   reads everything (BYPASSRLS), writes nothing
-- Tables in this file are GLOBAL: they belong to the server, not to a unit, so they carry no row security. They are
-- few, and tests/gates lists them with their grants: adding one is a decision, not an accident.
-- Text with CHECK instead of enums: an enum comparison is not leakproof, so row security would keep it from indexes.

revoke create on schema public from public;
grant usage on schema public to caselot_runtime, caselot_backup;
alter default privileges in schema public grant select on tables to caselot_backup;

-- The clock offset of a demo or test cluster. One row or none; the program refuses to move a clock without the row.
create table cluster_clock (
    only_row       boolean primary key default true constraint cluster_clock_single check (only_row),
    offset_seconds bigint not null constraint cluster_clock_forwards check (offset_seconds >= 0)
);
grant select on cluster_clock to caselot_runtime;

create table account (
    account_id      uuid primary key,
    -- As typed; email_key is its lower-cased form for comparison.
    email           text not null constraint account_email_shape check (email ~ '^[^@\s]+@[^@\s]+$' and length(email) <= 254),
    email_key       text not null constraint account_email_unique unique,
    -- A PHC string (argon2id). Null until an invitation is accepted: nobody starts with a password.
    password_phc    text,
    administrator   boolean not null,
    disabled_at     timestamptz,
    created_at      timestamptz not null,
    -- Every token issued before this instant is dead (password changed, signed out everywhere).
    tokens_since    timestamptz not null
);
grant select, insert on account to caselot_runtime;
grant update (password_phc, disabled_at, tokens_since, email, email_key) on account to caselot_runtime;

create table unit (
    unit_id     uuid primary key,
    name        text not null constraint unit_name_length check (length(name) between 1 and 120),
    created_at  timestamptz not null,
    version     bigint not null
);
grant select, insert on unit to caselot_runtime;
grant update (name, version) on unit to caselot_runtime;

-- Which account acts as which person of which unit.
create table membership (
    account_id  uuid not null references account,
    unit_id     uuid not null references unit,
    person_id   uuid not null,
    created_at  timestamptz not null,
    primary key (account_id, unit_id),
    constraint membership_person_once unique (unit_id, person_id)
);
grant select, insert, delete on membership to caselot_runtime;

create table session (
    session_id    uuid primary key,
    account_id    uuid not null references account,
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    ended_at      timestamptz,
    ended_because text constraint session_ended_because_known
        check (ended_because in ('signed_out', 'refresh_token_reused', 'password_changed', 'administrator'))
);
create index session_account on session (account_id);
grant select, insert on session to caselot_runtime;
grant update (ended_at, ended_because) on session to caselot_runtime;

-- One row a refresh token ever issued; only its digest is kept. A session is one family.
create table refresh_token (
    token_sha256  bytea primary key,
    session_id    uuid not null references session,
    issued_at     timestamptz not null,
    expires_at    timestamptz not null,
    used_at       timestamptz,
    voided_at     timestamptz,
    successor     bytea
);
create index refresh_token_session on refresh_token (session_id);
grant select, insert on refresh_token to caselot_runtime;
grant update (used_at, voided_at, successor) on refresh_token to caselot_runtime;

create table access_key (
    key_id        uuid primary key,
    account_id    uuid not null references account,
    unit_id       uuid not null references unit,
    name          text not null constraint access_key_name_length check (length(name) between 1 and 80),
    -- The first characters, to tell keys apart; the rest is known to its holder alone.
    shown_prefix  text not null,
    token_sha256  bytea not null constraint access_key_token_unique unique,
    permissions   text[] not null constraint access_key_some_permission check (cardinality(permissions) between 1 and 100),
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    last_used_at  timestamptz,
    revoked_at    timestamptz
);
create index access_key_account on access_key (account_id);
grant select, insert on access_key to caselot_runtime;
grant update (last_used_at, revoked_at) on access_key to caselot_runtime;

-- Bound to a person of a unit (or to an account for the first administrator), never to an e-mail address.
create table invitation (
    invitation_id uuid primary key,
    unit_id       uuid references unit,
    person_id     uuid,
    account_id    uuid references account,
    email         text not null,
    token_sha256  bytea not null constraint invitation_token_unique unique,
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    accepted_at   timestamptz,
    voided_at     timestamptz,
    constraint invitation_for_somebody check ((unit_id is null) = (person_id is null) and (person_id is null) <> (account_id is null))
);
create index invitation_person on invitation (unit_id, person_id);
grant select, insert on invitation to caselot_runtime;
grant update (accepted_at, voided_at) on invitation to caselot_runtime;

create table reset_link (
    token_sha256  bytea primary key,
    account_id    uuid not null references account,
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    used_at       timestamptz
);
create index reset_link_account on reset_link (account_id);
grant select, insert on reset_link to caselot_runtime;
grant update (used_at) on reset_link to caselot_runtime;

-- Failed sign-ins, per account and per address, so that the delays hold across processes and a restart.
create table sign_in_delay (
    -- 'account:<id>' or 'address:<ip, /64 for v6>'.
    subject         text primary key constraint sign_in_delay_subject_shape check (subject ~ '^(account|address):'),
    window_began_at timestamptz not null,
    failures        integer not null constraint sign_in_delay_failures_positive check (failures >= 0),
    last_failed_at  timestamptz not null
);
grant select, insert, update, delete on sign_in_delay to caselot_runtime;

-- Roles and what each may do. The list of permissions is code; these rows are the grants of the roles, and the program
-- refuses to start on a database that lacks a permission it knows.
create table permission (
    permission  text primary key constraint permission_shape check (permission ~ '^[a-z_]+\.[a-z_]+$')
);
create table role (
    role   text primary key constraint role_shape check (role ~ '^[a-z_]+$'),
    -- 'unit': reaches every troop; 'troops': reaches the troops that its holder coordinates.
    scope  text not null constraint role_scope_known check (scope in ('unit', 'troops'))
);
create table role_permission (
    role        text not null references role,
    permission  text not null references permission,
    primary key (role, permission)
);
grant select on permission, role, role_permission to caselot_runtime;

insert into role (role, scope) values
    ('unit_manager', 'unit'), ('materials_coordinator', 'unit'), ('distributor', 'unit'),
    ('overseer', 'unit'), ('viewer', 'unit'), ('troop_coordinator', 'troops');

-- The server's own log, same chain as a unit's (0002).
create table server_log_head (
    only_row  boolean primary key default true constraint server_log_head_single check (only_row),
    seq       bigint not null,
    hash      bytea not null,
    at        timestamptz not null
);
create table server_log (
    seq            bigint primary key,
    at             timestamptz not null,
    actor          text not null,
    action         text not null,
    subjects       text not null,
    request_id     text not null,
    previous_hash  bytea not null,
    hash           bytea not null
);
insert into server_log_head (seq, hash, at) values (0, decode(repeat('00', 32), 'hex'), 'epoch');
grant select, update on server_log_head to caselot_runtime;
grant select, insert on server_log to caselot_runtime;

create table server_idempotency (
    principal   text not null,
    method      text not null,
    path        text not null,
    key         text not null,
    body_sha256 bytea not null,
    status      smallint not null,
    headers     text not null,
    body        bytea not null,
    at          timestamptz not null,
    primary key (principal, method, path, key)
);
grant select, insert, delete on server_idempotency to caselot_runtime;

-- Background work, enqueued in the transaction of its cause and taken with SKIP LOCKED.
create table job (
    job_id       uuid primary key,
    unit_id      uuid references unit,
    kind         text not null constraint job_kind_shape check (kind ~ '^[a-z_]+$'),
    -- Ids only, never personal data.
    subject_id   uuid not null,
    unique_key   text constraint job_unique_key unique,
    created_at   timestamptz not null,
    due_at       timestamptz not null,
    attempts     integer not null constraint job_attempts_positive check (attempts >= 0),
    finished_at  timestamptz,
    failed_at    timestamptz,
    last_error   text
);
create index job_due on job (due_at) where finished_at is null and failed_at is null;
grant select, insert on job to caselot_runtime;
grant update (due_at, attempts, finished_at, failed_at, last_error) on job to caselot_runtime;
