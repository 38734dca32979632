-- What people decided about the rows of applied lists, for the next list of the kind with a row that says the same.
create table row_decision (
    unit_id     uuid not null,
    kind        text not null constraint row_decision_kind_known check (kind in ('role_list', 'bank_details', 'certificates', 'troop_list')),
    -- A digest of the cells that say whom or what the row means; the cells themselves are not kept.
    identity    bytea not null constraint row_decision_identity_length check (length(identity) = 32),
    -- What the row was, or waited for, before anybody decided: the decision holds only where the next list waits for the same.
    before      text not null,
    resolution  jsonb not null,
    -- The list that was decided about, and the day on which it was applied.
    intake_id   uuid not null,
    decided_on  date not null,
    log_seq     bigint not null,
    primary key (unit_id, kind, identity),
    constraint row_decision_intake foreign key (unit_id, intake_id) references intake
);
create index row_decision_by_list on row_decision (unit_id, intake_id);
call fence('row_decision');
grant select, insert, delete on row_decision to caselot_runtime;
grant update (before, resolution, intake_id, decided_on, log_seq) on row_decision to caselot_runtime;
