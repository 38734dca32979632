-- What was repeated by hand in head office's system: which step of the policy, after which event. That an event happened, and
-- which steps it asks for, is not stored: decisions, filed returns and the policy say so.
create table outside_tick (
    unit_id    uuid not null,
    season_id  uuid not null,
    step       text not null constraint outside_tick_step_shape check (step ~ '^[a-z][a-z0-9_]{0,39}$'),
    -- The decision, or the filed return.
    event_id   uuid not null,
    ticked_at  timestamptz not null,
    ticked_by  text not null,
    log_seq    bigint not null,
    primary key (unit_id, event_id, step),
    constraint outside_tick_season foreign key (unit_id, season_id) references season
);
call fence('outside_tick');
-- A tick that was a mistake goes; the log keeps that it was there.
grant select, insert, delete on outside_tick to caselot_runtime;

insert into permission (permission) values ('outside_steps.read'), ('outside_steps.tick');
insert into role_permission (role, permission) values
    ('unit_manager', 'outside_steps.read'), ('unit_manager', 'outside_steps.tick'), ('overseer', 'outside_steps.read');
