//! Leaves that outlive what they were given for: the coordinator who goes, and the day from which two people are needed.
//! Opening orders are due on 26 January: until the end of that day the manager alone may override the order gate.

use serde_json::{Value, json};

use crate::standings::person;
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

async fn let_through(world: &World, troop: uuid::Uuid, until: &str) -> Answered {
    let new = json!({"gate": "order", "troop_id": troop, "reason": "Agreed on the phone.", "until_on": until});
    world.manager.post("/overrides", new).await.expect(201)
}

/// The items about leaves that were given while somebody else coordinated.
async fn to_look_at(world: &World) -> Vec<Value> {
    let items = world.manager.get("/needs?limit=200").await.expect(200).at("/items");
    items.as_array().expect("items").iter().filter(|item| item["kind"] == "look_at_leave").cloned().collect()
}

#[test]
fn a_leave_by_one_person_says_from_when_it_is_not_enough() {
    scenario(async |world| {
        let short = let_through(world, fixture::OTHER_TROOP, "2040-01-26").await;
        assert_eq!((short.at("/not_enough_from_at"), short.at("/caution")), (Value::Null, Value::Null));
        let made = let_through(world, fixture::TROOP, "2040-02-15").await;
        assert_eq!((made.at("/state"), made.at("/needs_two_people")), (json!("in_force"), json!(false)));
        // The end of 26 January in Chicago.
        assert_eq!(made.at("/not_enough_from_at"), "2040-01-27T06:00:00Z");
        let caution = made.text("/caution");
        assert!(caution.contains("from 2040-01-27 on") && caution.contains("two people"), "{caution}");
        let path = format!("/overrides?troop={}", fixture::TROOP);
        let listed = world.overseer.get(&path).await.expect(200);
        assert_eq!(listed.at("/items/0/not_enough_from_at"), "2040-01-27T06:00:00Z");
        assert_eq!(listed.at("/items/0/caution"), json!(caution));
        world.set_clock("2040-01-27T06:00:30Z".parse().expect("an instant")).await;
        let gates = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(gates.at("/standing/gates/0/open"), json!(false), "as it was said");
        let back = world.manager.post(&format!("/overrides/{}/end", made.text("/override_id")), json!({})).await;
        assert_eq!(back.expect(200).at("/not_enough_from_at"), Value::Null, "what is over reaches nowhere");
    });
}

#[test]
fn what_was_let_go_for_a_troop_goes_on_with_who_comes_and_somebody_is_asked_to_look() {
    scenario(async |world| {
        let id = let_through(world, fixture::OTHER_TROOP, "2040-01-25").await.text("/override_id");
        world.forward(days(1)).await;
        assert_eq!(to_look_at(world).await, [Value::Null; 0]);
        let path = format!("/assignments/{}/replace", fixture::YESENIAS_ASSIGNMENT);
        let body = json!({"person_id": fixture::DOV, "reason": "Moves away."});
        let made = world.manager.post(&path, body).await.expect(201);
        let what = "The leave for the gate \"order\" goes on until 2040-01-25. End it (end_override) if it was meant for who goes.";
        let goes_on = json!([{"kind": "override", "id": id, "troop_id": fixture::OTHER_TROOP, "what": what}]);
        assert_eq!(made.at("/goes_on"), goes_on);
        let seen = world.manager.get(&format!("/overrides/{id}")).await.expect(200);
        assert_eq!((seen.at("/state"), seen.at("/coordinator_changed")), (json!("in_force"), json!(true)));
        assert!(seen.text("/caution").contains("somebody else coordinated the troop"), "{seen}");
        let items = to_look_at(world).await;
        let [item] = items.as_slice() else { panic!("one item: {items:#?}") };
        assert_eq!(item["what"], "Look whether troop 0102 may still pass the gate \"order\" by leave, or end it.");
        assert_eq!(item["settle"][0]["path"], format!("/v1/units/{}/overrides/{id}/end", fixture::UNIT));
        world.manager.post(item["settle"][0]["path"].as_str().expect("a path"), json!({})).await.expect(200);
        assert_eq!(to_look_at(world).await, [Value::Null; 0]);
        // Given anew, it is meant for who coordinates now.
        let anew = let_through(world, fixture::OTHER_TROOP, "2040-01-25").await;
        assert_eq!((anew.at("/coordinator_changed"), anew.at("/caution")), (json!(false), Value::Null));
        assert_eq!(to_look_at(world).await, [Value::Null; 0]);
    });
}

#[test]
fn who_stands_down_or_leaves_is_told_what_goes_on_for_the_troop() {
    scenario(async |world| {
        let first = let_through(world, fixture::OTHER_TROOP, "2040-01-25").await.text("/override_id");
        let second = let_through(world, fixture::TROOP, "2040-01-25").await.text("/override_id");
        world.forward(days(1)).await;
        let down = format!("/assignments/{}/stand-down", fixture::YESENIAS_ASSIGNMENT);
        let taken = world.manager.post(&down, json!({"reason": "Moves away."})).await.expect(200);
        assert_eq!((taken.at("/goes_on/0/id"), taken.at("/goes_on/1")), (json!(first), Value::Null));
        let path = format!("/people/{}/leave", person(&fixture::CLARA));
        let left = world.manager.post(&path, json!({"left_on": "2040-01-11"})).await.expect(200);
        assert_eq!((left.at("/goes_on/0/id"), left.at("/goes_on/1")), (json!(second), Value::Null));
        let mut asked: Vec<String> =
            to_look_at(world).await.iter().map(|item| item["need_id"].as_str().expect("an id").to_owned()).collect();
        asked.sort_unstable();
        let mut expected = [format!("look_at_leave:{first}"), format!("look_at_leave:{second}")];
        expected.sort_unstable();
        assert_eq!(asked, expected);
    });
}
