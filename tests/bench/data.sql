-- What the figures are measured over: $UNITS units of $TROOPS troops, each with a lead coordinator, five requirements proven
-- and a history of older facts; a manager per unit; a log of two thousand rows. Run as the owner.
-- An id tells what it is: 0198be00-<kind>-7000-8000-<unit, 5 digits><number, 7 digits>.
create function bench_id(kind int, unit int, number int) returns uuid language sql immutable as
    $$ select ('0198be00-' || lpad(kind::text, 4, '0') || '-7000-8000-' || lpad(unit::text, 5, '0') || lpad(number::text, 7, '0'))::uuid $$;

create temporary view units as select generate_series(1, $UNITS) as u;
create temporary view troops as select u, t from units, generate_series(1, $TROOPS) as t;
-- Number 0 is the unit's manager, the others lead the troop of their number.
create temporary view people as select u, t from troops union all select u, 0 from units;

insert into unit (unit_id, name, created_at, version) select bench_id(1, u, 0), 'Unit ' || u, now() - interval '2 years', 1 from units;
insert into unit_log_head (unit_id, seq, hash, at) select bench_id(1, u, 0), 1000000, decode(repeat('00', 32), 'hex'), now() - interval '1 hour' from units;
insert into unit_log (unit_id, seq, at, actor, action, subjects, request_id, previous_hash, hash)
    select bench_id(1, u, 0), 998000 + n, now() - interval '30 days' + n * interval '20 minutes', 'account:' || bench_id(5, u, 0), 'record_evidence',
           '[{"kind":"person","id":"' || bench_id(4, u, 1 + n % $TROOPS) || '"}]', 'bench-' || n, decode(repeat('00', 32), 'hex'), decode(repeat('00', 32), 'hex')
    from units, generate_series(1, 2000) as n;
insert into account (account_id, email, email_key, administrator, created_at, tokens_since)
    select bench_id(5, u, t), format('p%s.%s@example.org', u, t), format('p%s.%s@example.org', u, t), false, now() - interval '1 year', now() - interval '1 year' from people;
insert into session (session_id, account_id, created_at, expires_at, proved_at)
    select bench_id(6, u, t), bench_id(5, u, t), now() - interval '1 hour', now() + interval '30 days', now() from people;
insert into person (unit_id, person_id, first_name, last_name, membership_number, version, log_seq)
    select bench_id(1, u, 0), bench_id(4, u, t), 'First' || t, 'Last' || u, format('M-%s-%s', u, t), 1, 998001 from people;
insert into person_contact (unit_id, person_id, email, email_key, phone, version, log_seq)
    select bench_id(1, u, 0), bench_id(4, u, t), format('p%s.%s@example.org', u, t), format('p%s.%s@example.org', u, t), '+1 555 0100', 1, 998001 from people;
insert into membership (account_id, unit_id, person_id, created_at) select bench_id(5, u, t), bench_id(1, u, 0), bench_id(4, u, t), now() - interval '1 year' from people;
insert into role_grant (unit_id, grant_id, person_id, role, from_at, log_seq)
    select bench_id(1, u, 0), bench_id(8, u, 0), bench_id(4, u, 0), 'unit_manager', now() - interval '1 year', 998001 from units;
insert into season (unit_id, season_id, label, time_zone, currency, starts_on, ends_on, is_current, version, log_seq)
    select bench_id(1, u, 0), bench_id(2, u, 0), 'This season', 'America/Chicago', 'USD', current_date - 90, current_date + 180, true, 1, 998001 from units;
insert into milestone (unit_id, milestone_id, season_id, code, title, on_day, version, log_seq)
    select bench_id(1, u, 0), bench_id(9, u, m.n), bench_id(2, u, 0), m.code, m.title, current_date + m.days, 1, 998001
    from units, (values (1, 'opening_orders_due', 'Opening orders due', 14), (2, 'return_due', 'Season return due', 10), (3, 'delivery_day', 'Delivery day', 40),
                        (4, 'sale_opens', 'Sale opens', 41), (5, 'sale_closes', 'Sale closes', 80), (6, 'kits_out', 'Kits out', -5)) as m (n, code, title, days);
insert into policy_version (unit_id, season_id, version, document, made_at, made_by, log_seq)
    select bench_id(1, u, 0), bench_id(2, u, 0), 1, $POLICY, now() - interval '80 days', 'system', 998001 from units;
insert into troop (unit_id, troop_id, number, number_key, name, kind, version, log_seq)
    select bench_id(1, u, 0), bench_id(3, u, t), lpad((100 + t)::text, 4, '0'), (100 + t)::text, 'Troop ' || t, 'troop', 1, 998001 from troops;
insert into troop_season (unit_id, troop_id, season_id, age_band, selling_youths, first_season, log_seq)
    select bench_id(1, u, 0), bench_id(3, u, t), bench_id(2, u, 0), 'juniors', 5 + t % 15, false, 998001 from troops;
insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, confirmed_at, version, log_seq)
    select bench_id(1, u, 0), bench_id(7, u, t), bench_id(3, u, t), bench_id(2, u, 0), bench_id(4, u, t), true, now() - interval '60 days', now() - interval '60 days', 1, 998001 from troops;
-- Each requirement was reported or met three times; every fifth troop has something open.
insert into evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on, valid_until_on, source, recorded_at, recorded_by, log_seq)
    select bench_id(1, u, 0), gen_random_uuid(), bench_id(2, u, 0), r.code, bench_id(4, u, t), 'met', current_date - 60 + 10 * n,
           case when r.code = 'membership' then current_date + 300 end, 'manager', now() - interval '50 days' + n * interval '10 days', 'account:' || bench_id(5, u, 0), 998001 + n
    from troops, unnest(array['membership', 'registration', 'agreement', 'yearly_training']) as r (code), generate_series(1, 3) as n
    where not (t % 5 = 0 and r.code = 'yearly_training');
insert into screening_evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on, valid_until_on, source, recorded_at, recorded_by, log_seq)
    select bench_id(1, u, 0), gen_random_uuid(), bench_id(2, u, 0), 'screening', bench_id(4, u, t), 'met', current_date - 60 + 10 * n, current_date + 400, 'list',
           now() - interval '50 days' + n * interval '10 days', 'system', 998001 + n
    from troops, generate_series(1, 2) as n;
insert into evidence (unit_id, evidence_id, season_id, requirement, troop_id, outcome, observed_on, source, recorded_at, recorded_by, log_seq)
    select bench_id(1, u, 0), gen_random_uuid(), bench_id(2, u, 0), 'bank_details', bench_id(3, u, t), 'met', current_date - 20, 'list', now() - interval '19 days', 'system', 998010
    from troops where t % 3 <> 0;
insert into decision (unit_id, decision_id, season_id, troop_id, assignment_id, kind, decided_at, decided_by, log_seq)
    select bench_id(1, u, 0), gen_random_uuid(), bench_id(2, u, 0), bench_id(3, u, t), bench_id(7, u, t), 'appoint', now() - interval '15 days', 'account:' || bench_id(5, u, 0), 998020
    from troops where t % 2 = 0;
analyze;
