//! Facts one by one: what is on record, and what was withdrawn.

use serde_json::{Value, json};

use crate::intake::{address, apply, read};
use crate::standings::{met, person, screening};
use crate::support::client::Answered;
use crate::support::fixture::{self, UNIT};
use crate::support::world::World;
use crate::support::{days, scenario};

async fn outcome(world: &World, requirement: &str, query: &str) -> Value {
    let standing = world.overseer.get(&format!("/standings/{}{query}", fixture::TROOP)).await.expect(200);
    let rows = standing.at("/standing/coordinators/0/requirements");
    let row = rows.as_array().expect("rows").iter().find(|row| row["requirement"] == requirement).expect("the row");
    row["outcome"].clone()
}

async fn record(world: &World, outcome: &str, note: Option<&str>) -> Answered {
    let fact =
        json!({"requirement": "agreement", "person_id": person(&fixture::CLARA), "outcome": outcome, "note": note});
    world.manager.post("/evidence", fact).await.expect(201)
}

fn withdraw(fact: &Answered) -> String {
    format!("/evidence/{}/withdraw", fact.text("/evidence_id"))
}

#[test]
fn a_fact_typed_by_mistake_counts_no_longer_and_stays_on_record() {
    scenario(async |world| {
        let right = record(world, "met", Some("Signed at the kick-off evening.")).await;
        let wrong = record(world, "not_met", None).await;
        assert_eq!(outcome(world, "agreement", "").await, "not_met", "of one day, what is not met wins");
        let before = world.manager.get("/standings?limit=1").await.expect(200).text("/stands_at");
        world.forward(days(1)).await;
        world.overseer.post(&withdraw(&wrong), json!({})).await.expect_problem(403, "forbidden");
        world
            .stranger
            .post(&format!("/v1/units/{UNIT}{}", withdraw(&wrong)), json!({}))
            .await
            .expect_problem(404, "not_found");
        let gone = world.manager.post(&withdraw(&wrong), json!({})).await.expect(200);
        assert!(gone.text("/withdrawn_at").starts_with("2040-01-11T"), "{gone}");
        assert_eq!(outcome(world, "agreement", "").await, "met");
        assert_eq!(outcome(world, "agreement", &format!("?as_of={before}")).await, "not_met", "what stood then stands");
        world.manager.post(&withdraw(&wrong), json!({})).await.expect_problem(409, "wrong_state");
        let listed = world.overseer.get("/evidence").await.expect(200).at("/items");
        let listed = listed.as_array().expect("items");
        assert_eq!(listed.len(), 2);
        assert_eq!(
            (&listed[0]["evidence_id"], listed[0]["withdrawn_at"].is_null()),
            (&wrong.at("/evidence_id"), false)
        );
        assert_eq!((&listed[1]["evidence_id"], listed[1]["withdrawn_at"].is_null()), (&right.at("/evidence_id"), true));
        assert_eq!(listed[1]["note"], "Signed at the kick-off evening.");
        world.manager.post(&withdraw(&right), json!({})).await.expect(200);
        assert_eq!(outcome(world, "agreement", "").await, "missing");
    });
}

#[test]
fn twenty_withdrawals_at_once_are_one() {
    scenario(async |world| {
        let wrong = record(world, "not_met", None).await;
        let path = withdraw(&wrong);
        let answers =
            futures_util::future::join_all((0..20).map(|_| async { world.manager.post(&path, json!({})).await })).await;
        let mut statuses = std::collections::BTreeMap::new();
        for answer in &answers {
            *statuses.entry(answer.status).or_insert(0) += 1;
        }
        assert_eq!(statuses.into_iter().collect::<Vec<_>>(), [(200, 1), (409, 19)]);
    });
}

#[test]
fn what_a_list_said_is_taken_back_with_its_list() {
    scenario(async |world| {
        let list =
            "Name,E-mail,Course,Completed on\nClara Fontaine-Diallo,clara.fd@example.org,Yearly training,2040-01-05\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", list).await;
        apply(&world.manager, &intake).await.expect(200);
        let facts = world.manager.get(&format!("/evidence?person={}", person(&fixture::CLARA))).await.expect(200);
        assert_eq!(
            (facts.at("/items/0/intake_id"), facts.at("/items/0/row_number")),
            (intake.at("/intake_id"), json!(2))
        );
        let path = format!("/evidence/{}/withdraw", facts.text("/items/0/evidence_id"));
        let refused = world.manager.post(&path, json!({})).await.expect_problem(409, "wrong_state");
        assert!(refused.text("/detail").contains("reverse_intake"), "{refused}");
        world.manager.post(&format!("{}/reverse", address(&intake)), json!({})).await.expect(200);
        let facts = world.manager.get("/evidence").await.expect(200);
        assert!(!facts.at("/items/0/withdrawn_at").is_null(), "{facts}");
    });
}

/// R15, R44: a key without `screenings.read` sees none; whoever sees one leaves a row in the log.
#[test]
fn a_screening_is_listed_for_whoever_may_see_it_and_the_look_is_logged() {
    scenario(async |world| {
        screening(world, &fixture::CLARA, "not_met", None).await;
        met(world, &fixture::CLARA, "agreement").await;
        let rows = async || {
            let log = world.overseer.get("/log?limit=200").await.expect(200).at("/items");
            log.as_array().expect("rows").iter().filter(|row| row["action"] == "list_evidence").count()
        };
        let body = |permissions: &[&str]| json!({"name": "pull", "unit_id": UNIT, "permissions": permissions});
        let made = world.manager.post("/v1/keys", body(&["evidence.read"])).await.expect(201);
        let script = world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"));
        let seen = script.get(&format!("/v1/units/{UNIT}/evidence")).await.expect(200);
        assert_eq!(seen.at("/items").as_array().expect("items").len(), 1);
        assert!(!seen.json().to_string().contains("screening"), "{seen}");
        assert_eq!(rows().await, 0);
        let seen = world.overseer.get("/evidence?requirement=screening").await.expect(200);
        assert_eq!(seen.at("/items/0/outcome"), "not_met");
        assert_eq!(rows().await, 1);
        world.overseer.get("/evidence?requirement=agreement").await.expect(200);
        assert_eq!(rows().await, 1, "no screening was looked at");
        for caller in [&world.clara, &world.materials, &world.viewer] {
            caller.get("/evidence").await.expect_problem(403, "forbidden");
        }
    });
}

#[test]
fn facts_are_paged_from_the_newest_to_the_oldest() {
    scenario(async |world| {
        for outcome in ["met", "not_met", "met"] {
            record(world, outcome, None).await;
        }
        let first = world.manager.get("/evidence?limit=2").await.expect(200);
        let next =
            world.manager.get(&format!("/evidence?limit=2&cursor={}", first.text("/next_cursor"))).await.expect(200);
        let outcomes = |page: &Answered| {
            let items = page.at("/items");
            items
                .as_array()
                .expect("items")
                .iter()
                .map(|fact| fact["outcome"].as_str().unwrap_or("").to_owned())
                .collect::<Vec<_>>()
        };
        assert_eq!((outcomes(&first), outcomes(&next)), (vec!["met".into(), "not_met".into()], vec!["met".to_owned()]));
        assert_eq!(next.at("/next_cursor"), Value::Null);
        world.manager.get("/evidence?who=clara").await.expect_problem(400, "bad_parameter");
    });
}
