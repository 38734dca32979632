-- Posted lists on their way in: the file as it came, what was read of it, what people decided, what it would change.

-- Files by what is in them. Scoped to the unit: that somebody else has the same file is nobody's business.
create table blob (
    unit_id  uuid not null references unit,
    sha256   bytea not null constraint blob_sha256_length check (length(sha256) = 32),
    content  bytea not null constraint blob_size check (length(content) between 1 and 5242880),
    kept_at  timestamptz not null,
    primary key (unit_id, sha256)
);
call fence('blob');
grant select, insert on blob to caselot_runtime;

create table intake (
    unit_id        uuid not null,
    intake_id      uuid not null,
    season_id      uuid not null,
    kind           text not null constraint intake_kind_known check (kind in ('role_list', 'bank_details', 'certificates')),
    file_name      text not null constraint intake_file_name_length check (length(file_name) between 1 and 200),
    file_sha256    bytea not null,
    -- The day for which the list speaks.
    listed_on      date not null,
    state          text not null constraint intake_state_known
        check (state in ('reading', 'unreadable', 'needs_columns', 'ready', 'applied', 'discarded')),
    -- By the real clock: a reader that vanished with its server is given up by it.
    reading_since  timestamptz not null,
    -- Why the file was refused.
    fault          jsonb,
    -- The file as a table; what people said about its columns; the columns that follow from both.
    parsed         jsonb,
    choices        jsonb not null,
    columns        jsonb,
    counts         jsonb not null,
    uploaded_at    timestamptz not null,
    uploaded_by    text not null,
    applied_at     timestamptz,
    applied_by     text,
    -- The stamp of the preview: it grows with everything that changes the preview.
    version        bigint not null,
    log_seq        bigint not null,
    primary key (unit_id, intake_id),
    constraint intake_season foreign key (unit_id, season_id) references season,
    constraint intake_blob foreign key (unit_id, file_sha256) references blob,
    constraint intake_fault_says_why check ((fault is not null) = (state = 'unreadable')),
    constraint intake_applied_by_somebody check ((applied_at is null) = (applied_by is null))
);
create index intake_by_upload on intake (unit_id, uploaded_at desc, intake_id desc);
call fence('intake');
grant select, insert on intake to caselot_runtime;
grant update (state, fault, parsed, choices, columns, counts, applied_at, applied_by, version, log_seq) on intake to caselot_runtime;

-- The rows as previewed. Derived from the file, the decisions and the roster, so they are made anew with each preview.
create table intake_row (
    unit_id         uuid not null,
    intake_id       uuid not null,
    row_number      integer not null constraint intake_row_number_positive check (row_number > 0),
    -- What a person decided about the row.
    resolution      jsonb,
    needs_a_person  boolean not null,
    preview         jsonb not null,
    primary key (unit_id, intake_id, row_number),
    constraint intake_row_intake foreign key (unit_id, intake_id) references intake
);
call fence('intake_row');
grant select, insert, delete on intake_row to caselot_runtime;
