-- Programs that are told: an address of theirs, and what was sent to it. What is told derives from the unit's log: each address
-- has read it up to a number, and each row is one delivery to it, whoever looks, however often.
create table webhook (
    unit_id               uuid not null references unit,
    webhook_id            uuid not null,
    address               text not null constraint webhook_address_length check (length(address) between 8 and 500),
    description           text constraint webhook_description_length check (length(description) between 1 and 200),
    -- What is told; empty: all that can be.
    actions               text[] not null constraint webhook_actions_count check (cardinality(actions) <= 100),
    -- Read again to sign, so sealed and not a digest.
    secret_sealed         bytea not null,
    former_secret_sealed  bytea,
    former_until_at       timestamptz,
    -- How far it has read the unit's log.
    cursor_seq            bigint not null,
    made_at               timestamptz not null,
    -- Since when nothing arrived, and how often it was tried since.
    failing_since         timestamptz,
    failures              integer not null,
    stopped_at            timestamptz,
    stopped_because       text constraint webhook_stopped_because_known check (stopped_because in ('gone', 'failing')),
    ended_at              timestamptz,
    version               bigint not null,
    log_seq               bigint not null,
    primary key (unit_id, webhook_id),
    constraint webhook_stopped_for_a_reason check ((stopped_at is null) = (stopped_because is null)),
    constraint webhook_former_secret_ends check ((former_secret_sealed is null) = (former_until_at is null))
);
call fence('webhook');
grant select, insert on webhook to caselot_runtime;
grant update (address, description, actions, secret_sealed, former_secret_sealed, former_until_at, cursor_seq, failing_since, failures,
    stopped_at, stopped_because, ended_at, version, log_seq) on webhook to caselot_runtime;

create table webhook_delivery (
    unit_id       uuid not null,
    delivery_id   uuid not null,
    webhook_id    uuid not null,
    -- The row of the log that is told; none for a trial.
    seq           bigint,
    made_at       timestamptz not null,
    state         text not null constraint webhook_delivery_state_known check (state in ('waiting', 'delivered', 'given_up')),
    -- How often it was tried since it was made or sent anew.
    tries         integer not null,
    due_at        timestamptz not null,
    -- Until when a worker has it, by the real clock.
    leased_until  timestamptz,
    primary key (unit_id, delivery_id),
    constraint webhook_delivery_webhook foreign key (unit_id, webhook_id) references webhook,
    constraint webhook_delivery_once unique (unit_id, webhook_id, seq)
);
create index webhook_delivery_waiting on webhook_delivery (unit_id, due_at) where state = 'waiting';
call fence('webhook_delivery');
grant select, insert, delete on webhook_delivery to caselot_runtime;
grant update (state, tries, due_at, leased_until) on webhook_delivery to caselot_runtime;

create table webhook_attempt (
    unit_id      uuid not null,
    attempt_id   uuid not null,
    delivery_id  uuid not null,
    tried_at     timestamptz not null,
    took_ms      integer not null,
    status       integer,
    outcome      text not null constraint webhook_attempt_outcome_known
        check (outcome in ('delivered', 'refused', 'gone', 'redirected', 'address_not_allowed', 'not_found', 'no_connection', 'no_answer')),
    primary key (unit_id, attempt_id),
    constraint webhook_attempt_delivery foreign key (unit_id, delivery_id) references webhook_delivery
);
create index webhook_attempt_of_delivery on webhook_attempt (unit_id, delivery_id);
call fence('webhook_attempt');
grant select, insert, delete on webhook_attempt to caselot_runtime;

insert into permission (permission) values ('webhooks.read'), ('webhooks.change');
insert into role_permission (role, permission) values
    ('unit_manager', 'webhooks.read'), ('unit_manager', 'webhooks.change'), ('overseer', 'webhooks.read');
