-- Lists in full: complete lists and who is not on them, taking a list back, sheets to choose from, what was remembered of
-- an earlier list, and files that are not kept for ever.

alter table intake
    -- The uploader says that nobody is missing from the list: only then does absence say something.
    add column complete boolean not null default false,
    -- Who was named by an earlier list and is not on this one. Derived with the preview.
    add column absences jsonb not null default '[]',
    -- What applying made besides facts: ids, and digests of what was filled in, never the values.
    add column made jsonb,
    add column reversed_at timestamptz,
    add column reversed_by text,
    -- Sheets of a workbook that could each be the list, and the one that a person chose.
    add column sheets jsonb not null default '[]',
    add column sheet text constraint intake_sheet_length check (length(sheet) between 1 and 100),
    -- The file and what was read of it are gone since then.
    add column erased_at timestamptz,
    drop constraint intake_state_known,
    add constraint intake_state_known check
        (state in ('reading', 'unreadable', 'needs_sheet', 'needs_columns', 'ready', 'applied', 'reversed', 'discarded')),
    drop constraint intake_kind_known,
    add constraint intake_kind_known check (kind in ('role_list', 'bank_details', 'certificates', 'troop_list')),
    -- A file goes when its time is over; its digest stays, so that the same file is still known.
    drop constraint intake_blob,
    add constraint intake_file_sha256_length check (length(file_sha256) = 32),
    add constraint intake_reversed_by_somebody check ((reversed_at is null) = (reversed_by is null)),
    add constraint intake_reversed_says_when check ((reversed_at is not null) = (state = 'reversed'));
create index intake_by_kind on intake (unit_id, season_id, kind, listed_on) where state = 'applied';
create index intake_by_file on intake (unit_id, file_sha256);
grant update (complete, absences, made, reversed_at, reversed_by, sheets, sheet, erased_at, reading_since) on intake to caselot_runtime;
grant delete on blob to caselot_runtime;

-- Lists that were taken back. Their facts stay as they are: they are not counted from this place of the log on, and an
-- answer as of an earlier instant still counts them.
create table withdrawn_list (
    unit_id       uuid not null,
    intake_id     uuid not null,
    season_id     uuid not null,
    withdrawn_at  timestamptz not null,
    withdrawn_by  text not null,
    log_seq       bigint not null,
    primary key (unit_id, intake_id),
    constraint withdrawn_list_intake foreign key (unit_id, intake_id) references intake,
    constraint withdrawn_list_season foreign key (unit_id, season_id) references season
);
call fence('withdrawn_list');
grant select, insert on withdrawn_list to caselot_runtime;
create index evidence_by_list on evidence (unit_id, intake_id) where intake_id is not null;
create index screening_evidence_by_list on screening_evidence (unit_id, intake_id) where intake_id is not null;

-- What people said about the columns of the last list of a kind, by heading: the next one of the same look is not asked
-- about again. Headings and orders only, nothing of the rows.
create table list_memory (
    unit_id   uuid not null references unit,
    kind      text not null constraint list_memory_kind_known check (kind in ('role_list', 'bank_details', 'certificates', 'troop_list')),
    memory    jsonb not null,
    log_seq   bigint not null,
    primary key (unit_id, kind)
);
call fence('list_memory');
grant select, insert on list_memory to caselot_runtime;
grant update (memory, log_seq) on list_memory to caselot_runtime;

-- A proposal whose list was taken back: declined by that, and free to be proposed anew.
alter table assignment
    add column withdrawn_at timestamptz,
    add constraint assignment_withdrawn_is_declined check (withdrawn_at is null or declined_at is not null);
grant update (withdrawn_at) on assignment to caselot_runtime;
