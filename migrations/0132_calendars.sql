-- Addresses by which a phone's calendar follows the season: one a person, secret, made anew whenever its owner wishes. Only a
-- digest of the secret is kept.
create table calendar_address (
    unit_id        uuid not null,
    person_id      uuid not null,
    secret_sha256  bytea not null,
    made_at        timestamptz not null,
    log_seq        bigint not null,
    primary key (unit_id, person_id),
    constraint calendar_address_person foreign key (unit_id, person_id) references person
);
call fence('calendar_address');
grant select, insert, delete on calendar_address to caselot_runtime;
grant update (secret_sha256, made_at, log_seq) on calendar_address to caselot_runtime;

-- Milestones that were removed, or that lost their day: a calendar that showed them shows that they were cancelled.
create table milestone_gone (
    unit_id                    uuid not null,
    milestone_id               uuid not null,
    season_id                  uuid not null,
    title                      text not null,
    kind                       text not null,
    on_day                     date,
    at_local_time              time,
    head_office_on_day         date,
    head_office_at_local_time  time,
    repeats_until_on           date,
    -- One more than that of the milestone as it was.
    version                    bigint not null,
    log_seq                    bigint not null,
    primary key (unit_id, milestone_id),
    constraint milestone_gone_season foreign key (unit_id, season_id) references season
);
call fence('milestone_gone');
grant select, insert on milestone_gone to caselot_runtime;
grant update (title, kind, on_day, at_local_time, head_office_on_day, head_office_at_local_time, repeats_until_on, version, log_seq)
    on milestone_gone to caselot_runtime;

-- Here and not in the program, since several operations take a day away.
create function keep_gone_milestone() returns trigger
    language plpgsql as $$
begin
    if coalesce(old.on_day, old.head_office_on_day) is not null
       and (tg_op = 'DELETE' or coalesce(new.on_day, new.head_office_on_day) is null) then
        insert into milestone_gone (unit_id, milestone_id, season_id, title, kind, on_day, at_local_time, head_office_on_day,
            head_office_at_local_time, repeats_until_on, version, log_seq)
        values (old.unit_id, old.milestone_id, old.season_id, old.title, old.kind, old.on_day, old.at_local_time,
            old.head_office_on_day, old.head_office_at_local_time, old.repeats_until_on, old.version + 1, old.log_seq)
        on conflict (unit_id, milestone_id) do update set title = excluded.title, kind = excluded.kind, on_day = excluded.on_day,
            at_local_time = excluded.at_local_time, head_office_on_day = excluded.head_office_on_day,
            head_office_at_local_time = excluded.head_office_at_local_time, repeats_until_on = excluded.repeats_until_on,
            version = excluded.version, log_seq = excluded.log_seq;
    end if;
    return null;
end $$;
revoke execute on function keep_gone_milestone() from public;
create trigger milestone_gone_is_kept after update or delete on milestone for each row execute function keep_gone_milestone();

insert into permission (permission) values ('calendars.read'), ('calendars.make');
insert into role_permission (role, permission)
    select role, permission from role cross join (values ('calendars.read'), ('calendars.make')) as given (permission);
