-- The facts from which standings are computed, and the cache of the answers. Facts are never changed and never deleted:
-- the runtime role may only add. No column holds a state; the table `standing` can be emptied and filled again.

-- One fact about a requirement, of a person or of a troop. Immutable.
create table evidence (
    unit_id        uuid not null,
    evidence_id    uuid not null,
    season_id      uuid not null,
    requirement    text not null constraint evidence_requirement_shape check (requirement ~ '^[a-z][a-z0-9_]{0,39}$'),
    person_id      uuid,
    troop_id       uuid,
    outcome        text not null constraint evidence_outcome_known check (outcome in ('reported', 'met', 'not_met', 'absent')),
    observed_on    date not null,
    valid_until_on date,
    score_percent  smallint constraint evidence_score_range check (score_percent between 0 and 100),
    source         text not null constraint evidence_source_known check (source in ('list', 'certificate', 'manager', 'person')),
    -- The uploaded list and its row, where it comes from one.
    intake_id      uuid,
    intake_row     integer constraint evidence_row_positive check (intake_row > 0),
    note           text constraint evidence_note_length check (length(note) between 1 and 400),
    recorded_at    timestamptz not null,
    recorded_by    text not null,
    log_seq        bigint not null,
    primary key (unit_id, evidence_id),
    constraint evidence_season foreign key (unit_id, season_id) references season,
    constraint evidence_person foreign key (unit_id, person_id) references person,
    constraint evidence_troop foreign key (unit_id, troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint evidence_one_subject check ((person_id is null) <> (troop_id is null)),
    constraint evidence_report_is_own check ((outcome = 'reported') = (source = 'person')),
    constraint evidence_dates_order check (valid_until_on is null or valid_until_on >= observed_on)
);
create index evidence_by_person on evidence (unit_id, season_id, person_id) where person_id is not null;
create index evidence_by_troop on evidence (unit_id, season_id, troop_id) where troop_id is not null;
call fence('evidence');
grant select, insert on evidence to caselot_runtime;

-- Screening facts, kept apart: outcome and dates only, no note (R16, R44).
create table screening_evidence (
    unit_id        uuid not null,
    evidence_id    uuid not null,
    season_id      uuid not null,
    requirement    text not null constraint screening_evidence_requirement_shape check (requirement ~ '^[a-z][a-z0-9_]{0,39}$'),
    person_id      uuid not null,
    outcome        text not null constraint screening_evidence_outcome_known check (outcome in ('reported', 'met', 'not_met', 'absent')),
    observed_on    date not null,
    valid_until_on date,
    source         text not null constraint screening_evidence_source_known check (source in ('list', 'certificate', 'manager', 'person')),
    intake_id      uuid,
    intake_row     integer constraint screening_evidence_row_positive check (intake_row > 0),
    recorded_at    timestamptz not null,
    recorded_by    text not null,
    log_seq        bigint not null,
    primary key (unit_id, evidence_id),
    constraint screening_evidence_season foreign key (unit_id, season_id) references season,
    constraint screening_evidence_person foreign key (unit_id, person_id) references person,
    constraint screening_evidence_report_is_own check ((outcome = 'reported') = (source = 'person')),
    constraint screening_evidence_dates_order check (valid_until_on is null or valid_until_on >= observed_on)
);
create index screening_evidence_by_person on screening_evidence (unit_id, season_id, person_id);
call fence('screening_evidence');
grant select, insert on screening_evidence to caselot_runtime;

-- A requirement let go for a time. Taking it back only stamps it.
create table waiver (
    unit_id      uuid not null,
    waiver_id    uuid not null,
    season_id    uuid not null,
    requirement  text not null constraint waiver_requirement_shape check (requirement ~ '^[a-z][a-z0-9_]{0,39}$'),
    person_id    uuid,
    troop_id     uuid,
    reason       text not null constraint waiver_reason_length check (length(reason) between 1 and 400),
    until_on     date not null,
    asked_at     timestamptz not null,
    asked_by     text not null,
    -- In force from here: at once where one person may waive, at the second person's yes where two must.
    granted_at   timestamptz,
    granted_by   text,
    revoked_at   timestamptz,
    revoked_by   text,
    log_seq      bigint not null,
    primary key (unit_id, waiver_id),
    constraint waiver_season foreign key (unit_id, season_id) references season,
    constraint waiver_person foreign key (unit_id, person_id) references person,
    constraint waiver_troop foreign key (unit_id, troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint waiver_one_subject check ((person_id is null) <> (troop_id is null)),
    constraint waiver_granted_by_somebody check ((granted_at is null) = (granted_by is null)),
    constraint waiver_revoked_by_somebody check ((revoked_at is null) = (revoked_by is null))
);
create index waiver_by_person on waiver (unit_id, season_id, person_id) where person_id is not null;
create index waiver_by_troop on waiver (unit_id, season_id, troop_id) where troop_id is not null;
call fence('waiver');
grant select, insert on waiver to caselot_runtime;
grant update (granted_at, granted_by, revoked_at, revoked_by, log_seq) on waiver to caselot_runtime;

-- What was decided about an assignment, or (without one) about a troop's season. Immutable: a decision is taken back by
-- the opposite decision.
create table decision (
    unit_id        uuid not null,
    decision_id    uuid not null,
    season_id      uuid not null,
    troop_id       uuid not null,
    assignment_id  uuid,
    kind           text not null constraint decision_kind_known
        check (kind in ('appoint', 'suspend', 'restore', 'stand_down', 'sit_out', 'rejoin')),
    reason         text constraint decision_reason_length check (length(reason) between 1 and 400),
    decided_at     timestamptz not null,
    decided_by     text not null,
    log_seq        bigint not null,
    primary key (unit_id, decision_id),
    constraint decision_troop_season foreign key (unit_id, troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint decision_assignment foreign key (unit_id, assignment_id) references assignment,
    constraint decision_subject check ((assignment_id is null) = (kind in ('sit_out', 'rejoin')))
);
create index decision_by_troop on decision (unit_id, season_id, troop_id);
call fence('decision');
grant select, insert on decision to caselot_runtime;

-- The cached answers. `changes_at`: the first instant at which the answer changes by itself. `log_seq`: the change at
-- which this answer was last another one.
create table standing (
    unit_id        uuid not null,
    season_id      uuid not null,
    troop_id       uuid not null,
    answer         jsonb not null,
    log_seq        bigint not null,
    rules_version  integer not null,
    changes_at     timestamptz,
    primary key (unit_id, season_id, troop_id),
    constraint standing_troop_season foreign key (unit_id, troop_id, season_id) references troop_season (unit_id, troop_id, season_id)
);
create index standing_due on standing (unit_id, changes_at);
call fence('standing');
grant select, insert, update, delete on standing to caselot_runtime;
