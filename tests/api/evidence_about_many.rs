//! One fact about many people or troops in one request: all of it or nothing.

use serde_json::{Value, json};

use crate::standings::person;
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

const PATH: &str = "/evidence/about-many";

fn agreement(about: &Value) -> Value {
    json!({"requirement": "agreement", "about": about, "outcome": "met", "observed_on": "2040-01-08"})
}

/// How many facts there are.
async fn facts(world: &World) -> i64 {
    let mut owner = world.owner().await;
    sqlx::query_scalar("select count(*) from evidence").fetch_one(&mut owner).await.expect("a count")
}

/// Every fault that a refusal tells: its place and code.
fn faults(refused: &Answered) -> Vec<(String, String)> {
    let errors = refused.at("/errors");
    let text = |error: &Value, key: &str| error[key].as_str().unwrap_or_default().to_owned();
    errors.as_array().expect("errors").iter().map(|error| (text(error, "pointer"), text(error, "code"))).collect()
}

fn typed(faults: &[(&str, &str)]) -> Vec<(String, String)> {
    faults.iter().map(|(pointer, code)| ((*pointer).to_owned(), (*code).to_owned())).collect()
}

#[test]
fn one_fact_about_many_is_recorded_in_one_row_of_the_log() {
    scenario(async |world| {
        let about = json!([
            {"person_id": person(&fixture::CLARA), "score_percent": 95},
            {"person_id": person(&fixture::YESENIA), "score_percent": 70},
            {"person_id": person(&fixture::PIOTR)}
        ]);
        let training = json!({"requirement": "yearly_training", "about": about, "outcome": "met"});
        let made = world.manager.post(PATH, training).await.expect(201);
        assert_eq!(made.at("/evidence_ids").as_array().expect("ids").len(), 3);
        assert_eq!(made.at("/observed_on"), "2040-01-10", "without a day it is today in the season's zone");
        let outcome = async |troop: uuid::Uuid| {
            let seen = world.manager.get(&format!("/standings/{troop}")).await.expect(200);
            let rows = seen.at("/standing/coordinators/0/requirements");
            let rows = rows.as_array().expect("rows");
            rows.iter().find(|row| row["requirement"] == "yearly_training").expect("the training")["outcome"].clone()
        };
        assert_eq!(outcome(fixture::TROOP).await, "met");
        assert_eq!(outcome(fixture::OTHER_TROOP).await, "below_minimum", "each has the own score");
        let log = world.overseer.get("/log").await.expect(200);
        let rows = log.at("/items");
        let rows = rows.as_array().expect("rows");
        let own: Vec<_> = rows.iter().filter(|row| row["action"] == "record_evidence_about_many").collect();
        assert_eq!(own.len(), 1);
        assert_eq!(own[0]["subjects"].as_array().expect("subjects").len(), 3);
    });
}

#[test]
fn the_same_request_sent_twice_records_once() {
    scenario(async |world| {
        let body = agreement(&json!([{"person_id": person(&fixture::CLARA)}, {"person_id": person(&fixture::PIOTR)}]));
        let first = world.manager.post(PATH, body.clone()).key("kick-off-evening").await.expect(201);
        let again = world.manager.post(PATH, body).key("kick-off-evening").await.expect(201);
        assert_eq!((again.json(), again.header("idempotency-replayed")), (first.json(), "true"));
        assert_eq!(facts(world).await, 2);
    });
}

#[test]
fn one_bad_entry_among_many_stops_all_of_it_and_every_fault_is_told_at_its_place() {
    scenario(async |world| {
        let about = json!([
            {"person_id": person(&fixture::CLARA)},
            {"person_id": fixture::NOTHING},
            {"person_id": person(&fixture::AWAY_COORDINATOR)},
            {"person_id": person(&fixture::VIEWER)},
            {"troop_id": fixture::AWAY_TROOP}
        ]);
        let refused = world.manager.post(PATH, agreement(&about)).await.expect_problem(422, "invalid");
        assert_eq!(
            faults(&refused),
            typed(&[
                ("/about/1/person_id", "unknown"),
                ("/about/2/person_id", "unknown"),
                ("/about/3/person_id", "unknown"),
                ("/about/4/troop_id", "unknown"),
                ("/about/4/troop_id", "other_subject"),
            ])
        );
        let only_unknown =
            json!([{"person_id": person(&fixture::CLARA)}, {"person_id": person(&fixture::AWAY_COORDINATOR)}]);
        let refused = world.manager.post(PATH, agreement(&only_unknown)).await;
        let refused = refused.expect_problem(422, "unknown_reference");
        assert_eq!(faults(&refused), typed(&[("/about/1/person_id", "unknown")]));
        assert_eq!(facts(world).await, 0, "nothing is half done");
    });
}

#[test]
fn everything_that_is_wrong_with_the_list_is_told_at_its_place() {
    scenario(async |world| {
        let (clara, yesenia) = (person(&fixture::CLARA), person(&fixture::YESENIA));
        for (about, expected) in [
            (
                json!([{"person_id": clara}, {"person_id": clara}, {"person_id": clara}]),
                vec![("/about/1", "twice"), ("/about/2", "twice")],
            ),
            (
                json!([{"person_id": clara, "troop_id": fixture::TROOP}, {}]),
                vec![("/about/0", "one_subject"), ("/about/1", "one_subject")],
            ),
            (json!([{"person_id": clara}, {"troop_id": fixture::TROOP}]), vec![("/about/1/troop_id", "other_subject")]),
            (json!([]), vec![("/about", "not_valid")]),
            (
                json!([{"person_id": clara}, {"person_id": yesenia, "score_percent": 101}]),
                vec![("/about/1/score_percent", "not_valid")],
            ),
        ] {
            let refused = world.manager.post(PATH, agreement(&about)).await.expect_problem(422, "invalid");
            assert_eq!(faults(&refused), typed(&expected), "{about}");
        }
        let many: Vec<Value> = (0..301).map(|_| json!({"person_id": uuid::Uuid::now_v7()})).collect();
        let refused = world.manager.post(PATH, agreement(&json!(many))).await.expect_problem(422, "invalid");
        assert_eq!(faults(&refused), typed(&[("/about", "not_valid")]));
        let refused = world.manager.post(PATH, agreement(&json!(many[..300]))).await;
        let refused = refused.expect_problem(422, "unknown_reference");
        assert_eq!(faults(&refused).len(), 300);
        assert_eq!(facts(world).await, 0);
    });
}

#[test]
fn what_all_of_them_share_is_told_once() {
    scenario(async |world| {
        let both = json!([{"person_id": person(&fixture::CLARA)}, {"person_id": person(&fixture::YESENIA)}]);
        let with = |changes: Value| {
            let mut body = agreement(&both);
            body.as_object_mut().expect("a body").extend(changes.as_object().expect("changes").clone());
            body
        };
        for (changes, expected) in [
            (json!({"observed_on": "2039-08-31"}), ("/observed_on", "before_season")),
            (json!({"observed_on": "2040-01-11"}), ("/observed_on", "in_future")),
            (json!({"requirement": "moon"}), ("/requirement", "unknown_requirement")),
            (
                json!({"requirement": "screening", "valid_until_on": "2041-01-31"}),
                ("/requirement", "proven_by_list_only"),
            ),
            (json!({"requirement": "membership"}), ("/valid_until_on", "missing")),
        ] {
            let refused = world.manager.post(PATH, with(changes.clone())).await.expect_problem(422, "invalid");
            assert_eq!(faults(&refused), typed(&[expected]), "{changes}");
        }
        for who in [&world.overseer, &world.clara, &world.viewer] {
            who.post(PATH, agreement(&both)).await.expect_problem(403, "forbidden");
        }
        world.stranger.in_unit(fixture::UNIT).post(PATH, agreement(&both)).await.expect_problem(404, "not_found");
        assert_eq!(facts(world).await, 0);
    });
}

#[test]
fn forms_of_many_troops_come_in_at_once() {
    scenario(async |world| {
        let about = json!([{"troop_id": fixture::TROOP}, {"troop_id": fixture::VACANT_TROOP}]);
        let forms =
            json!({"requirement": "bank_details", "about": about, "outcome": "met", "observed_on": "2040-01-09"});
        world.manager.post(PATH, forms).await.expect(201);
        for (troop, outcome) in
            [(fixture::TROOP, "met"), (fixture::OTHER_TROOP, "missing"), (fixture::VACANT_TROOP, "met")]
        {
            let seen = world.manager.get(&format!("/standings/{troop}")).await.expect(200);
            assert_eq!(seen.at("/standing/requirements/0/outcome"), outcome);
        }
    });
}
