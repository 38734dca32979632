//! Scripts that pull: every read answers "nothing has changed" to who has it already, and every list of things that the unit's
//! log knows tells what is new since a number of the log.

use std::collections::BTreeSet;

use reqwest::Method;

use crate::matrix::observe::prepare;
use crate::objects::{Target, path, query};
use crate::operations::{OPERATIONS, Operation};
use crate::support::client::Caller;
use crate::support::scenario;
use crate::support::world::World;

/// Reads that are made anew for each asking, so that nobody has them already.
const NEVER_THE_SAME: &[(&str, &str)] = &[
    ("read_metrics", "it counts requests, and this is one"),
    ("follow_events", "a stream, which goes on from the number that one has"),
];

/// Lists that do not tell what is new since a number of the unit's log.
const NO_NEWS: &[(&str, &str)] = &[
    ("list_keys", "an account's own, in no unit's log"),
    ("list_sessions", "one's own few sessions, of which the unit's log knows nothing"),
    ("list_units", "an account's own, in no unit's log"),
    ("list_log", "it is the log itself: its cursor goes on from a number"),
    ("compare_intake", "what two lists say of the same people, worked out at each look"),
    ("list_needs", "worked out at each look; If-None-Match tells whether it is another one"),
    ("list_lapses_ahead", "worked out at each look from the standings, which tell what is new"),
    ("list_intake_rows", "a list's rows change with the list, which list_intakes tells"),
    ("list_returns", "a few a season, which never change; If-None-Match tells whether there is another one"),
    ("list_return_sendings", "a few of one return"),
    ("list_webhooks", "a few of a unit; If-None-Match tells whether anything about them is new"),
    ("list_webhook_deliveries", "what became of them is no change in the unit, so the log does not know it"),
    ("list_outside_steps", "worked out from the policy, from what happened and from what was ticked"),
];

fn asker<'a>(world: &'a World, operation: &Operation) -> &'a Caller {
    match operation.permission.as_str() {
        "public" => &world.nobody,
        "steps.read" => &world.clara,
        _ => &world.manager,
    }
}

fn reads() -> impl Iterator<Item = &'static Operation> {
    OPERATIONS.iter().filter(|operation| operation.method == Method::GET)
}

fn has_parameter(operation: &Operation, name: &str) -> bool {
    operation.value["parameters"].as_array().into_iter().flatten().any(|parameter| parameter["name"] == name)
}

#[test]
fn every_read_answers_304_to_whoever_has_it_already() {
    scenario(async |world| {
        prepare(world).await;
        let (mut asked, mut faults) = (0, Vec::new());
        for operation in reads() {
            if NEVER_THE_SAME.iter().any(|(id, _)| *id == operation.id) {
                continue;
            }
            let caller = asker(world, operation);
            let path = format!("{}{}", path(operation, Target::Own).expect("a path"), query(operation));
            let first = caller.get(&path).await;
            if first.status != 200 {
                faults.push(format!("{}: {first}", operation.id));
                continue;
            }
            let tag = first.header("etag").to_owned();
            assert!(tag.len() > 3, "{}: a read without a tag", operation.id);
            let again = caller.get(&path).header("if-none-match", &tag).await;
            if again.status != 304 || !again.body.is_empty() || again.header("etag") != tag {
                faults.push(format!("{} is answered {}, not 304", operation.id, again.status));
            }
            caller.get(&path).header("if-none-match", "W/\"another\"").await.expect(200);
            asked += 1;
        }
        assert_eq!(faults, Vec::<String>::new());
        assert!(asked > 40, "only {asked} reads were asked for");
    });
}

#[test]
fn every_list_tells_what_is_new_or_says_why_not() {
    let lists: BTreeSet<&str> =
        reads().filter(|operation| has_parameter(operation, "cursor")).map(|operation| operation.id.as_str()).collect();
    let without: BTreeSet<&str> = reads()
        .filter(|operation| has_parameter(operation, "cursor") && !has_parameter(operation, "updated_since"))
        .map(|operation| operation.id.as_str())
        .collect();
    let said: BTreeSet<&str> = NO_NEWS.iter().map(|(id, _)| *id).collect();
    assert_eq!(without, said, "left: lists without updated_since, right: those with a reason");
    assert!(lists.len() > said.len() + 10, "{lists:?}");
}

#[test]
fn what_a_list_tells_as_its_place_in_the_log_brings_nothing_old_again() {
    scenario(async |world| {
        prepare(world).await;
        for operation in reads().filter(|operation| has_parameter(operation, "updated_since")) {
            let caller = asker(world, operation);
            let path = path(operation, Target::Own).expect("a path");
            let whole = caller.get(&path).await.expect(200);
            let log_seq = whole.at("/log_seq").as_i64().expect("how far the log had come");
            let news = caller.get(&format!("{path}?updated_since={log_seq}")).await.expect(200);
            assert_eq!(news.at("/items"), serde_json::json!([]), "{}", operation.id);
            let all = caller.get(&format!("{path}?updated_since=0")).await.expect(200);
            assert_eq!(all.at("/log_seq"), serde_json::json!(log_seq), "{}", operation.id);
            caller.get(&format!("{path}?updated_since=-1")).await.expect_problem(422, "invalid");
            caller.get(&format!("{path}?updated_since=new")).await.expect_problem(400, "bad_parameter");
        }
    });
}
