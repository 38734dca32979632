//! Who leads a troop, and how that changes.

use serde_json::{Value, json};

use super::person;
use crate::support::fixture;
use crate::support::world::World;
use crate::support::{days, scenario};

fn make_lead(assignment: uuid::Uuid) -> String {
    format!("/assignments/{assignment}/make-lead")
}

/// Who leads troop 0101 and who helps, by its standing.
async fn leads(world: &World, query: &str) -> Vec<(Value, bool)> {
    let standing = world.overseer.get(&format!("/standings/{}{query}", fixture::TROOP)).await.expect(200);
    let coordinators = standing.at("/standing/coordinators");
    let coordinators = coordinators.as_array().expect("coordinators").iter();
    coordinators.map(|one| (one["person_id"].clone(), one["lead"] == true)).collect()
}

#[test]
fn a_co_coordinator_takes_the_lead_and_the_former_lead_stays_as_one() {
    scenario(async |world| {
        let (clara, piotr) = (json!(person(&fixture::CLARA)), json!(person(&fixture::PIOTR)));
        let path = make_lead(fixture::PIOTRS_ASSIGNMENT);
        world.clara.post(&path, json!({})).await.expect_problem(403, "forbidden");
        let before = world.manager.get("/standings?limit=1").await.expect(200).text("/stands_at");
        assert_eq!(leads(world, "").await, [(clara.clone(), true), (piotr.clone(), false)]);
        world.forward(days(1)).await;
        // Without a body at all, as volunteers send it with curl.
        let made = world.manager.ask(reqwest::Method::POST, &path).await.expect(200);
        assert_eq!((made.at("/person_id"), made.at("/lead")), (piotr.clone(), json!(true)));
        assert_eq!(leads(world, "").await, [(piotr.clone(), true), (clara.clone(), false)]);
        // Both still see the troop, and what stood before stands.
        world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(leads(world, &format!("?as_of={before}")).await, [(clara, true), (piotr, false)]);
        world.manager.post(&path, json!({})).await.expect_problem(409, "wrong_state");
        world.manager.post(&make_lead(fixture::CLARAS_ASSIGNMENT), json!({})).await.expect(200);
        assert_eq!(leads(world, "").await.iter().filter(|one| one.1).count(), 1);
    });
}

#[test]
fn nobody_leads_by_a_place_that_is_over_or_elsewhere() {
    scenario(async |world| {
        world.manager.post(&make_lead(fixture::AWAY_ASSIGNMENT), json!({})).await.expect_problem(404, "not_found");
        let down = format!("/assignments/{}/stand-down", fixture::PIOTRS_ASSIGNMENT);
        world.manager.post(&down, json!({"reason": "Moves away."})).await.expect(200);
        let refused = world.manager.post(&make_lead(fixture::PIOTRS_ASSIGNMENT), json!({})).await;
        refused.expect_problem(409, "wrong_state");
        assert_eq!(leads(world, "").await, [(json!(person(&fixture::CLARA)), true)]);
    });
}

/// The policy of the fixture counts the lead: a troop without one reads as vacant, and the queue says which request ends it.
#[test]
fn where_nobody_leads_the_queue_names_the_request_that_makes_one() {
    scenario(async |world| {
        let down = format!("/assignments/{}/stand-down", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&down, json!({"reason": "Moves away."})).await.expect(200);
        let queue = world.manager.get("/needs").await.expect(200).at("/items");
        let item =
            queue.as_array().expect("items").iter().find(|item| item["kind"] == "name_lead").expect("it").clone();
        let request = &item["settle"][0];
        let path = format!("/v1/units/{}{}", fixture::UNIT, make_lead(fixture::PIOTRS_ASSIGNMENT));
        assert_eq!(
            (&request["path"], &request["body"], &request["you_may"]),
            (&json!(path), &Value::Null, &json!(true))
        );
        world.manager.ask(reqwest::Method::POST, &path).await.expect(200);
        let state =
            world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200).at("/standing/state");
        assert_eq!(state, "gathering");
    });
}
