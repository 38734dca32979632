//! Things that stand in paths and that the fixture does not have (`objects.rs` names them).

use sqlx::postgres::PgConnection;

use crate::support::world::World;

/// Each of these once in every unit.
const PREPARED: &[&str] = &[
    "insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, log_seq)
     select unit_id, troop_id, person_id, 'treasurer', from_at, 0 from assignment",
    "insert into blob (unit_id, sha256, content, kept_at) select unit_id, decode(repeat('5a', 32), 'hex'), 'x', 'epoch' from unit",
    "insert into intake (unit_id, intake_id, season_id, kind, file_name, file_sha256, listed_on, state, reading_since, choices, counts,
                         uploaded_at, uploaded_by, applied_at, applied_by, version, log_seq)
     select unit_id, overlay(unit_id::text placing '6' from 34)::uuid, season_id, 'role_list', 'x.csv', decode(repeat('5a', 32), 'hex'),
            '2039-10-01', 'applied', 'epoch', '{\"letters\": {}, \"date_orders\": {}}',
            '{\"rows\": 1, \"waiting\": 0, \"left_out\": 0, \"changing_rows\": 0, \"changes\": 0, \"new_people\": 0, \"filled_in\": 0,
              \"proposals\": 0, \"facts\": 0, \"problems\": 0}', '2039-10-01', 'system', '2039-10-01', 'system', 1, 0 from season",
    "insert into intake_row (unit_id, intake_id, row_number, needs_a_person, preview)
     select unit_id, intake_id, 1, false, '{\"row_number\": 1, \"name\": \"\", \"troop_number\": null, \"state\": \"person\",
            \"needs_a_person\": false, \"person_id\": null, \"troop_id\": null, \"candidates\": [], \"reason_code\": null,
            \"reason\": null, \"also_on_rows\": [], \"changes\": [], \"problems\": []}' from intake",
    "insert into evidence (unit_id, evidence_id, season_id, requirement, troop_id, outcome, observed_on, source, recorded_at, recorded_by, log_seq)
     select distinct on (unit_id) unit_id, overlay(unit_id::text placing 'a' from 34)::uuid, season_id, 'bank_details', troop_id,
            'not_met', '2039-10-01'::date, 'manager', '2039-10-01'::timestamptz, 'system', 0 from troop_season order by unit_id, troop_id",
    "insert into waiver (unit_id, waiver_id, season_id, requirement, troop_id, reason, until_on, needs_two, asked_at, asked_by, log_seq)
     select distinct on (unit_id) unit_id, overlay(unit_id::text placing '8' from 34)::uuid, season_id, 'bank_details', troop_id, 'x',
            '2040-05-01'::date, true, '2039-10-01'::timestamptz, 'system', 0 from troop_season order by unit_id, troop_id",
    "insert into gate_override (unit_id, override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, log_seq)
     select unit_id, overlay(unit_id::text placing '9' from 34)::uuid, season_id, troop_id, 'earn', reason, until_on, true, asked_at,
            asked_by, 0 from waiver",
    "insert into frozen_document (unit_id, document_id, kind, number, season_id, figures, sha256, stands_at, made_at, made_by, log_seq)
     select unit_id, overlay(unit_id::text placing '7' from 34)::uuid, 'season_return', 1, season_id, figures,
            sha256(convert_to(figures, 'UTF8')), '2039-10-01', '2039-10-01', 'system', 0
     from season, (values ('{\"note\":\"x\",\"season\":{\"label\":\"2040\",\"season_id\":\"0198c0de-0000-7000-8000-000000000011\"},\"stands_at\":\"2039-10-01T00:00:00Z\",\"totals\":{\"appointed\":0,\"no_coordinator\":0,\"open_requirements\":0,\"sitting_out\":0,\"troops\":0,\"under_way\":0},\"troops\":[]}')) as frozen (figures)",
    "insert into message (unit_id, message_id, kind, person_id, language, to_address, subject, body, state, sent_by_hand, written_at,
                          written_by, attempts, version, log_seq)
     select distinct on (unit_id) unit_id, overlay(unit_id::text placing 'd' from 34)::uuid, 'missing', person_id, 'en',
            'somebody@example.org', 'x', 'x', 'draft', false, '2039-10-01'::timestamptz, 'system', 0, 1, 0
     from assignment order by unit_id, assignment_id",
    "insert into webhook (unit_id, webhook_id, address, actions, secret_sealed, cursor_seq, made_at, failures, version, log_seq)
     select unit_id, overlay(unit_id::text placing 'b' from 34)::uuid, 'https://hooks.example.org/from-caselot', '{}', 'x', 0, '2039-10-01', 0, 1, 0
     from unit",
    "insert into webhook_delivery (unit_id, delivery_id, webhook_id, made_at, state, tries, due_at)
     select unit_id, overlay(unit_id::text placing 'c' from 34)::uuid, webhook_id, '2039-10-01', 'given_up', 8, '2039-10-01' from webhook",
    "insert into calendar_address (unit_id, person_id, secret_sha256, made_at, log_seq)
     select p.unit_id, p.person_id, sha256(case when exists (select from role_grant g where g.unit_id = p.unit_id and g.person_id = p.person_id
                and g.role = 'unit_manager')
            then convert_to(translate(encode(uuid_send(p.unit_id) || decode(repeat('07', 32), 'hex'), 'base64'), '+/', '-_'), 'UTF8')
            else uuid_send(p.person_id) end), '2039-10-01', 0 from person p",
];

/// Puts them in.
pub async fn prepare(world: &World) {
    prepare_in(&mut world.owner().await).await;
}

/// Puts them into a database, as its owner.
pub async fn prepare_in(owner: &mut PgConnection) {
    for statement in PREPARED {
        sqlx::query(*statement).execute(&mut *owner).await.unwrap_or_else(|error| panic!("{statement}: {error}"));
    }
}
