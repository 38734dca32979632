//! Standings: where each troop stands, and what moves it. The world stands on 10 January 2040; its policy is the shipped
//! one, of which orders are due on 26 January.

use serde_json::{Value, json};
use uuid::Uuid;

use crate::support::world::World;
use crate::support::{days, fixture, scenario};

pub(crate) fn person(who: &fixture::Somebody) -> Uuid {
    who.place.expect("a place").person
}

/// Puts a screening on file as a loaded list would; no operation of a person may enter it.
pub(crate) async fn screening(world: &World, who: &fixture::Somebody, outcome: &str, valid_until: Option<&str>) {
    let valid_until: Option<chrono::NaiveDate> = valid_until.map(|day| day.parse().expect("a date"));
    sqlx::query(
        "insert into screening_evidence (unit_id, evidence_id, season_id, requirement, person_id, outcome, observed_on,
             valid_until_on, source, recorded_at, recorded_by, log_seq)
         values ($1, $2, $3, 'screening', $4, $5, '2040-01-05', $6, 'list', '2040-01-05T12:00:00Z', 'system', 0)",
    )
    .bind(fixture::UNIT)
    .bind(Uuid::now_v7())
    .bind(fixture::SEASON)
    .bind(person(who))
    .bind(outcome)
    .bind(valid_until)
    .execute(&mut world.owner().await)
    .await
    .expect("a screening");
}

/// What the manager records about a coordinator.
pub(crate) async fn met(world: &World, who: &fixture::Somebody, requirement: &str) {
    let mut fact = json!({
        "requirement": requirement, "person_id": person(who), "outcome": "met", "observed_on": "2040-01-08"
    });
    if requirement == "membership" {
        fact["valid_until_on"] = json!("2040-08-31");
    }
    world.manager.post("/evidence", fact).await.expect(201);
}

/// Everything that the shipped policy asks of clara and troop 0101.
pub(crate) async fn clara_is_ready(world: &World) {
    screening(world, &fixture::CLARA, "met", Some("2041-01-31")).await;
    for requirement in ["membership", "registration", "agreement", "yearly_training"] {
        met(world, &fixture::CLARA, requirement).await;
    }
    let form = json!({"requirement": "bank_details", "troop_id": fixture::TROOP, "outcome": "met", "observed_on": "2040-01-09"});
    world.manager.post("/evidence", form).await.expect(201);
}

async fn state(world: &World, troop: Uuid) -> String {
    world.manager.get(&format!("/standings/{troop}")).await.expect(200).text("/standing/state")
}

fn states(page: &Value) -> Vec<(String, String)> {
    let text = |row: &Value, key: &str| row[key].as_str().expect("a text").to_owned();
    let rows = page["items"].as_array().expect("rows").iter();
    rows.map(|row| (text(row, "number"), text(row, "state"))).collect()
}

fn pairs(rows: &[(&str, &str)]) -> Vec<(String, String)> {
    rows.iter().map(|(number, state)| ((*number).to_owned(), (*state).to_owned())).collect()
}

#[test]
fn the_list_says_where_each_troop_stands_and_what_is_next() {
    scenario(async |world| {
        let page = world.manager.get("/standings").await.expect(200);
        let expected = [("0101", "gathering"), ("0102", "gathering"), ("0103", "vacant")];
        assert_eq!(states(&page.json()), pairs(&expected));
        assert_eq!(page.at("/items/0/next_step/requirement"), "membership");
        assert_eq!(page.at("/items/0/next_step/by/milestone"), "opening_orders_due");
        assert_eq!(page.at("/items/2/next_step/code"), "find_coordinator");
        assert_eq!(page.at("/items/0/open_requirements"), 6, "five of clara's and the troop's bank details form");
        assert_eq!(page.at("/items/1/open_requirements"), 7, "a first season has one course more");
        let counts = page.at("/counts");
        let vacant = counts.as_array().expect("counts").iter().find(|one| one["state"] == "vacant").expect("vacant");
        assert_eq!(vacant["troops"], 1);
    });
}

#[test]
fn filters_and_pages_speak_of_the_computed_state() {
    scenario(async |world| {
        let vacant = world.manager.get("/standings?state=vacant").await.expect(200);
        assert_eq!(states(&vacant.json()), pairs(&[("0103", "vacant")]));
        let both = world.manager.get("/standings?state=vacant&state=gathering&limit=2").await.expect(200);
        assert_eq!(states(&both.json()), pairs(&[("0101", "gathering"), ("0102", "gathering")]));
        let cursor = both.text("/next_cursor");
        let rest = world.manager.get(&format!("/standings?state=vacant&state=gathering&limit=2&cursor={cursor}")).await;
        assert_eq!(states(&rest.expect(200).json()), pairs(&[("0103", "vacant")]));
        world.manager.get(&format!("/standings?state=vacant&cursor={cursor}")).await.expect_problem(400, "bad_cursor");
        let found = world.manager.get("/standings?troop=102").await.expect(200);
        assert_eq!(states(&found.json()), pairs(&[("0102", "gathering")]));
        world.manager.get("/standings?state=asleep").await.expect_problem(400, "bad_parameter");
        world.manager.get("/standings?stat=vacant").await.expect_problem(400, "bad_parameter");
        let ahead = world.manager.get("/standings?as_of=2041-01-01T00:00:00Z").await;
        ahead.expect_problem(422, "invalid");
    });
}

#[test]
fn everyone_sees_what_is_theirs() {
    scenario(async |world| {
        screening(world, &fixture::CLARA, "not_met", None).await;
        met(world, &fixture::CLARA, "membership").await;
        let own = world.clara.get("/standings").await.expect(200);
        assert_eq!(states(&own.json()), pairs(&[("0101", "gathering")]));
        world.clara.get(&format!("/standings/{}", fixture::OTHER_TROOP)).await.expect_problem(404, "not_found");
        world.clara.get(&format!("/standings/{}", fixture::AWAY_TROOP)).await.expect_problem(404, "not_found");
        world.manager.get(&format!("/standings/{}", fixture::AWAY_TROOP)).await.expect_problem(404, "not_found");
        let path = format!("/standings/{}", fixture::TROOP);
        for (reader, expected) in [
            (&world.manager, json!("not_met")),
            (&world.overseer, json!("not_met")),
            (&world.clara, json!("not_confirmed")),
            (&world.materials, json!("not_confirmed")),
            (&world.distributor, json!("not_confirmed")),
            (&world.viewer, Value::Null),
        ] {
            let seen = reader.get(&path).await.expect(200);
            assert_eq!(seen.at("/standing/coordinators/0/requirements/2/outcome"), expected, "{}", reader.name);
            let named = seen.at("/people").as_array().expect("people").len();
            assert_eq!(named, if expected.is_null() { 0 } else { 2 }, "{}", reader.name);
        }
        let viewer = world.viewer.get(&path).await.expect(200);
        assert!(!String::from_utf8_lossy(&viewer.body).contains("screening"), "{viewer}");
    });
}

#[test]
fn a_report_confirms_nothing_until_it_is_proven() {
    scenario(async |world| {
        let report = json!({"troop_id": fixture::TROOP, "requirement": "agreement", "done_on": "2040-01-10"});
        world.clara.post("/my-steps/reports", report.clone()).await.expect(201);
        let steps = world.clara.get("/my-steps").await.expect(200);
        assert_eq!(steps.at("/troops/0/steps/0/requirement"), "membership", "the next step comes first");
        let rows = steps.at("/troops/0/steps");
        let agreement = rows.as_array().expect("steps").iter().find(|row| row["requirement"] == "agreement").cloned();
        let agreement = agreement.expect("the agreement");
        assert_eq!((&agreement["outcome"], &agreement["closed"]), (&json!("reported"), &json!(false)));
        met(world, &fixture::CLARA, "agreement").await;
        assert_eq!(state(world, fixture::TROOP).await, "gathering");
        world.manager.post("/my-steps/reports", report.clone()).await.expect_problem(403, "forbidden");
        let other = json!({"troop_id": fixture::OTHER_TROOP, "requirement": "agreement", "done_on": "2040-01-10"});
        world.clara.post("/my-steps/reports", other).await.expect_problem(422, "unknown_reference");
    });
}

#[test]
fn evidence_from_the_future_or_from_before_the_season_is_refused() {
    scenario(async |world| {
        let clara = person(&fixture::CLARA);
        let fact =
            |day: &str| json!({"requirement": "agreement", "person_id": clara, "outcome": "met", "observed_on": day});
        for (day, code) in [("2040-01-11", "in_future"), ("2039-08-31", "before_season")] {
            let refused = world.manager.post("/evidence", fact(day)).await.expect_problem(422, "invalid");
            assert_eq!(refused.at("/errors/0/pointer"), "/observed_on");
            assert_eq!(refused.at("/errors/0/code"), code);
        }
        let report = json!({"troop_id": fixture::TROOP, "requirement": "agreement", "done_on": "2040-01-11"});
        let refused = world.clara.post("/my-steps/reports", report).await.expect_problem(422, "invalid");
        assert_eq!(refused.at("/errors/0/pointer"), "/done_on");
        world.manager.post("/evidence", fact("2039-09-01")).await.expect(201);
    });
}

#[test]
fn evidence_names_one_subject_of_this_unit_and_a_requirement_of_the_policy() {
    scenario(async |world| {
        let (clara, away) = (person(&fixture::CLARA), person(&fixture::AWAY_COORDINATOR));
        let fact = |more: Value| {
            let mut fact = json!({"requirement": "agreement", "outcome": "met", "observed_on": "2040-01-08"});
            for (key, value) in more.as_object().expect("keys") {
                fact[key] = value.clone();
            }
            fact
        };
        for (more, code, pointer) in [
            (json!({}), "invalid", "/person_id"),
            (json!({"person_id": clara, "troop_id": fixture::TROOP}), "invalid", "/person_id"),
            (json!({"person_id": away}), "unknown_reference", "/person_id"),
            (json!({"person_id": fixture::NOTHING}), "unknown_reference", "/person_id"),
            (json!({"troop_id": fixture::AWAY_TROOP, "requirement": "bank_details"}), "unknown_reference", "/troop_id"),
            (json!({"troop_id": fixture::TROOP}), "invalid", "/troop_id"),
            (json!({"person_id": clara, "requirement": "moon"}), "invalid", "/requirement"),
            (
                json!({"person_id": clara, "requirement": "screening", "valid_until_on": "2041-01-01"}),
                "invalid",
                "/requirement",
            ),
            (json!({"person_id": clara, "score_percent": 101}), "invalid", "/score_percent"),
            (json!({"person_id": clara, "state": "ready"}), "invalid", "/state"),
        ] {
            let refused = world.manager.post("/evidence", fact(more.clone())).await.expect_problem(422, code);
            assert_eq!(refused.at("/errors/0/pointer"), pointer, "{more}: {refused}");
        }
        world.clara.post("/evidence", fact(json!({"person_id": clara}))).await.expect_problem(403, "forbidden");
        world.overseer.post("/evidence", fact(json!({"person_id": clara}))).await.expect_problem(403, "forbidden");
        world
            .stranger
            .post("/evidence", fact(json!({"person_id": clara})))
            .await
            .expect_problem(422, "unknown_reference");
    });
}

#[test]
fn only_the_clock_moves_and_a_coordinator_lapses() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let short = json!({
            "requirement": "membership", "person_id": person(&fixture::CLARA), "outcome": "not_met",
            "observed_on": "2040-01-09"
        });
        world.manager.post("/evidence", short).await.expect(201);
        let renewed = json!({
            "requirement": "membership", "person_id": person(&fixture::CLARA), "outcome": "met",
            "observed_on": "2040-01-10", "valid_until_on": "2040-01-20"
        });
        world.manager.post("/evidence", renewed).await.expect(201);
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        let appointed = world.manager.post(&appoint, json!({})).await.expect(200);
        assert_eq!(appointed.at("/troop/standing/state"), "appointed");
        // The end of 20 January in Chicago.
        assert_eq!(appointed.at("/troop/standing/changes_at"), "2040-01-21T06:00:00Z");
        assert_eq!(appointed.at("/troop/standing/lapses/0/requirement"), "membership");
        assert_eq!(appointed.at("/troop/standing/lapses/0/before/milestone"), "opening_orders_due");
        assert_eq!(appointed.at("/troop/standing/next_step/code"), "renew");
        let before = world.manager.get("/log").await.expect(200).at("/items").as_array().expect("rows").len();
        world.tick().await;
        world.set_clock("2040-01-21T05:59:00Z".parse().expect("an instant")).await;
        assert_eq!(state(world, fixture::TROOP).await, "appointed");
        world.set_clock("2040-01-21T06:00:01Z".parse().expect("an instant")).await;
        let list = world.manager.get("/standings?state=lapsed").await.expect(200);
        assert_eq!(states(&list.json()), pairs(&[("0101", "lapsed")]), "the list is true before the ticker comes");
        world.tick().await;
        world.tick().await;
        let log = world.manager.get("/log").await.expect(200);
        let rows = log.at("/items").as_array().expect("rows").clone();
        assert_eq!(rows.len(), before + 1, "one row, and a second tick adds none: {log}");
        let newest = rows.last().expect("a row");
        assert_eq!((&newest["action"], &newest["actor"]), (&json!("standing_changed"), &json!("system")));
        assert_eq!(newest["subjects"], json!([{"kind": "troop", "id": fixture::TROOP}]));
    });
}

#[test]
fn the_past_is_answered_by_what_was_known_then() {
    scenario(async |world| {
        met(world, &fixture::CLARA, "membership").await;
        let first = world.manager.get("/standings").await.expect(200).text("/stands_at");
        world.forward(days(1)).await;
        clara_is_ready(world).await;
        assert_eq!(state(world, fixture::TROOP).await, "ready");
        let then = world.manager.get(&format!("/standings/{}?as_of={first}", fixture::TROOP)).await.expect(200);
        assert_eq!(then.at("/standing/state"), "gathering");
        assert_eq!(then.at("/standing/coordinators/0/requirements/0/outcome"), "met");
        assert_eq!(then.at("/standing/coordinators/0/requirements/1/outcome"), "missing");
        let again = world.manager.get(&format!("/standings/{}?as_of={first}", fixture::TROOP)).await.expect(200);
        assert_eq!(then.json(), again.json());
    });
}

#[test]
fn two_facts_at_once_are_both_counted() {
    scenario(async |world| {
        screening(world, &fixture::CLARA, "met", Some("2041-01-31")).await;
        let facts = ["membership", "registration", "agreement", "yearly_training"];
        let all = facts.map(|requirement| met(world, &fixture::CLARA, requirement));
        futures_util::future::join_all(all).await;
        let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        let rows = standing.at("/standing/coordinators/0/requirements");
        let closed = rows.as_array().expect("rows").iter().filter(|row| row["closed"] == true).count();
        assert_eq!(closed, 5, "{standing}");
    });
}
