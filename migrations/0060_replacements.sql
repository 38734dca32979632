-- Coordinators who are replaced, and people who leave: why an assignment ended, and what was handed over.

-- Null while it goes on, and where nobody said: it ran out, or ended before this column was there.
alter table assignment add column ended_because text constraint assignment_ended_because_known
    check (ended_because in ('stood_down', 'replaced', 'left', 'ran_out', 'merged'));
grant update (ended_because) on assignment to caselot_runtime;

-- One coordinator after another, in one act: the old assignment, the new one, and the note that goes with the place.
create table take_over (
    unit_id             uuid not null,
    take_over_id        uuid not null,
    season_id           uuid not null,
    troop_id            uuid not null,
    from_assignment_id  uuid not null,
    to_assignment_id    uuid not null,
    -- Both may name people: they go when one of the two is erased.
    reason              text constraint take_over_reason_length check (length(reason) between 1 and 400),
    note                text constraint take_over_note_length check (length(note) between 1 and 2000),
    taken_over_at       timestamptz not null,
    recorded_by         text not null,
    log_seq             bigint not null,
    primary key (unit_id, take_over_id),
    constraint take_over_troop_season foreign key (unit_id, troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint take_over_from foreign key (unit_id, from_assignment_id) references assignment,
    constraint take_over_to foreign key (unit_id, to_assignment_id) references assignment,
    constraint take_over_two_assignments check (from_assignment_id <> to_assignment_id)
);
create index take_over_by_troop on take_over (unit_id, troop_id, take_over_id);
call fence('take_over');
grant select, insert on take_over to caselot_runtime;
grant update (reason, note) on take_over to caselot_runtime;
