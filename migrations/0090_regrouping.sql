-- Troops that become one, and a troop of which a part becomes a troop of its own.

-- From when a troop has its place in the season (null: since before this column was there), and until when: a troop that went
-- into another one has none from then on, while every answer as of an earlier instant still has it.
alter table troop_season
    add column began_at timestamptz,
    add column ended_at timestamptz;
grant update (ended_at) on troop_season to caselot_runtime;

create table regrouping (
    unit_id         uuid not null,
    regrouping_id   uuid not null,
    season_id       uuid not null,
    kind            text not null constraint regrouping_kind_known check (kind in ('merge', 'split')),
    -- A merge: the troop that went, and the one that stays. A split: the troop that stays, and the new one.
    from_troop_id   uuid not null,
    to_troop_id     uuid not null,
    -- It may name people: it goes when one of them is erased.
    reason          text constraint regrouping_reason_length check (length(reason) between 1 and 400),
    -- How many selling youths went along.
    selling_youths  integer not null constraint regrouping_selling_youths_range check (selling_youths between 0 and 500),
    regrouped_at    timestamptz not null,
    regrouped_by    text not null,
    log_seq         bigint not null,
    primary key (unit_id, regrouping_id),
    constraint regrouping_from foreign key (unit_id, from_troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint regrouping_to foreign key (unit_id, to_troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint regrouping_two_troops check (from_troop_id <> to_troop_id)
);
create unique index regrouping_merged_once on regrouping (unit_id, season_id, from_troop_id) where kind = 'merge';
create unique index regrouping_split_off_once on regrouping (unit_id, season_id, to_troop_id) where kind = 'split';
call fence('regrouping');
grant select, insert on regrouping to caselot_runtime;
grant update (reason) on regrouping to caselot_runtime;

alter table assignment
    drop constraint assignment_ended_because_known,
    add constraint assignment_ended_because_known
        check (ended_because in ('stood_down', 'replaced', 'left', 'ran_out', 'merged', 'regrouped'));

-- It moves people and youths, and a merge cannot be taken back: a permission of its own, which no key has.
insert into permission (permission) values ('troops.regroup');
insert into role_permission (role, permission) values ('unit_manager', 'troops.regroup');
