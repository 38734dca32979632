//! R15: who may see which field. One canary stands in each sensitive field of troop 0101 and one in each of troop 0102; every
//! read of the document, every export, and the error bodies of every change are asked for by every role and by keys, and what
//! was seen is compared with `canaries.csv`, which people wrote.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read as _};

use reqwest::Method;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::matrix::observe::prepare;
use crate::objects::{self, TARGETS, Target};
use crate::operations::{OPERATIONS, Operation, resolve};
use crate::support::client::{Answered, Caller};
use crate::support::fixture::{self, OTHER_TROOP, PIOTR, TROOP, UNIT, YESENIA};
use crate::support::scenario;
use crate::support::world::World;
use crate::table::{Entry, ROLES};

/// A field, with its canary in troop 0101 and in troop 0102; a field of no troop has one.
const CANARIES: &[(&str, &str, Option<&str>)] = &[
    ("coordinator_name", "Canarycoordone", Some("Canarycoordtwo")),
    ("contact_name", "Canarycontactone", Some("Canarycontacttwo")),
    ("membership_number", "M-CANARY-ONE", Some("M-CANARY-TWO")),
    ("email", "canary.one@example.org", Some("canary.two@example.org")),
    ("phone", "5550777101", Some("5550777102")),
    ("meeting_place", "Canary hall one", Some("Canary hall two")),
    ("screening_dates", "2039-09-21", Some("2039-09-22")),
    ("evidence_note", "canary note one", Some("canary note two")),
    ("waiver_reason", "canary waiver one", Some("canary waiver two")),
    ("override_reason", "canary override one", Some("canary override two")),
    ("decision_reason", "canary decision one", Some("canary decision two")),
    ("take_over_reason", "canary going one", Some("canary going two")),
    ("take_over_note", "canary handing one", Some("canary handing two")),
    ("regrouping_reason", "canary regrouping", None),
    ("list_row", "Canary list row", None),
    ("returned_name", "Canary returned", None),
    ("return_sent_to", "Canary desk", None),
    ("return_answer", "canary answer", None),
    ("message_address", "canary.letter@example.org", None),
    ("message_text", "canary letter", None),
];

/// A screening that is not met: found by its shape, since the words are everybody's.
const OUTCOME: &str = "screening_outcome";

/// What can hold a person's words or names (every column with an eraser), and the canary that stands in it.
const COLUMNS: &[(&str, &str)] = &[
    ("person.first_name", "coordinator_name"),
    ("person.last_name", "contact_name"),
    ("person.membership_number", "membership_number"),
    ("person_contact.email", "email"),
    ("person_contact.phone", "phone"),
    ("evidence.note", "evidence_note"),
    ("waiver.reason", "waiver_reason"),
    ("gate_override.reason", "override_reason"),
    ("decision.reason", "decision_reason"),
    ("take_over.reason", "take_over_reason"),
    ("take_over.note", "take_over_note"),
    ("regrouping.reason", "regrouping_reason"),
    ("intake_row.preview", "list_row"),
    ("frozen_name.name", "returned_name"),
    ("return_sending.sent_to", "return_sent_to"),
    ("return_sending.answer_reason", "return_answer"),
    ("message.to_address", "message_address"),
    ("message.subject", "message_text"),
    ("message.body", "message_text"),
];

/// Such columns without a canary, each with the reason.
const WITHOUT: &[(&str, &str)] = &[
    ("person_contact.email_key", "for comparison, never sent"),
    ("account.email", "an account's own: no operation of a unit reads it"),
    ("account.email_key", "for comparison, never sent"),
    ("account.password_phc", "never sent"),
    ("access_key.name", "its owner's own words, listed to the owner alone"),
    ("second_factor.secret_sealed", "sealed; its owner is shown it once"),
    ("email_change.email", "shown to the account's owner alone"),
    ("session.opened_from", "listed to the account's owner alone"),
    ("session.opened_with", "listed to the account's owner alone"),
    ("invitation.email", "shown to whoever has the link"),
    ("membership.person_id", "an id"),
    ("calendar_address.person_id", "an id"),
    ("message.person_id", "an id"),
    ("message.last_answer", "what a mail server said, beside the address"),
    ("blob.content", "the file itself is never sent back"),
    ("intake.parsed", "stands with the rows, under the same permission"),
    ("intake.columns", "stands with the rows, under the same permission"),
    ("intake.fault", "stands with the rows, under the same permission"),
    ("intake.file_name", "stands with the rows, under the same permission"),
    ("intake.sheet", "stands with the rows, under the same permission"),
    ("intake.sheets", "stands with the rows, under the same permission"),
    ("intake.absences", "stands with the rows, under the same permission"),
    ("intake_row.resolution", "ids"),
    ("idempotency.path", "for comparison, never sent"),
    ("idempotency.headers", "sent again to whoever was sent them"),
    ("idempotency.body", "sent again to whoever was sent it"),
    ("server_idempotency.headers", "sent again to whoever was sent them"),
    ("server_idempotency.body", "sent again to whoever was sent it"),
    ("row_decision.resolution", "What a row was taken for: ids, and words of the program."),
];

/// Puts the canaries in. `$one` and `$two` stand for the troops, `$piotr`, `$yesenia` and `$dov` for people.
const SEEDS: &[&str] = &[
    "update person set last_name = 'Canarycoordone', membership_number = 'M-CANARY-ONE' where person_id = $piotr",
    "update person set last_name = 'Canarycoordtwo', membership_number = 'M-CANARY-TWO' where person_id = $yesenia",
    "update person_contact set email = 'canary.one@example.org', phone = '5550777101' where person_id = $piotr",
    "update person_contact set email = 'canary.two@example.org', phone = '5550777102' where person_id = $yesenia",
    "insert into person (unit_id, person_id, first_name, last_name, version, log_seq)
     values ($unit, $one, 'Ida', 'Canarycontactone', 1, 0), ($unit, $two, 'Ida', 'Canarycontacttwo', 1, 0)",
    "insert into troop_contact (unit_id, troop_id, person_id, duty, from_at, log_seq)
     values ($unit, $one, $one, 'leader', 'epoch', 0), ($unit, $two, $two, 'leader', 'epoch', 0)",
    "update troop set meeting_place = 'Canary hall one' where troop_id = $one",
    "update troop set meeting_place = 'Canary hall two' where troop_id = $two",
    "insert into screening_evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on, source, recorded_at,
                                     recorded_by, log_seq)
     values ($unit, gen_random_uuid(), $season, 'screening', $piotr, 'not_met', '2039-09-21', 'list', '2039-10-01', 'system', 0),
            ($unit, gen_random_uuid(), $season, 'screening', $yesenia, 'not_met', '2039-09-22', 'list', '2039-10-01', 'system', 0)",
    "insert into evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on, source, note, recorded_at,
                           recorded_by, log_seq)
     values ($unit, gen_random_uuid(), $season, 'agreement', $piotr, 'met', '2039-10-02', 'manager', 'canary note one', '2039-10-02', 'system', 0),
            ($unit, gen_random_uuid(), $season, 'agreement', $yesenia, 'met', '2039-10-02', 'manager', 'canary note two', '2039-10-02', 'system', 0)",
    "insert into waiver (unit_id, waiver_id, season_id, requirement, person_id, reason, until_on, asked_at, asked_by, granted_at, granted_by, log_seq)
     values ($unit, gen_random_uuid(), $season, 'yearly_training', $piotr, 'canary waiver one', '2040-05-01', '2039-10-01', 'x', '2039-10-01', 'y', 0),
            ($unit, gen_random_uuid(), $season, 'yearly_training', $yesenia, 'canary waiver two', '2040-05-01', '2039-10-01', 'x', '2039-10-01', 'y', 0)",
    "insert into gate_override (unit_id, override_id, season_id, troop_id, gate, reason, until_on, needs_two, asked_at, asked_by, granted_at,
                                granted_by, log_seq)
     values ($unit, gen_random_uuid(), $season, $one, 'order', 'canary override one', '2040-05-01', true, '2039-10-01', 'x', '2039-10-01', 'y', 0),
            ($unit, gen_random_uuid(), $season, $two, 'order', 'canary override two', '2040-05-01', true, '2039-10-01', 'x', '2039-10-01', 'y', 0)",
    "insert into decision (unit_id, decision_id, season_id, troop_id, kind, reason, decided_at, decided_by, log_seq)
     values ($unit, gen_random_uuid(), $season, $one, 'rejoin', 'canary decision one', '2039-10-01', 'system', 0),
            ($unit, gen_random_uuid(), $season, $two, 'rejoin', 'canary decision two', '2039-10-01', 'system', 0)",
    "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, confirmed_at, ended_at, ended_because, version,
                             log_seq)
     values ($unit, $one, $one, $season, $dov, false, '2039-09-02', '2039-09-02', '2039-10-01', 'replaced', 1, 0),
            ($unit, $two, $two, $season, $dov, false, '2039-09-02', '2039-09-02', '2039-10-01', 'replaced', 1, 0)",
    "insert into take_over (unit_id, take_over_id, season_id, troop_id, from_assignment_id, to_assignment_id, reason, note, taken_over_at,
                            recorded_by, log_seq)
     select unit_id, gen_random_uuid(), season_id, troop_id, troop_id, assignment_id,
            case when troop_id = $one then 'canary going one' else 'canary going two' end,
            case when troop_id = $one then 'canary handing one' else 'canary handing two' end, '2039-10-01', 'system', 0
     from assignment where person_id in ($piotr, $yesenia)",
    "insert into regrouping (unit_id, regrouping_id, season_id, kind, from_troop_id, to_troop_id, reason, selling_youths, regrouped_at,
                             regrouped_by, log_seq)
     values ($unit, gen_random_uuid(), $season, 'split', $one, $two, 'canary regrouping', 1, '2039-10-01', 'system', 0)",
    "update intake_row set preview = jsonb_set(preview::jsonb, '{name}', '\"Canary list row\"')::json where unit_id = $unit",
    "insert into frozen_name (unit_id, document_id, person_id, name)
     select unit_id, document_id, $piotr, 'Canary returned' from frozen_document where unit_id = $unit",
    "insert into return_sending (unit_id, sending_id, document_id, sent_at, sent_to, way, noted_at, noted_by, answer, answer_reason, answered_at,
                                 answer_by, log_seq)
     select unit_id, document_id, document_id, '2039-10-02', 'Canary desk', 'mail', '2039-10-02', 'system', 'sent_back', 'canary answer',
            '2039-10-03', 'system', 0
     from frozen_document where unit_id = $unit",
    "update message set to_address = 'canary.letter@example.org', subject = 'canary letter', body = 'canary letter' where unit_id = $unit",
];

async fn seed(world: &World) {
    prepare(world).await;
    let mut owner = world.owner().await;
    let person = |who: &fixture::Somebody| who.place.expect("a place").person;
    for seed in SEEDS {
        let named: [(&str, Uuid); 7] = [
            ("$unit", UNIT),
            ("$season", fixture::SEASON),
            ("$one", TROOP),
            ("$two", OTHER_TROOP),
            ("$piotr", person(&PIOTR)),
            ("$yesenia", person(&YESENIA)),
            ("$dov", fixture::DOV),
        ];
        let sql = named.iter().fold((*seed).to_owned(), |sql, (name, id)| sql.replace(name, &format!("'{id}'::uuid")));
        sqlx::raw_sql(crate::support::built::built(&sql))
            .execute(&mut owner)
            .await
            .unwrap_or_else(|error| panic!("{sql}: {error}"));
    }
}

/// Where a canary was seen: the field, whether that of troop 0102, and in which answers.
type Sightings = BTreeMap<(&'static str, bool), BTreeSet<String>>;

/// Everything that an answer says as text: a workbook is unpacked.
fn text_of(answer: &Answered) -> String {
    if !answer.body.starts_with(b"PK") {
        return String::from_utf8_lossy(&answer.body).into_owned();
    }
    let mut archive = zip::ZipArchive::new(Cursor::new(&answer.body)).expect("a workbook");
    let mut text = String::new();
    for place in 0..archive.len() {
        archive.by_index(place).expect("a part").read_to_string(&mut text).expect("text");
    }
    text
}

/// Whether somewhere in it a screening reads as not met.
fn tells_an_outcome(value: &Value) -> bool {
    match value {
        Value::Object(map) => {
            (map.get("requirement") == Some(&json!("screening")) && map.get("outcome") == Some(&json!("not_met")))
                || map.values().any(tells_an_outcome)
        }
        Value::Array(items) => items.iter().any(tells_an_outcome),
        _ => false,
    }
}

fn note(seen: &mut Sightings, operation: &Operation, answer: &Answered) {
    let text = text_of(answer);
    let told = || format!("{} ({})", operation.id, answer.status);
    for (field, one, two) in CANARIES {
        for (canary, is_other) in [(Some(*one), false), (*two, true)] {
            if canary.is_some_and(|canary| text.contains(canary)) {
                seen.entry((field, is_other)).or_default().insert(told());
            }
        }
    }
    if serde_json::from_str(&text).is_ok_and(|value: Value| tells_an_outcome(&value)) {
        seen.entry((OUTCOME, false)).or_default().insert(told());
    }
}

/// The addresses by which an operation is read: each of its targets, in each format, now and as of a moment ago.
fn addresses(operation: &Operation, targets: &[Target]) -> Vec<String> {
    let mut found = Vec::new();
    let parameters = operation.value["parameters"].as_array().cloned().unwrap_or_default();
    let parameter = |name: &str| parameters.iter().find(|one| one["name"] == name).cloned();
    for path in targets.iter().filter_map(|target| objects::path(operation, *target)) {
        let path = format!("{path}{}", objects::query(operation));
        let join = if path.contains('?') { '&' } else { '?' };
        if let Some(format) = parameter("format") {
            let schema = format["schema"]["$ref"].as_str().and_then(resolve).unwrap_or(&format["schema"]).clone();
            let formats = schema["enum"].as_array().expect("the formats").clone();
            found.extend(formats.iter().filter_map(Value::as_str).map(|word| format!("{path}{join}format={word}")));
        }
        if parameter("as_of").is_some() {
            found.push(format!("{path}{join}as_of=2040-01-10T15:00:00Z"));
        }
        found.push(path);
    }
    found
}

/// All that somebody sees by reading.
async fn reads(caller: &Caller, targets: &[Target]) -> Sightings {
    let mut seen = Sightings::new();
    for operation in OPERATIONS.iter().filter(|operation| operation.method == Method::GET) {
        for address in addresses(operation, targets) {
            note(&mut seen, operation, &caller.get(&address).await);
        }
    }
    seen
}

/// What the refusals of every change say. Whatever would be let through is left out: its answer is the reader's own.
async fn refusals(caller: &Caller, may: impl Fn(&Operation, Target) -> bool, seen: &mut Sightings) {
    for operation in OPERATIONS.iter().filter(|operation| operation.changes() && operation.in_unit()) {
        for target in [Target::Own, Target::Other, Target::Missing] {
            let Some(path) = objects::path(operation, target).filter(|_| !may(operation, target)) else { continue };
            let mut asked = caller.ask(operation.method.clone(), &format!("{path}{}", objects::query(operation)));
            if matches!(operation.method, Method::PUT | Method::PATCH | Method::DELETE) {
                asked = asked.header("if-match", "\"v999999\"");
            }
            if let Some(body) = objects::body(operation, target) {
                asked = asked.json(&body);
            }
            let answer = asked.await;
            assert!(answer.status >= 400, "{}: {answer}", operation.id);
            note(seen, operation, &answer);
        }
    }
}

/// One line of the table.
struct Line {
    entries: [Entry; 6],
    /// Sets of permissions, each of which is enough for a key.
    keys: Vec<BTreeSet<String>>,
}

fn table() -> BTreeMap<String, Line> {
    let mut reader = csv::Reader::from_reader(include_str!("canaries.csv").as_bytes());
    let mut lines = BTreeMap::new();
    for row in reader.records() {
        let row = row.expect("a row");
        let entries = std::array::from_fn(|place| match &row[place + 1] {
            "yes" => Entry::Yes,
            "own" => Entry::Own,
            "no" => Entry::No,
            other => panic!("{}: an entry is yes, own or no, not {other:?}", &row[0]),
        });
        let sets = row[7].split('|').filter(|set| !set.is_empty());
        let keys = sets.map(|set| set.split('+').map(str::to_owned).collect()).collect();
        assert!(row[8].len() > 10 && row[8].ends_with('.'), "{}: a reason is owed", &row[0]);
        lines.insert(row[0].to_owned(), Line { entries, keys });
    }
    lines
}

/// Where what was seen and what the table says differ. What may be seen must have been: a canary that nobody finds proves
/// nothing.
fn faults(who: &str, seen: &Sightings, allowed: impl Fn(&str) -> Entry) -> Vec<String> {
    let mut faults = Vec::new();
    let fields = CANARIES.iter().map(|(field, _, two)| (*field, two.is_some())).chain([(OUTCOME, false)]);
    for (field, has_other) in fields {
        let entry = allowed(field);
        for is_other in [false, true].into_iter().filter(|is_other| !*is_other || has_other) {
            let may = entry == Entry::Yes || (entry == Entry::Own && !is_other);
            let place = if is_other { "troop 0102" } else { "troop 0101" };
            match (may, seen.get(&(field, is_other))) {
                (false, Some(answers)) => faults.push(format!("{who} sees {field} of {place} in {answers:?}")),
                (true, None) => faults.push(format!("{who} sees {field} of {place} nowhere, and may")),
                _ => {}
            }
        }
    }
    faults
}

/// Each entry flipped to each other value that means something else must make the comparison fail.
fn every_flip_is_noticed(seen: &Sightings, allowed: impl Fn(&str) -> Entry) {
    for (field, _, two) in CANARIES {
        for other in [Entry::Yes, Entry::Own, Entry::No] {
            let same =
                other == allowed(field) || (two.is_none() && (other == Entry::No) == (allowed(field) == Entry::No));
            let flipped = |asked: &str| if asked == *field { other } else { allowed(asked) };
            assert!(same || !faults("somebody", seen, flipped).is_empty(), "nobody notices {field}: {other:?}");
        }
    }
}

#[test]
fn the_table_has_exactly_the_fields_that_have_a_canary() {
    let fields: BTreeSet<String> =
        CANARIES.iter().map(|(field, _, _)| *field).chain([OUTCOME]).map(str::to_owned).collect();
    assert_eq!(table().into_keys().collect::<BTreeSet<_>>(), fields);
}

#[test]
fn every_column_that_can_hold_words_about_people_has_a_canary_or_says_why_not() {
    let erased: BTreeSet<&str> = caselot::FEATURES
        .iter()
        .flat_map(|feature| feature.erasers)
        .flat_map(|eraser| eraser.columns)
        .copied()
        .collect();
    let said: BTreeSet<&str> = COLUMNS.iter().chain(WITHOUT).map(|(column, _)| *column).collect();
    assert_eq!(erased, said, "left: columns with an eraser, right: those with a canary or a reason here");
    let fields: BTreeSet<&str> = CANARIES.iter().map(|(field, _, _)| *field).collect();
    assert!(COLUMNS.iter().all(|(_, field)| fields.contains(field)));
}

#[test]
fn every_role_sees_the_fields_that_the_table_says_and_no_other_in_reads_exports_and_refusals() {
    scenario(async |world| {
        seed(world).await;
        let (table, rights) = (table(), crate::table::read());
        let callers =
            [&world.manager, &world.overseer, &world.materials, &world.distributor, &world.viewer, &world.clara];
        let mut found = Vec::new();
        for (place, (role, caller)) in ROLES.into_iter().zip(callers).enumerate() {
            let mut seen = reads(caller, &TARGETS).await;
            let may = |operation: &Operation, target: Target| {
                let entry = rights.get(&operation.id).map_or(Entry::No, |row| row.entries[place]);
                entry == Entry::Yes && target != Target::Missing || entry == Entry::Own && target == Target::Own
            };
            refusals(caller, may, &mut seen).await;
            found.extend(faults(role, &seen, |field| table[field].entries[place]));
            every_flip_is_noticed(&seen, |field| table[field].entries[place]);
        }
        let outsiders =
            [("nobody", &world.nobody), ("a stranger", &world.stranger), ("the administrator", &world.administrator)];
        for (who, caller) in outsiders {
            let mut seen = reads(caller, &TARGETS).await;
            refusals(&caller.in_unit(UNIT), |operation, _| operation.permission == "units.create", &mut seen).await;
            found.extend(faults(who, &seen, |_| Entry::No));
        }
        assert_eq!(found, Vec::<String>::new());
    });
}

#[test]
fn every_key_sees_the_fields_of_its_own_permissions_and_no_other() {
    scenario(async |world| {
        seed(world).await;
        let table = table();
        let single = caselot::auth::permission::ALL
            .iter()
            .filter(|name| !caselot::auth::permission::writes(name) && !caselot::auth::permission::is_server(name));
        let mut sets: BTreeSet<BTreeSet<String>> = single.map(|name| BTreeSet::from([(*name).to_owned()])).collect();
        sets.extend(table.values().flat_map(|line| line.keys.clone()));
        let mut found = Vec::new();
        for set in &sets {
            let body = json!({"name": "canary", "unit_id": UNIT, "permissions": set});
            // Steps are a coordinator's, and nobody else holds that permission.
            let owner = if set.contains("steps.read") { &world.clara } else { &world.manager };
            let made = owner.post("/v1/keys", body).await.expect(201);
            let key = owner.with_key(&made.text("/key/key_id"), made.text("/secret"));
            let seen = reads(&key, &[Target::Own, Target::Other, Target::Missing]).await;
            let allowed = |field: &str| {
                if table[field].keys.iter().any(|enough| enough.is_subset(set)) { Entry::Yes } else { Entry::No }
            };
            found.extend(faults(&format!("a key with {set:?}"), &seen, allowed));
        }
        assert!(sets.len() > 15, "{sets:?}");
        assert_eq!(found, Vec::<String>::new());
    });
}
