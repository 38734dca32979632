-- A link with which somebody signs in once without the password, for who coordinates a troop and does so twice a year: fifteen
-- minutes, used once, by POST. A session that it opened has proved nothing (its proved_at is the beginning of time).
create table sign_in_link (
    token_sha256  bytea primary key,
    account_id    uuid not null references account,
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    -- Used, or void.
    used_at       timestamptz
);
create index sign_in_link_account on sign_in_link (account_id);
grant select, insert on sign_in_link to caselot_runtime;
grant update (used_at) on sign_in_link to caselot_runtime;

-- Whether an account administers the server, or manages or oversees any unit: what enter() asks outside a unit. Leaves
-- the unit of the transaction as it was.
create function answers_for_much(p_account uuid, p_now timestamptz) returns boolean
    language plpgsql as $$
declare
    v_much boolean := exists (select from account a where a.account_id = p_account and a.administrator);
    v_before text := coalesce(current_setting('caselot.unit', true), '');
    v_each uuid;
begin
    for v_each in select m.unit_id from membership m where m.account_id = p_account loop
        perform set_config('caselot.unit', v_each::text, true);
        v_much := v_much or exists (
            select from role_grant g join membership m on m.unit_id = g.unit_id and m.person_id = g.person_id
            where m.account_id = p_account and g.unit_id = v_each and g.role in ('unit_manager', 'overseer')
              and g.ended_at is null and g.from_at <= p_now and (g.until_at is null or g.until_at > p_now));
    end loop;
    perform set_config('caselot.unit', v_before, true);
    return v_much;
end $$;
revoke execute on function answers_for_much from public;
grant execute on function answers_for_much to caselot_runtime;
