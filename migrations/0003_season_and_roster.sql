-- Seasons with their milestones and policy; troops, their seasons, and who coordinates them.

create table season (
    unit_id    uuid not null references unit,
    season_id  uuid not null,
    label      text not null constraint season_label_length check (length(label) between 1 and 80),
    -- An IANA zone name; the program knows the list.
    time_zone  text not null,
    -- ISO 4217.
    currency   text not null constraint season_currency_shape check (currency ~ '^[A-Z]{3}$'),
    starts_on  date not null,
    ends_on    date not null,
    is_current boolean not null,
    closed_at  timestamptz,
    version    bigint not null,
    log_seq    bigint not null,
    primary key (unit_id, season_id),
    constraint season_order check (ends_on > starts_on)
);
create unique index season_label_unique on season (unit_id, lower(label));
create unique index season_one_current on season (unit_id) where is_current;
call fence('season');
grant select, insert on season to caselot_runtime;
grant update (label, time_zone, starts_on, ends_on, is_current, closed_at, version, log_seq) on season to caselot_runtime;

create table milestone (
    unit_id         uuid not null,
    milestone_id    uuid not null,
    season_id       uuid not null,
    code            text not null constraint milestone_code_shape check (code ~ '^[a-z][a-z0-9_]{0,39}$'),
    title           text not null constraint milestone_title_length check (length(title) between 1 and 120),
    -- The day; with a local time of day it is that instant, without one it is the END of that day. Null: not dated yet.
    on_day          date,
    at_local_time   time,
    -- Head office's own date for the same thing, where it differs.
    head_office_on_day         date,
    head_office_at_local_time  time,
    version         bigint not null,
    log_seq         bigint not null,
    primary key (unit_id, milestone_id),
    constraint milestone_season foreign key (unit_id, season_id) references season,
    constraint milestone_code_unique unique (unit_id, season_id, code),
    constraint milestone_time_needs_day check (at_local_time is null or on_day is not null),
    constraint milestone_head_office_time_needs_day check (head_office_at_local_time is null or head_office_on_day is not null)
);
call fence('milestone');
grant select, insert on milestone to caselot_runtime;
grant update (title, on_day, at_local_time, head_office_on_day, head_office_at_local_time, version, log_seq) on milestone to caselot_runtime;

-- Every version that was ever in force: `as_of` needs the policy of then. Immutable.
create table policy_version (
    unit_id    uuid not null,
    season_id  uuid not null,
    version    bigint not null,
    document   jsonb not null,
    made_at    timestamptz not null,
    made_by    text not null,
    log_seq    bigint not null,
    primary key (unit_id, season_id, version),
    constraint policy_version_season foreign key (unit_id, season_id) references season
);
call fence('policy_version');
grant select, insert on policy_version to caselot_runtime;

create table troop (
    unit_id        uuid not null references unit,
    troop_id       uuid not null,
    -- Text: leading zeros are part of it.
    number         text not null constraint troop_number_length check (length(number) between 1 and 20),
    -- Without leading zeros and spaces, for comparison: '0412' and '412' are one troop.
    number_key     text not null,
    name           text not null constraint troop_name_length check (length(name) <= 120),
    kind           text not null constraint troop_kind_known check (kind in ('troop', 'individuals')),
    -- It says where minors gather: shown to the own troop and unit roles only.
    meeting_place  text constraint troop_meeting_place_length check (length(meeting_place) between 1 and 200),
    version        bigint not null,
    log_seq        bigint not null,
    primary key (unit_id, troop_id),
    constraint troop_number_unique unique (unit_id, number_key)
);
call fence('troop');
grant select, insert on troop to caselot_runtime;
grant update (number, number_key, name, meeting_place, version, log_seq) on troop to caselot_runtime;

create table troop_season (
    unit_id         uuid not null,
    troop_id        uuid not null,
    season_id       uuid not null,
    age_band        text not null constraint troop_season_age_band_length check (length(age_band) between 1 and 40),
    selling_youths  integer not null constraint troop_season_selling_youths_range check (selling_youths between 0 and 500),
    first_season    boolean not null,
    log_seq         bigint not null,
    primary key (unit_id, troop_id, season_id),
    constraint troop_season_troop foreign key (unit_id, troop_id) references troop,
    constraint troop_season_season foreign key (unit_id, season_id) references season
);
call fence('troop_season');
grant select, insert on troop_season to caselot_runtime;
grant update (age_band, selling_youths, first_season, log_seq) on troop_season to caselot_runtime;

-- A person's place as coordinator of a troop in a season. It IS the person's scope: there is no second grant.
-- A list only proposes (confirmed_at null); a person confirms.
create table assignment (
    unit_id        uuid not null,
    assignment_id  uuid not null,
    troop_id       uuid not null,
    season_id      uuid not null,
    person_id      uuid not null,
    lead           boolean not null,
    from_at        timestamptz not null,
    until_at       timestamptz,
    proposed_at    timestamptz,
    confirmed_at   timestamptz,
    declined_at    timestamptz,
    ended_at       timestamptz,
    version        bigint not null,
    log_seq        bigint not null,
    primary key (unit_id, assignment_id),
    constraint assignment_troop_season foreign key (unit_id, troop_id, season_id) references troop_season,
    constraint assignment_person foreign key (unit_id, person_id) references person,
    constraint assignment_order check (until_at is null or until_at > from_at),
    constraint assignment_one_fate check (confirmed_at is null or declined_at is null)
);
create unique index assignment_person_once on assignment (unit_id, season_id, troop_id, person_id)
    where ended_at is null and declined_at is null;
create unique index assignment_one_lead on assignment (unit_id, season_id, troop_id)
    where lead and confirmed_at is not null and ended_at is null and declined_at is null;
create index assignment_person_index on assignment (unit_id, person_id);
call fence('assignment');
grant select, insert on assignment to caselot_runtime;
grant update (lead, until_at, confirmed_at, declined_at, ended_at, version, log_seq) on assignment to caselot_runtime;

-- People of a troop who are not coordinators: its leader, its treasurer. A vacant troop is chased through them.
create table troop_contact (
    unit_id    uuid not null,
    troop_id   uuid not null,
    person_id  uuid not null,
    duty       text not null constraint troop_contact_duty_known check (duty in ('leader', 'treasurer', 'other')),
    from_at    timestamptz not null,
    ended_at   timestamptz,
    log_seq    bigint not null,
    primary key (unit_id, troop_id, person_id, duty),
    constraint troop_contact_troop foreign key (unit_id, troop_id) references troop,
    constraint troop_contact_person foreign key (unit_id, person_id) references person
);
call fence('troop_contact');
grant select, insert on troop_contact to caselot_runtime;
grant update (ended_at, log_seq) on troop_contact to caselot_runtime;

-- Who is asking, what they may do and where, in one answer and one round trip. Sets the row-security context for this
-- transaction only. SECURITY INVOKER: it sees what the runtime role sees. `p_real` is the real clock (token lifetimes);
-- the season's clock is `p_real` plus the cluster's offset. Answers JSON text, or null for a dead session or key.
create function enter(p_session uuid, p_key_sha256 bytea, p_unit uuid, p_real timestamptz, p_issued timestamptz) returns text
    language plpgsql as $$
declare
    v_account uuid; v_admin boolean; v_person uuid; v_key uuid; v_key_unit uuid; v_key_permissions text[];
    v_roles text[]; v_unit_wide text[]; v_own text[]; v_troops uuid[];
    v_offset bigint := coalesce((select offset_seconds from cluster_clock), 0);
    v_now timestamptz := p_real + v_offset * interval '1 second';
begin
    if p_session is not null then
        select a.account_id, a.administrator into v_account, v_admin
        from session s join account a using (account_id)
        where s.session_id = p_session and s.ended_at is null and s.expires_at > p_real
          and a.disabled_at is null and a.tokens_since <= p_issued;
    else
        select a.account_id, false, k.permissions, k.key_id, k.unit_id
        into v_account, v_admin, v_key_permissions, v_key, v_key_unit
        from access_key k join account a using (account_id)
        where k.token_sha256 = p_key_sha256 and k.revoked_at is null and k.expires_at > p_real and a.disabled_at is null;
    end if;
    if v_account is null then return null; end if;
    if p_unit is not null and (v_key_unit is null or v_key_unit = p_unit) then
        select m.person_id into v_person from membership m where m.account_id = v_account and m.unit_id = p_unit;
    end if;
    if v_person is not null then
        perform set_config('caselot.unit', p_unit::text, true);
        select array_agg(distinct g.role) into v_roles from role_grant g
        where g.unit_id = p_unit and g.person_id = v_person and g.ended_at is null and g.from_at <= v_now
          and (g.until_at is null or g.until_at > v_now);
        select array_agg(distinct rp.permission) into v_unit_wide from role_permission rp where rp.role = any (v_roles);
        select array_agg(distinct s.troop_id) into v_troops
        from assignment s join season using (unit_id, season_id)
        where s.unit_id = p_unit and s.person_id = v_person and s.confirmed_at is not null and s.ended_at is null
          and s.from_at <= v_now and (s.until_at is null or s.until_at > v_now) and season.closed_at is null;
        if v_troops is not null then
            select array_agg(permission) into v_own from role_permission where role = 'troop_coordinator';
            v_roles := coalesce(v_roles, '{}') || 'troop_coordinator'::text;
        end if;
        -- A person with no live grant has nothing here: the unit then reads as not found.
        if v_roles is null then v_person := null; end if;
    end if;
    return json_build_object('account_id', v_account, 'administrator', v_admin, 'key_id', v_key, 'person_id', v_person,
        'roles', coalesce(v_roles, '{}'), 'unit_wide', coalesce(v_unit_wide, '{}'), 'own_troops', coalesce(v_own, '{}'),
        'troops', coalesce(v_troops, '{}'), 'key_permissions', v_key_permissions, 'offset_seconds', v_offset);
end $$;

revoke execute on all functions in schema public from public;
revoke execute on all procedures in schema public from public;
grant execute on function current_unit(), enter(uuid, bytea, uuid, timestamptz, timestamptz) to caselot_runtime;
grant execute on function current_unit() to caselot_backup;
