//! The second fence: what the program's own database role can reach when the program itself has gone wrong.
//!
//! Connected as that role, by plain SQL: every unit table x select, insert, update, delete, truncate, in the context of
//! Juniper Ridge and in none. No row of Heron Slough may be read or changed.

use std::collections::BTreeMap;

use serde_json::Value;
use sqlx::Row as _;
use sqlx::postgres::PgConnection;

use crate::support::built::built;
use crate::support::cluster::Role;
use crate::support::fixture::{AWAY_UNIT, UNIT};
use crate::support::scenario;

/// A row for each unit table that the fixture leaves empty, and how to take it out again, so that the checks after every
/// test find what the program itself wrote. `$unit` stands for a unit.
const SAMPLES: &[(&str, &str)] = &[
    (
        "insert into unit_log (unit_id, seq, at, actor, action, subjects, request_id, previous_hash, hash)
         values ($unit, 1000, 'epoch', 'sample', 'sample', '[]', 'sample', '', '')",
        "delete from unit_log where actor = 'sample'",
    ),
    (
        "insert into denial (unit_id, actor, operation, minute_at, times) values ($unit, 'sample', 'sample', 'epoch', 1)",
        "delete from denial where actor = 'sample'",
    ),
    (
        "insert into idempotency (unit_id, principal, method, path, key, body_sha256, status, headers, body, at)
         values ($unit, 'sample', 'POST', '/', 'sample-key', '', 200, '[]', '', 'epoch')",
        "delete from idempotency where principal = 'sample'",
    ),
    (
        "insert into message (unit_id, message_id, kind, person_id, language, subject, body, state, sent_by_hand, written_at, written_by,
                              attempts, version, log_seq)
         select unit_id, gen_random_uuid(), 'missing', person_id, 'en', 'x', 'x', 'draft', false, 'epoch', 'sample', 0, 1, 0
         from person where unit_id = $unit limit 1",
        "delete from message where written_by = 'sample'",
    ),
    (
        "insert into mail_template (unit_id, kind, language, subject, body, version, log_seq)
         values ($unit, 'missing', 'qq', 'sample', 'sample', 1, 0)",
        "delete from mail_template where language = 'qq'",
    ),
    (
        "insert into mail_setting (unit_id, sends, language, version, log_seq) values ($unit, false, 'qq', 1, 0)",
        "delete from mail_setting where language = 'qq'",
    ),
    (
        "insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, log_seq)
         select unit_id, troop_id, person_id, 'other', 'epoch', 0 from assignment where unit_id = $unit limit 1",
        "delete from troop_contact where duty = 'other'",
    ),
    (
        "insert into evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on, source, recorded_at, recorded_by, log_seq)
         select unit_id, gen_random_uuid(), season_id, 'sample', person_id, 'met', '2039-10-01', 'manager', 'epoch', 'sample', 0
         from assignment where unit_id = $unit limit 1",
        "delete from evidence where recorded_by = 'sample'",
    ),
    (
        "insert into screening_evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on, source, recorded_at, recorded_by, log_seq)
         select unit_id, gen_random_uuid(), season_id, 'sample', person_id, 'met', '2039-10-01', 'list', 'epoch', 'sample', 0
         from assignment where unit_id = $unit limit 1",
        "delete from screening_evidence where recorded_by = 'sample'",
    ),
    (
        "insert into waiver (unit_id, waiver_id, season_id, requirement, person_id, reason, until_on, asked_at, asked_by, log_seq)
         select unit_id, gen_random_uuid(), season_id, 'sample', person_id, 'sample', '2039-10-01', 'epoch', 'sample', 0
         from assignment where unit_id = $unit limit 1",
        "delete from waiver where asked_by = 'sample'",
    ),
    (
        "insert into gate_override (unit_id, override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, log_seq)
         select unit_id, gen_random_uuid(), season_id, troop_id, 'order', 'sample', '2039-10-01', false, 'epoch', 'sample', 0
         from troop_season where unit_id = $unit limit 1",
        "delete from gate_override where asked_by = 'sample'",
    ),
    (
        "insert into decision (unit_id, decision_id, season_id, troop_id, kind, decided_at, decided_by, log_seq)
         select unit_id, gen_random_uuid(), season_id, troop_id, 'rejoin', 'epoch', 'sample', 0 from troop_season where unit_id = $unit limit 1",
        "delete from decision where decided_by = 'sample'",
    ),
    (
        "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, ended_at, version, log_seq)
         select unit_id, unit_id, troop_id, season_id, person_id, false, 'epoch', 'epoch', -1, 0 from assignment where unit_id = $unit limit 1;
         insert into take_over (unit_id, take_over_id, season_id, troop_id, from_assignment_id, to_assignment_id, taken_over_at, recorded_by, log_seq)
         select unit_id, gen_random_uuid(), season_id, troop_id, assignment_id, unit_id, 'epoch', 'sample', 0
         from assignment where unit_id = $unit and assignment_id <> unit_id limit 1",
        "delete from take_over where recorded_by = 'sample'; delete from assignment where version = -1",
    ),
    (
        "insert into lead_change (unit_id, assignment_id, lead, changed_at, changed_by, log_seq)
         select unit_id, assignment_id, true, 'epoch', 'sample', 0 from assignment where unit_id = $unit limit 1",
        "delete from lead_change where changed_by = 'sample'",
    ),
    (
        "insert into withdrawn_fact (unit_id, evidence_id, season_id, withdrawn_at, withdrawn_by, log_seq)
         select unit_id, unit_id, season_id, 'epoch', 'sample', 0 from season where unit_id = $unit limit 1",
        "delete from withdrawn_fact where withdrawn_by = 'sample'",
    ),
    (
        "insert into calendar_address (unit_id, person_id, secret_sha256, made_at, log_seq)
         select unit_id, person_id, 'sample', 'epoch', 0 from person where unit_id = $unit limit 1",
        "delete from calendar_address where secret_sha256 = 'sample'",
    ),
    (
        "insert into webhook (unit_id, webhook_id, address, actions, secret_sealed, cursor_seq, made_at, failures, version, log_seq)
         values ($unit, $unit, 'https://sample', '{}', 'x', 0, 'epoch', 0, 1, 0);
         insert into webhook_delivery (unit_id, delivery_id, webhook_id, made_at, state, tries, due_at)
         values ($unit, $unit, $unit, 'epoch', 'given_up', 0, 'epoch');
         insert into webhook_attempt (unit_id, attempt_id, delivery_id, tried_at, took_ms, outcome)
         values ($unit, $unit, $unit, 'epoch', 0, 'no_answer')",
        "delete from webhook_attempt; delete from webhook_delivery; delete from webhook where address = 'https://sample'",
    ),
    (
        "insert into milestone_gone (unit_id, milestone_id, season_id, title, kind, version, log_seq)
         select unit_id, unit_id, season_id, 'sample', 'event', 1, 0 from season where unit_id = $unit limit 1",
        "delete from milestone_gone where title = 'sample'",
    ),
    (
        "insert into outside_tick (unit_id, season_id, step, event_id, ticked_at, ticked_by, log_seq)
         select unit_id, season_id, 'sample', unit_id, 'epoch', 'sample', 0 from season where unit_id = $unit limit 1",
        "delete from outside_tick where ticked_by = 'sample'",
    ),
    (
        "insert into standing (unit_id, season_id, troop_id, answer, log_seq, rules_version)
         select unit_id, season_id, troop_id, '{}', 0, -1 from troop_season where unit_id = $unit limit 1",
        "delete from standing where rules_version = -1",
    ),
    (
        "insert into blob (unit_id, sha256, content, kept_at) values ($unit, decode(repeat('5a', 32), 'hex'), 'sample', 'epoch')",
        "delete from blob where content = 'sample'",
    ),
    (
        "insert into intake (unit_id, intake_id, season_id, kind, file_name, file_sha256, listed_on, state, reading_since, choices, counts,
                             uploaded_at, uploaded_by, version, log_seq)
         select unit_id, unit_id, season_id, 'role_list', 'sample', decode(repeat('5a', 32), 'hex'), '2039-10-01', 'discarded', 'epoch', '{}', '{}',
                'epoch', 'sample', 1, 0 from season where unit_id = $unit limit 1",
        "delete from intake where file_name = 'sample'",
    ),
    (
        "insert into intake_row (unit_id, intake_id, row_number, needs_a_person, preview) values ($unit, $unit, 1, false, '{}')",
        "delete from intake_row where intake_id = unit_id",
    ),
    (
        "insert into withdrawn_list (unit_id, intake_id, season_id, withdrawn_at, withdrawn_by, log_seq)
         select unit_id, unit_id, season_id, 'epoch', 'sample', 0 from season where unit_id = $unit limit 1",
        "delete from withdrawn_list where withdrawn_by = 'sample'",
    ),
    (
        "insert into list_memory (unit_id, kind, memory, log_seq) values ($unit, 'role_list', '{}', 0)",
        "delete from list_memory where memory = '{}'",
    ),
    (
        "insert into row_decision (unit_id, kind, identity, before, resolution, intake_id, decided_on, log_seq)
         values ($unit, 'role_list', decode(repeat('5a', 32), 'hex'), 'sample', '{}', $unit, '2039-10-01', 0)",
        "delete from row_decision where before = 'sample'",
    ),
    (
        "insert into frozen_document (unit_id, document_id, kind, number, season_id, figures, sha256, stands_at, made_at, made_by, log_seq)
         select unit_id, unit_id, 'season_return', 1, season_id, '{}', sha256(convert_to('{}', 'UTF8')), 'epoch', 'epoch', 'sample', 0
         from season where unit_id = $unit limit 1",
        "alter table frozen_document disable trigger user; delete from frozen_document where made_by = 'sample'; alter table frozen_document enable trigger user",
    ),
    (
        "insert into frozen_name (unit_id, document_id, person_id, name) select unit_id, unit_id, person_id, null from person where unit_id = $unit limit 1",
        "alter table frozen_name disable trigger user; delete from frozen_name where document_id = unit_id; alter table frozen_name enable trigger user",
    ),
    (
        "insert into return_sending (unit_id, sending_id, document_id, sent_at, sent_to, way, noted_at, noted_by, log_seq)
         select unit_id, unit_id, document_id, 'epoch', 'sample', 'mail', 'epoch', 'sample', 0
         from frozen_document where unit_id = $unit and made_by = 'sample' limit 1",
        "delete from return_sending where noted_by = 'sample'",
    ),
    (
        "insert into troop (unit_id, troop_id, number, number_key, name, kind, version, log_seq)
         values ($unit, $unit, 'sample', 'sample', '', 'troop', -1, 0);
         insert into troop_season (unit_id, troop_id, season_id, age_band, selling_youths, first_season, log_seq)
         select unit_id, unit_id, season_id, 'sample', 1, false, 0 from season where unit_id = $unit limit 1;
         insert into regrouping (unit_id, regrouping_id, season_id, kind, from_troop_id, to_troop_id, selling_youths, regrouped_at,
                                 regrouped_by, log_seq)
         select unit_id, unit_id, season_id, 'split', troop_id, unit_id, 1, 'epoch', 'sample', 0
         from troop_season where unit_id = $unit and troop_id <> unit_id limit 1",
        "delete from regrouping where regrouped_by = 'sample'; delete from troop_season where age_band = 'sample';
         delete from troop where version = -1",
    ),
];

async fn execute(db: &mut PgConnection, sql: &str) -> Result<u64, String> {
    sqlx::raw_sql(built(sql)).execute(db).await.map(|done| done.rows_affected()).map_err(|error| {
        let state = error.as_database_error().and_then(sqlx::error::DatabaseError::code).map(|code| code.to_string());
        state.unwrap_or_else(|| error.to_string())
    })
}

async fn count(db: &mut PgConnection, sql: &str) -> i64 {
    sqlx::query(built(sql)).fetch_one(db).await.unwrap_or_else(|error| panic!("{sql}: {error}")).get(0)
}

async fn unit_tables(owner: &mut PgConnection) -> Vec<String> {
    sqlx::query_scalar(
        "select c.relname::text from pg_class c where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace
         and c.relrowsecurity order by 1",
    )
    .fetch_all(owner)
    .await
    .expect("the tables with row security")
}

/// The columns that the program may change; it must have at least tried each.
async fn changeable(owner: &mut PgConnection, table: &str) -> Vec<String> {
    sqlx::query_scalar(
        "select attname::text from pg_attribute where attrelid = $1::regclass and attnum > 0 and not attisdropped
         and has_column_privilege('caselot_runtime', attrelid, attnum, 'update') order by 1",
    )
    .bind(table)
    .fetch_all(owner)
    .await
    .expect("the columns")
}

/// Opens a transaction in a context, tries one statement, and takes everything back.
async fn try_in(runtime: &mut PgConnection, context: &str, sql: &str) -> Result<u64, String> {
    execute(runtime, &format!("begin; select set_config('caselot.unit', '{context}', true)")).await.expect("a context");
    let outcome = execute(runtime, sql).await;
    execute(runtime, "rollback").await.expect("a rollback");
    outcome
}

async fn seen_in(runtime: &mut PgConnection, context: &str, table: &str, condition: &str) -> i64 {
    execute(runtime, &format!("begin; select set_config('caselot.unit', '{context}', true)")).await.expect("a context");
    let seen = count(runtime, &format!("select count(*) from {table} where {condition}")).await;
    execute(runtime, "rollback").await.expect("a rollback");
    seen
}

const REFUSED: &str = "42501";

#[test]
fn in_the_context_of_one_unit_no_statement_reaches_a_row_of_another_and_without_context_none_reaches_any() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        for (sample, _) in SAMPLES {
            for unit in [UNIT, AWAY_UNIT] {
                let sql = sample.replace("$unit", &format!("'{unit}'"));
                execute(&mut owner, &sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
            }
        }
        let mut runtime = world.copy.connect(Role::Runtime).await;
        let tables = unit_tables(&mut owner).await;
        assert!(tables.len() >= 15, "the list of unit tables is {tables:?}");
        for table in &tables {
            let foreign =
                count(&mut owner, &format!("select count(*) from {table} where unit_id = '{AWAY_UNIT}'")).await;
            let own = count(&mut owner, &format!("select count(*) from {table} where unit_id = '{UNIT}'")).await;
            assert!(
                foreign > 0 && own > 0,
                "{table} is empty: give tests/gates/fence.rs a sample row, or this proves nothing"
            );
            reads(&mut runtime, table, own).await;
            writes(&mut owner, &mut runtime, table, own).await;
            inserts(&mut owner, &mut runtime, table).await;
        }
        for (_, tidy) in SAMPLES.iter().rev() {
            execute(&mut owner, tidy).await.unwrap_or_else(|error| panic!("{tidy}: {error}"));
        }
    });
}

async fn reads(runtime: &mut PgConnection, table: &str, own: i64) {
    let here = UNIT.to_string();
    assert_eq!(seen_in(runtime, &here, table, "true").await, own, "{table}: the own rows, all of them and no other");
    assert_eq!(
        seen_in(runtime, &here, table, &format!("unit_id = '{AWAY_UNIT}'")).await,
        0,
        "{table}: read across units"
    );
    assert_eq!(seen_in(runtime, "", table, "true").await, 0, "{table}: read without a context");
    // Outside any transaction too, where the setting was never made or has gone with its transaction.
    assert_eq!(count(runtime, &format!("select count(*) from {table}")).await, 0, "{table}: read after a rollback");
}

async fn writes(owner: &mut PgConnection, runtime: &mut PgConnection, table: &str, own: i64) {
    let here = UNIT.to_string();
    let own = u64::try_from(own).expect("a count");
    let columns = changeable(owner, table).await;
    for column in &columns {
        for context in [here.as_str(), ""] {
            let sql = format!("update {table} set {column} = {column} where unit_id = '{AWAY_UNIT}'");
            let outcome = try_in(runtime, context, &sql).await;
            assert!(matches!(outcome, Ok(0)), "{sql} in {context:?}: {outcome:?}");
        }
        let all = try_in(runtime, &here, &format!("update {table} set {column} = {column}")).await;
        assert!(all.clone().is_ok_and(|rows| rows == own), "{table}.{column}: {all:?} instead of {own} own rows");
    }
    if columns.is_empty() {
        let outcome = try_in(runtime, &here, &format!("update {table} set unit_id = unit_id")).await;
        assert_eq!(outcome, Err(REFUSED.to_owned()), "{table} may not be updated");
    }
    let moved = try_in(runtime, &here, &format!("update {table} set unit_id = '{AWAY_UNIT}'")).await;
    assert_eq!(moved, Err(REFUSED.to_owned()), "{table}: a row moves to another unit");
    for context in [here.as_str(), ""] {
        let deleted = try_in(runtime, context, &format!("delete from {table} where unit_id = '{AWAY_UNIT}'")).await;
        assert!(
            matches!(&deleted, Ok(0)) || deleted == Err(REFUSED.to_owned()),
            "{table}: deleted across units: {deleted:?}"
        );
        let emptied = try_in(runtime, context, &format!("truncate {table}")).await;
        assert_eq!(emptied, Err(REFUSED.to_owned()), "{table} can be truncated");
    }
}

/// A true row of the other unit, sent again as the program: refused before anything else is looked at.
async fn inserts(owner: &mut PgConnection, runtime: &mut PgConnection, table: &str) {
    let sql = format!("select to_jsonb(t) from {table} t where unit_id = '{AWAY_UNIT}' limit 1");
    let row: Value = sqlx::query(built(sql)).fetch_one(owner).await.expect("a row").get(0);
    let quoted = row.to_string().replace('\'', "''");
    let sql = format!("insert into {table} select (jsonb_populate_record(null::{table}, '{quoted}'::jsonb)).*");
    for context in [UNIT.to_string(), String::new()] {
        let outcome = try_in(runtime, &context, &sql).await;
        assert_eq!(outcome, Err(REFUSED.to_owned()), "{table}: inserted across units in {context:?}");
    }
}

/// Tables that belong to the server and so have no row security, each with all that the program may do to it.
const GLOBAL: &[(&str, &str)] = &[
    ("_sqlx_migrations", "select"),
    ("access_key", "select insert update(last_used_at,name,revoked_at)"),
    ("account", "select insert update(disabled_at,email,email_key,password_phc,tokens_since)"),
    (
        "account_message",
        "select insert update(attempts,claimed_at,due_at,ended_at,last_answer,link_sealed,state,to_address) delete",
    ),
    ("cluster_clock", "select"),
    ("email_change", "select insert update(email,used_at)"),
    ("invitation", "select insert update(accepted_at,email,voided_at)"),
    ("job", "select insert update(attempts,due_at,failed_at,finished_at,last_error)"),
    ("link_request", "select insert update(looked_at_at) delete"),
    ("membership", "select insert delete"),
    ("permission", "select"),
    ("recovery_code", "select insert update(used_at) delete"),
    ("refresh_token", "select insert update(successor,used_at,voided_at)"),
    ("reset_link", "select insert update(used_at)"),
    ("role", "select"),
    ("role_permission", "select"),
    (
        "second_factor",
        "select insert update(confirmed_at,created_at,failures,last_failed_at,last_step,secret_sealed) delete",
    ),
    ("server_idempotency", "select insert delete"),
    ("server_log", "select insert"),
    ("server_log_head", "select update"),
    ("session", "select insert update(ended_at,ended_because,opened_from,opened_with,proved_at)"),
    ("sign_in_delay", "select insert update delete"),
    ("sign_in_link", "select insert update(used_at)"),
    ("unit", "select insert update(name,version)"),
];

#[test]
fn the_tables_without_row_security_are_those_listed_with_the_grants_listed() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select c.relname::text, concat_ws(' ',
                 case when has_table_privilege('caselot_runtime', c.oid, 'select') then 'select' end,
                 case when has_table_privilege('caselot_runtime', c.oid, 'insert') then 'insert' end,
                 case when has_table_privilege('caselot_runtime', c.oid, 'update') then 'update'
                      when has_any_column_privilege('caselot_runtime', c.oid, 'update') then 'update(' || (
                          select string_agg(attname, ',' order by attname) from pg_attribute where attrelid = c.oid and attnum > 0
                          and not attisdropped and has_column_privilege('caselot_runtime', c.oid, attnum, 'update')) || ')' end,
                 case when has_table_privilege('caselot_runtime', c.oid, 'delete') then 'delete' end,
                 case when has_table_privilege('caselot_runtime', c.oid, 'truncate') then 'truncate' end,
                 case when has_table_privilege('caselot_runtime', c.oid, 'references') then 'references' end,
                 case when has_table_privilege('caselot_runtime', c.oid, 'trigger') then 'trigger' end)
             from pg_class c where c.relkind in ('r', 'p', 'v', 'm', 'f') and c.relnamespace = 'public'::regnamespace and not c.relrowsecurity",
        )
        .fetch_all(&mut owner)
        .await
        .expect("the grants");
        let granted: BTreeMap<String, String> = rows.into_iter().collect();
        let listed: BTreeMap<String, String> =
            GLOBAL.iter().map(|(table, grants)| ((*table).to_owned(), (*grants).to_owned())).collect();
        assert_eq!(granted, listed, "left: the database, right: the list in this file");
    });
}
