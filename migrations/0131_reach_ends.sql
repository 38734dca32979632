-- A reach that ends. Who coordinated a troop last season, and was not named anew, reads nothing of it once that season is over
-- and the unit works in another one: where the troop meets and how to reach its people is theirs who coordinate it now. And a
-- key for scripts ends with the roles that its owner had when it was made: one that is given later neither brings it back nor
-- widens it.

-- Whether a place in a season counts at an instant: in the current season always, in another one to the end of its last day.
create function season_gives_reach(p_current boolean, p_closed_at timestamptz, p_ends_on date, p_zone text, p_at timestamptz)
    returns boolean language sql stable as $$
    select p_closed_at is null and (p_current or p_at < (p_ends_on + 1)::timestamp at time zone p_zone)
$$;
revoke execute on function season_gives_reach(boolean, timestamptz, date, text, timestamptz) from public;
grant execute on function season_gives_reach(boolean, timestamptz, date, text, timestamptz) to caselot_runtime;

create or replace function enter(p_session uuid, p_key_sha256 bytea, p_unit uuid, p_real timestamptz, p_issued timestamptz) returns text
    language plpgsql as $$
declare
    v_account uuid; v_admin boolean; v_person uuid; v_key uuid; v_key_unit uuid; v_key_permissions text[]; v_key_made timestamptz;
    v_factor boolean; v_proved timestamptz; v_answers_for_much boolean;
    v_roles text[]; v_unit_wide text[]; v_own text[]; v_troops uuid[];
    v_offset bigint := coalesce((select offset_seconds from cluster_clock), 0);
    v_now timestamptz := p_real + v_offset * interval '1 second';
begin
    if p_session is not null then
        select a.account_id, a.administrator, coalesce(s.proved_at, s.created_at) into v_account, v_admin, v_proved
        from session s join account a using (account_id)
        where s.session_id = p_session and s.ended_at is null and s.expires_at > p_real
          and a.disabled_at is null and a.tokens_since <= p_issued;
    else
        -- Keys follow the real clock, roles the season's.
        select a.account_id, false, k.permissions, k.key_id, k.unit_id, k.created_at + v_offset * interval '1 second'
        into v_account, v_admin, v_key_permissions, v_key, v_key_unit, v_key_made
        from access_key k join account a using (account_id)
        where k.token_sha256 = p_key_sha256 and k.revoked_at is null and k.expires_at > p_real and a.disabled_at is null;
    end if;
    if v_account is null then return null; end if;
    v_factor := exists (select from second_factor f where f.account_id = v_account and f.confirmed_at is not null);
    v_answers_for_much := v_admin;
    if p_unit is not null and (v_key_unit is null or v_key_unit = p_unit) then
        select m.person_id into v_person from membership m where m.account_id = v_account and m.unit_id = p_unit;
    end if;
    if v_person is not null then
        perform set_config('caselot.unit', p_unit::text, true);
        select array_agg(distinct g.role) into v_roles from role_grant g
        where g.unit_id = p_unit and g.person_id = v_person and g.ended_at is null and g.from_at <= v_now
          and (g.until_at is null or g.until_at > v_now) and (v_key_made is null or g.from_at <= v_key_made);
        select array_agg(distinct rp.permission) into v_unit_wide from role_permission rp where rp.role = any (v_roles);
        select array_agg(distinct s.troop_id) into v_troops
        from assignment s join season using (unit_id, season_id)
        where s.unit_id = p_unit and s.person_id = v_person and s.confirmed_at is not null and s.ended_at is null
          and s.from_at <= v_now and (s.until_at is null or s.until_at > v_now)
          and (v_key_made is null or greatest(s.from_at, s.confirmed_at) <= v_key_made)
          and season_gives_reach(season.is_current, season.closed_at, season.ends_on, season.time_zone, v_now);
        if v_troops is not null then
            select array_agg(permission) into v_own from role_permission where role = 'troop_coordinator';
            v_roles := coalesce(v_roles, '{}') || 'troop_coordinator'::text;
        end if;
        -- A person with no live grant has nothing here: the unit then reads as not found.
        if v_roles is null then v_person := null; end if;
    end if;
    if p_unit is not null then
        v_answers_for_much := v_answers_for_much or v_roles && '{unit_manager,overseer}';
    elsif not v_factor and not v_answers_for_much then
        -- Outside a unit: whoever answers for much in any of them. Only asked of those without a second factor.
        v_answers_for_much := answers_for_much(v_account, v_now);
    end if;
    return json_build_object('proved_at', v_proved, 'second_factor', v_factor, 'answers_for_much', coalesce(v_answers_for_much, false),
        'account_id', v_account, 'administrator', v_admin, 'key_id', v_key, 'person_id', v_person,
        'roles', coalesce(v_roles, '{}'), 'unit_wide', coalesce(v_unit_wide, '{}'), 'own_troops', coalesce(v_own, '{}'),
        'troops', coalesce(v_troops, '{}'), 'key_permissions', v_key_permissions, 'offset_seconds', v_offset);
end $$;
