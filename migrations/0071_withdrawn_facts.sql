-- Facts that were entered by hand and withdrawn: wrong from the start, where a later fact would only say that things have
-- changed. They stay as they are and count no longer from this place of the log on; an answer as of an earlier instant still
-- counts them. What a list said is taken back with its list (withdrawn_list).
create table withdrawn_fact (
    unit_id       uuid not null,
    -- A fact of either table, `evidence` or `screening_evidence`: so no foreign key; the program finds it locked.
    evidence_id   uuid not null,
    season_id     uuid not null,
    withdrawn_at  timestamptz not null,
    withdrawn_by  text not null,
    log_seq       bigint not null,
    primary key (unit_id, evidence_id),
    constraint withdrawn_fact_season foreign key (unit_id, season_id) references season
);
call fence('withdrawn_fact');
grant select, insert on withdrawn_fact to caselot_runtime;

-- Facts one by one, with who recorded them and the notes: the manager, and whoever oversees the manager.
insert into permission (permission) values ('evidence.read');
insert into role_permission (role, permission) values ('unit_manager', 'evidence.read'), ('overseer', 'evidence.read');
