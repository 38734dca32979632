-- A link that confirms a new e-mail address of an account: sent to the new address, used once, by POST. The address stands here
-- as long as the link is open and no longer.
create table email_change (
    token_sha256  bytea primary key,
    account_id    uuid not null references account,
    email         text constraint email_change_email_shape check (email ~ '^[^@\s]+@[^@\s]+$' and length(email) <= 254),
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    -- Used, or void.
    used_at       timestamptz,
    constraint email_change_open_has_email check ((used_at is null) = (email is not null))
);
create index email_change_account on email_change (account_id);
grant select, insert on email_change to caselot_runtime;
grant update (used_at, email) on email_change to caselot_runtime;
