//! Many coordinators decided about in one request, as it was previewed: all of them or none.

use serde_json::{Value, json};
use uuid::Uuid;

use crate::standings::{clara_is_ready, met, screening};
use crate::support::client::Answered;
use crate::support::fixture::{self, CLARA, CLARAS_ASSIGNMENT, PIOTR, PIOTRS_ASSIGNMENT, TROOP, YESENIAS_ASSIGNMENT};
use crate::support::scenario;
use crate::support::world::World;

const APPOINT: &str = "/decisions/preview?decision=appoint";
const SUSPEND: &str = "/decisions/preview?decision=suspend";

async fn preview(world: &World, path: &str) -> Vec<Value> {
    let seen = world.manager.get(path).await.expect(200);
    seen.at("/candidates").as_array().expect("candidates").clone()
}

fn assignments(candidates: &[Value]) -> Vec<Value> {
    candidates.iter().map(|one| one["assignment_id"].clone()).collect()
}

fn decide(decision: &str, chosen: &[Value]) -> Value {
    let chosen = chosen.iter().map(|one| json!({"assignment_id": one["assignment_id"], "stamp": one["stamp"]}));
    json!({"decision": decision, "reason": "All in one evening.", "assignments": chosen.collect::<Vec<_>>()})
}

async fn state(world: &World, troop: Uuid) -> String {
    world.overseer.get(&format!("/standings/{troop}")).await.expect(200).text("/standing/state")
}

/// Clara and piotr of troop 0101 have everything in order.
async fn both_are_ready(world: &World) {
    clara_is_ready(world).await;
    screening(world, &PIOTR, "met", Some("2041-01-31")).await;
    for requirement in ["membership", "registration", "agreement", "yearly_training"] {
        met(world, &PIOTR, requirement).await;
    }
}

fn places(answered: &Answered) -> Vec<String> {
    let errors = answered.at("/errors");
    errors
        .as_array()
        .expect("errors")
        .iter()
        .map(|one| one["pointer"].as_str().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn who_is_ready_is_previewed_and_those_who_are_chosen_are_appointed_each_by_a_decision_of_its_own() {
    scenario(async |world| {
        assert_eq!(preview(world, APPOINT).await, Vec::<Value>::new());
        both_are_ready(world).await;
        world.overseer.get(APPOINT).await.expect_problem(403, "forbidden");
        world.clara.get(APPOINT).await.expect_problem(403, "forbidden");
        world.manager.get("/decisions/preview").await.expect_problem(400, "bad_parameter");
        let ready = preview(world, APPOINT).await;
        assert_eq!(assignments(&ready), [json!(CLARAS_ASSIGNMENT), json!(PIOTRS_ASSIGNMENT)]);
        assert_eq!(
            (&ready[0]["name"], &ready[0]["number"], &ready[0]["state"], &ready[0]["deadline"]),
            (&json!("Clara Fontaine-Diallo"), &json!("0101"), &json!("ready"), &json!(null))
        );
        // A part of what was previewed.
        let done = world.manager.post("/decisions", decide("appoint", &ready[1..])).await.expect(200);
        assert_eq!(done.at("/decisions/0/assignment_id"), json!(PIOTRS_ASSIGNMENT));
        assert_eq!(assignments(&preview(world, APPOINT).await), [json!(CLARAS_ASSIGNMENT)]);
        assert_eq!(state(world, TROOP).await, "ready", "the lead is not appointed yet");
        let rest = preview(world, APPOINT).await;
        let done = world.manager.post("/decisions", decide("appoint", &rest)).await.expect(200);
        assert_eq!(done.at("/decisions/0/troop_state"), json!("appointed"));
        assert_eq!(state(world, TROOP).await, "appointed");
        let mut owner = world.owner().await;
        let kept: Vec<(String, Uuid, String)> =
            sqlx::query_as("select kind, assignment_id, reason from decision order by log_seq")
                .fetch_all(&mut owner)
                .await
                .expect("the decisions");
        let reason = "All in one evening.".to_owned();
        let appoint = |assignment: Uuid| ("appoint".to_owned(), assignment, reason.clone());
        assert_eq!(kept, [appoint(PIOTRS_ASSIGNMENT), appoint(CLARAS_ASSIGNMENT)]);
        // As if taken singly: the opposite decision takes one back.
        let suspend = format!("/assignments/{CLARAS_ASSIGNMENT}/suspend");
        world.manager.post(&suspend, json!({"reason": "Asked to."})).await.expect(200);
        assert_eq!(state(world, TROOP).await, "suspended");
    });
}

#[test]
fn if_what_one_of_them_rests_on_has_changed_none_is_taken_and_that_one_is_named() {
    scenario(async |world| {
        both_are_ready(world).await;
        let ready = preview(world, APPOINT).await;
        let body = decide("appoint", &ready);
        let fact = json!({"requirement": "agreement", "person_id": PIOTR.place.expect("a place").person, "outcome": "not_met",
            "observed_on": "2040-01-10"});
        let fact = world.manager.post("/evidence", fact).await.expect(201).text("/evidence_id");
        let refused = world.manager.post("/decisions", body.clone()).await.expect_problem(409, "preview_stale");
        assert_eq!(places(&refused), ["/assignments/1"]);
        assert!(refused.text("/errors/0/detail").contains("troop 0101"), "{refused}");
        assert_eq!(state(world, TROOP).await, "ready", "nobody was appointed");
        world.manager.post(&format!("/evidence/{fact}/withdraw"), json!({})).await.expect(200);
        world.manager.post("/decisions", body.clone()).await.expect(200);
        let refused = world.manager.post("/decisions", body).await.expect_problem(409, "preview_stale");
        assert_eq!(places(&refused), ["/assignments/0", "/assignments/1"], "both are appointed already");
    });
}

#[test]
fn another_proof_of_the_same_requirement_is_another_stamp_and_a_change_elsewhere_is_not() {
    scenario(async |world| {
        both_are_ready(world).await;
        let ready = preview(world, APPOINT).await;
        let other = json!({"requirement": "agreement", "person_id": fixture::YESENIA.place.expect("a place").person,
            "outcome": "met", "observed_on": "2040-01-09"});
        world.manager.post("/evidence", other).await.expect(201);
        assert_eq!(preview(world, APPOINT).await, ready, "what happens in troop 0102 is no matter of theirs");
        let fact = json!({"requirement": "agreement", "person_id": CLARA.place.expect("a place").person, "outcome": "met",
            "observed_on": "2040-01-10"});
        world.manager.post("/evidence", fact).await.expect(201);
        let refused = world.manager.post("/decisions", decide("appoint", &ready)).await;
        assert_eq!(places(&refused.expect_problem(409, "preview_stale")), ["/assignments/0"]);
    });
}

#[test]
fn what_is_no_decision_about_somebody_here_is_refused() {
    scenario(async |world| {
        both_are_ready(world).await;
        let ready = preview(world, APPOINT).await;
        let mut twice = decide("appoint", &[ready[0].clone(), ready[0].clone()]);
        let refused = world.manager.post("/decisions", twice.clone()).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/assignments/1/assignment_id"]);
        twice["assignments"][1]["assignment_id"] = json!(fixture::AWAY_ASSIGNMENT);
        let refused = world.manager.post("/decisions", twice.clone()).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/assignments/1/assignment_id"]);
        world.overseer.post("/decisions", twice).await.expect_problem(403, "forbidden");
        let suspend = decide("suspend", &ready);
        let refused = world.manager.post("/decisions", suspend).await.expect_problem(409, "preview_stale");
        assert_eq!(places(&refused).len(), 2, "a stamp is of one decision");
        let body = decide("appoint", &ready);
        world
            .manager
            .post("/decisions", body.clone())
            .without_key()
            .await
            .expect_problem(400, "idempotency_key_missing");
        let first = world.manager.post("/decisions", body.clone()).key("one-evening").await.expect(200);
        let again = world.manager.post("/decisions", body).key("one-evening").await.expect(200);
        assert_eq!(first.body, again.body, "sent twice, done once");
    });
}

#[test]
fn after_the_policys_deadline_those_who_are_not_appointed_can_be_suspended_at_once() {
    scenario(async |world| {
        both_are_ready(world).await;
        let appoint = format!("/assignments/{CLARAS_ASSIGNMENT}/appoint");
        world.manager.post(&appoint, json!({})).await.expect(200);
        assert_eq!(preview(world, SUSPEND).await, Vec::<Value>::new(), "opening orders are not due yet");
        world.set_clock("2040-01-27T06:00:01Z".parse().expect("an instant")).await;
        let late = preview(world, SUSPEND).await;
        assert_eq!(assignments(&late), [json!(YESENIAS_ASSIGNMENT)], "clara's troop is appointed");
        assert_eq!(
            (&late[0]["state"], &late[0]["deadline"]["milestone"], &late[0]["deadline"]["at"]),
            (&json!("gathering"), &json!("opening_orders_due"), &json!("2040-01-27T06:00:00Z"))
        );
        world.manager.post("/decisions", decide("suspend", &late)).await.expect(200);
        assert_eq!(state(world, fixture::OTHER_TROOP).await, "suspended");
        assert_eq!(preview(world, SUSPEND).await, Vec::<Value>::new());
    });
}

#[test]
fn whoever_an_override_lets_through_is_not_suspended_by_the_deadline() {
    scenario(async |world| {
        world.set_clock("2040-01-27T06:00:01Z".parse().expect("an instant")).await;
        assert_eq!(
            assignments(&preview(world, SUSPEND).await),
            [json!(CLARAS_ASSIGNMENT), json!(YESENIAS_ASSIGNMENT)],
            "piotr is no lead, and the policy counts the lead"
        );
        let pass =
            json!({"gate": "order", "troop_id": TROOP, "reason": "Agreed on the phone.", "until_on": "2040-02-20"});
        let pass = world.manager.post("/overrides", pass).await.expect(201).text("/override_id");
        world.overseer.post(&format!("/overrides/{pass}/approve"), json!({})).await.expect(200);
        assert_eq!(assignments(&preview(world, SUSPEND).await), [json!(YESENIAS_ASSIGNMENT)]);
        world
            .manager
            .post(&format!("/troops/{}/sit-out", fixture::OTHER_TROOP), json!({"reason": "Asked to."}))
            .await
            .expect(200);
        assert_eq!(preview(world, SUSPEND).await, Vec::<Value>::new());
    });
}
