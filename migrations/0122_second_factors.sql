-- Second factors: a code of six figures that changes every half minute (RFC 6238), from an app on the person's phone.

create table second_factor (
    account_id      uuid primary key references account,
    -- Sealed with a key that is not in the database (api/auth/seal.rs): a copy of the database alone makes no codes.
    secret_sealed   bytea not null,
    created_at      timestamptz not null,
    -- Null until the first code was given: before that nobody is asked for one.
    confirmed_at    timestamptz,
    -- The half minute of the last code that was taken: no code is taken twice.
    last_step       bigint,
    -- Wrong codes since the last right one.
    failures        integer not null constraint second_factor_failures_positive check (failures >= 0),
    last_failed_at  timestamptz
);
grant select, insert, delete on second_factor to caselot_runtime;
grant update (secret_sealed, created_at, confirmed_at, last_step, failures, last_failed_at) on second_factor to caselot_runtime;

-- For the day on which the phone is lost: each opens once, and only its digest is kept.
create table recovery_code (
    code_sha256  bytea primary key,
    account_id   uuid not null references account,
    created_at   timestamptz not null,
    used_at      timestamptz
);
create index recovery_code_account on recovery_code (account_id);
grant select, insert, delete on recovery_code to caselot_runtime;
grant update (used_at) on recovery_code to caselot_runtime;
