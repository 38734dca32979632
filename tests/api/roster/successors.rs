//! Coordinators who are replaced, and people who leave.

use serde_json::json;

use super::{each, person, places};
use crate::support::fixture;
use crate::support::world::World;
use crate::support::{days, scenario};

fn replace(assignment: uuid::Uuid) -> String {
    format!("/assignments/{assignment}/replace")
}

async fn state(world: &World, troop: uuid::Uuid) -> String {
    world.overseer.get(&format!("/standings/{troop}")).await.expect(200).text("/standing/state")
}

#[test]
fn one_coordinator_follows_another_in_one_act_and_each_keeps_the_own_history() {
    scenario(async |world| {
        let body = json!({"person_id": fixture::DOV, "reason": "Moves away.", "note": "12 kits, two open receipts."});
        let troop = format!("/troops/{}", fixture::OTHER_TROOP);
        world.yesenia.get(&troop).await.expect(200);
        world.yesenia.post(&replace(fixture::YESENIAS_ASSIGNMENT), body.clone()).await.expect_problem(403, "forbidden");
        let made = world.manager.post(&replace(fixture::YESENIAS_ASSIGNMENT), body.clone()).await.expect(201);
        assert_eq!(made.at("/take_over/from_person_id"), json!(person(&fixture::YESENIA)));
        assert_eq!(made.at("/take_over/to_person_id"), json!(fixture::DOV));
        world.yesenia.get(&troop).await.expect_problem(404, "not_found");
        let listed = world.overseer.get(&format!("/assignments?troop={}", fixture::OTHER_TROOP)).await.expect(200);
        assert_eq!(each(&listed, "ended_because"), ["replaced", ""]);
        assert_eq!(listed.at("/items/0/ended_at"), made.at("/take_over/taken_over_at"));
        assert_eq!(listed.at("/items/1/from_at"), made.at("/take_over/taken_over_at"));
        assert_eq!(listed.at("/items/1/lead"), json!(true), "a lead is followed by a lead");
        let history = world.overseer.get(&format!("{troop}/take-overs")).await.expect(200);
        assert_eq!(each(&history, "note"), ["12 kits, two open receipts."]);
        world.manager.post(&replace(fixture::YESENIAS_ASSIGNMENT), body).await.expect_problem(409, "wrong_state");
        world.clara.get(&format!("{troop}/take-overs")).await.expect_problem(404, "not_found");
    });
}

#[test]
fn the_successor_begins_with_the_own_requirements() {
    scenario(async |world| {
        let fact = json!({"requirement": "agreement", "person_id": person(&fixture::YESENIA), "outcome": "met", "observed_on": "2040-01-08"});
        world.manager.post("/evidence", fact).await.expect(201);
        let agreement = async || {
            let standing = world.overseer.get(&format!("/standings/{}", fixture::OTHER_TROOP)).await.expect(200);
            let coordinators = standing.at("/standing/coordinators");
            let of = |one: &serde_json::Value| {
                let rows = one["requirements"].as_array().expect("rows");
                let row = rows.iter().find(|row| row["requirement"] == "agreement").expect("the agreement");
                (one["person_id"].clone(), row["outcome"].clone())
            };
            coordinators.as_array().expect("coordinators").iter().map(of).collect::<Vec<_>>()
        };
        assert_eq!(agreement().await, [(json!(person(&fixture::YESENIA)), json!("met"))]);
        let body = json!({"person_id": fixture::DOV, "reason": "Moves away."});
        world.manager.post(&replace(fixture::YESENIAS_ASSIGNMENT), body).await.expect(201);
        assert_eq!(agreement().await, [(json!(fixture::DOV), json!("missing"))], "nobody inherits a proof");
    });
}

#[test]
fn a_replacement_needs_somebody_else_who_is_there() {
    scenario(async |world| {
        let path = replace(fixture::CLARAS_ASSIGNMENT);
        let body = |who: uuid::Uuid| json!({"person_id": who, "reason": "Moves away."});
        let refused = world.manager.post(&path, body(person(&fixture::CLARA))).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/person_id"]);
        world.manager.post(&path, body(person(&fixture::STRANGER))).await.expect_problem(422, "unknown_reference");
        let away = replace(fixture::AWAY_ASSIGNMENT);
        world.manager.post(&away, body(fixture::DOV)).await.expect_problem(404, "not_found");
        let refused = world.manager.post(&path, json!({"person_id": fixture::DOV, "reason": " "})).await;
        refused.expect_problem(422, "invalid");
        // The co-coordinator takes the lead: one assignment of hers is left, and it leads.
        world.manager.post(&path, body(person(&fixture::PIOTR))).await.expect(201);
        let listed = world.manager.get(&format!("/assignments?troop={}", fixture::TROOP)).await.expect(200);
        let open: Vec<_> = listed
            .at("/items")
            .as_array()
            .expect("items")
            .iter()
            .filter(|one| one["ended_at"].is_null())
            .cloned()
            .collect();
        assert_eq!(open.len(), 1, "{listed}");
        assert_eq!((&open[0]["person_id"], &open[0]["lead"]), (&json!(person(&fixture::PIOTR)), &json!(true)));
        world.piotr.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect_problem(404, "not_found");
    });
}

#[test]
fn whoever_leaves_today_has_nothing_left_and_what_was_done_stays() {
    scenario(async |world| {
        let path = format!("/people/{}/leave", person(&fixture::YESENIA));
        assert_ne!(state(world, fixture::OTHER_TROOP).await, "vacant");
        world.overseer.post(&path, json!({"left_on": "2040-01-10"})).await.expect_problem(403, "forbidden");
        let left = world.manager.post(&path, json!({"left_on": "2040-01-10"})).await.expect(200);
        assert_eq!(left.at("/assignments"), json!([fixture::YESENIAS_ASSIGNMENT]));
        assert_eq!(left.at("/person/left_on"), "2040-01-10");
        assert_eq!(state(world, fixture::OTHER_TROOP).await, "vacant");
        world.yesenia.get("/standings").await.expect_problem(404, "not_found");
        let listed = world.overseer.get(&format!("/assignments?troop={}", fixture::OTHER_TROOP)).await.expect(200);
        assert_eq!(each(&listed, "ended_because"), ["left"]);
        world.overseer.get(&format!("/people/{}", person(&fixture::YESENIA))).await.expect(200);
    });
}

#[test]
fn whoever_leaves_on_a_day_ahead_works_until_it_begins() {
    scenario(async |world| {
        let role = json!({"person_id": person(&fixture::CLARA), "role": "distributor"});
        world.manager.post("/grants", role).await.expect(201);
        let duty = json!({"person_id": person(&fixture::CLARA), "duty": "treasurer"});
        world.manager.post(&format!("/troops/{}/contacts", fixture::VACANT_TROOP), duty).await.expect(201);
        let path = format!("/people/{}/leave", person(&fixture::CLARA));
        let left = world.manager.post(&path, json!({"left_on": "2040-01-13"})).await.expect(200);
        // Midnight in Chicago, in winter, is six hours later by UTC.
        assert_eq!(left.at("/ends_at"), "2040-01-13T06:00:00Z");
        assert_eq!(left.at("/duties_in"), json!([fixture::VACANT_TROOP]));
        assert_eq!(left.at("/grants").as_array().map(Vec::len), Some(1), "{left}");
        world.forward(days(2)).await;
        world.clara.get(&format!("/troops/{}", fixture::OTHER_TROOP)).await.expect(200);
        world.forward(days(1)).await;
        world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect_problem(404, "not_found");
        let standing = world.overseer.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        let coordinators = standing.at("/standing/coordinators");
        assert_eq!(coordinators.as_array().map(Vec::len), Some(1), "piotr stays: {standing}");
        world.manager.post(&path, json!({"left_on": "1999-01-13"})).await.expect_problem(422, "invalid");
    });
}

#[test]
fn the_last_unit_manager_cannot_leave() {
    scenario(async |world| {
        let own = format!("/people/{}/leave", person(&fixture::MANAGER));
        world.manager.post(&own, json!({"left_on": "2040-01-10"})).await.expect_problem(409, "last_unit_manager");
        let second = json!({"person_id": person(&fixture::OVERSEER), "role": "unit_manager"});
        world.manager.post("/grants", second).await.expect(201);
        world.manager.post(&own, json!({"left_on": "2040-01-10"})).await.expect(200);
        world.manager.get("/people").await.expect_problem(404, "not_found");
    });
}
