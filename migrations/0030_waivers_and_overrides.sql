-- What is let go for a time: waivers of requirements and overrides of gates, by one person or by two.

-- Written down when it is asked for, so that nobody can later say that one person was enough.
alter table waiver add column needs_two boolean not null default false;
alter table waiver add constraint waiver_by_two_different_people
    check (not needs_two or granted_by is null or granted_by <> asked_by);

-- A gate that one troop may pass all the same. Taking it back only stamps it.
create table gate_override (
    unit_id      uuid not null,
    override_id  uuid not null,
    season_id    uuid not null,
    troop_id     uuid not null,
    gate         text not null constraint gate_override_gate_known check (gate in ('order', 'collect', 'earn')),
    reason       text not null constraint gate_override_reason_length check (length(reason) between 1 and 400),
    until_on     date not null,
    asked_at     timestamptz not null,
    asked_by     text not null,
    -- Two people reach further than one: through rules that the policy lets only two people override.
    needs_two    boolean not null,
    granted_at   timestamptz,
    granted_by   text,
    revoked_at   timestamptz,
    revoked_by   text,
    log_seq      bigint not null,
    primary key (unit_id, override_id),
    constraint gate_override_troop foreign key (unit_id, troop_id, season_id) references troop_season (unit_id, troop_id, season_id),
    constraint gate_override_granted_by_somebody check ((granted_at is null) = (granted_by is null)),
    constraint gate_override_revoked_by_somebody check ((revoked_at is null) = (revoked_by is null)),
    constraint gate_override_by_two_different_people check (not needs_two or granted_by is null or granted_by <> asked_by)
);
create index gate_override_by_troop on gate_override (unit_id, season_id, troop_id);
call fence('gate_override');
grant select, insert on gate_override to caselot_runtime;
grant update (granted_at, granted_by, revoked_at, revoked_by, log_seq) on gate_override to caselot_runtime;

-- The manager gives; where two people are asked for, the overseer is the second.
insert into permission (permission)
select unnest(string_to_array(
    'waivers.read waivers.give waivers.approve overrides.read overrides.give overrides.approve', ' '));

insert into role_permission (role, permission)
select role, unnest(string_to_array(permissions, ' ')) from (values
    ('unit_manager', 'waivers.read waivers.give overrides.read overrides.give'),
    ('overseer', 'waivers.read waivers.approve overrides.read overrides.approve')
) as granted (role, permissions);
