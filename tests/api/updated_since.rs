//! What is new in a list since a number of the unit's log: each change once or twice, none missed.

use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};

fn person(who: &fixture::Somebody) -> uuid::Uuid {
    who.place.expect("a place").person
}

/// How far the log had come, by a list's own word.
async fn now(who: &Caller, list: &str) -> i64 {
    who.get(list).await.expect(200).at("/log_seq").as_i64().expect("a number")
}

async fn since(who: &Caller, list: &str, seq: i64) -> Answered {
    let join = if list.contains('?') { '&' } else { '?' };
    who.get(&format!("{list}{join}updated_since={seq}")).await.expect(200)
}

/// The values of one key over a list.
fn each(answered: &Answered, key: &str) -> Vec<Value> {
    answered.at("/items").as_array().expect("items").iter().map(|item| item[key].clone()).collect()
}

async fn change(world: &World, path: &str, body: Value) {
    let etag = world.manager.get(path).await.expect(200).text("/etag");
    world.manager.patch(path, &etag, body).await.expect(200);
}

#[test]
fn a_changed_troop_a_changed_place_and_a_merged_one_are_news() {
    scenario(async |world| {
        let start = now(&world.viewer, "/troops").await;
        change(world, &format!("/troops/{}", fixture::TROOP), json!({"name": "Oak"})).await;
        let news = since(&world.viewer, "/troops", start).await;
        assert_eq!(each(&news, "number"), ["0101"]);
        let next = news.at("/log_seq").as_i64().expect("a number");
        assert_eq!(next, start + 1);
        assert_eq!(each(&since(&world.viewer, "/troops", next).await, "number"), Vec::<Value>::new());
        change(world, &format!("/troops/{}", fixture::OTHER_TROOP), json!({"selling_youths": 4})).await;
        assert_eq!(each(&since(&world.viewer, "/troops", next).await, "selling_youths"), [4]);
        let last = now(&world.viewer, "/troops").await;
        let body = json!({"into_troop_id": fixture::OTHER_TROOP, "reason": "Five are left."});
        let path = format!("/troops/{}/merge", fixture::TROOP);
        let stamp = world.manager.post(&format!("{path}/preview"), body.clone()).await.expect(200).text("/stamp");
        world.manager.post(&format!("{path}?confirm_stamp={stamp}"), body).await.expect(200);
        let news = since(&world.viewer, "/troops", last).await;
        assert_eq!(each(&news, "number"), ["0101", "0102"], "who keeps a copy hears where the old one went");
        assert_eq!(each(&news, "merged_into"), [json!(fixture::OTHER_TROOP), json!(null)]);
        assert_eq!(each(&since(&world.viewer, "/regroupings", last).await, "kind"), ["merge"]);
        let ended = each(&since(&world.overseer, "/assignments", last).await, "ended_because");
        assert_eq!(ended, ["regrouped", "regrouped"]);
        assert_eq!(each(&since(&world.yesenia, "/troops", last).await, "number"), ["0102"], "in reach only");
    });
}

#[test]
fn people_roles_assignments_and_contacts_tell_what_is_new() {
    scenario(async |world| {
        let contacts = format!("/troops/{}/contacts", fixture::VACANT_TROOP);
        let take_overs = format!("/troops/{}/take-overs", fixture::OTHER_TROOP);
        let start = now(&world.manager, "/people").await;
        change(world, &format!("/people/{}", person(&fixture::PIOTR)), json!({"first_name": "Peter"})).await;
        assert_eq!(each(&since(&world.overseer, "/people", start).await, "first_name"), ["Peter"]);
        let role = json!({"person_id": fixture::DOV, "role": "viewer"});
        let grant = world.manager.post("/grants", role).await.expect(201).at("/grant_id");
        assert_eq!(each(&since(&world.overseer, "/grants", start).await, "grant_id"), [grant]);
        let duty = json!({"person_id": person(&fixture::MATERIALS), "duty": "treasurer"});
        world.manager.post(&contacts, duty).await.expect(201);
        assert_eq!(each(&since(&world.overseer, &contacts, start).await, "duty"), ["treasurer"]);
        let body = json!({"person_id": fixture::DOV, "reason": "Moves away."});
        let replace = format!("/assignments/{}/replace", fixture::YESENIAS_ASSIGNMENT);
        world.manager.post(&replace, body).await.expect(201);
        assert_eq!(each(&since(&world.overseer, &take_overs, start).await, "reason"), ["Moves away."]);
        let changed = since(&world.overseer, "/assignments", start).await;
        assert_eq!(each(&changed, "person_id"), [json!(person(&fixture::YESENIA)), json!(fixture::DOV)]);
        let last = changed.at("/log_seq").as_i64().expect("a number");
        for list in ["/people", "/grants", "/assignments", &contacts, &take_overs] {
            assert_eq!(since(&world.overseer, list, last).await.at("/items"), json!([]), "{list}");
        }
    });
}

#[test]
fn facts_exceptions_and_dates_tell_what_is_new_and_a_withdrawn_fact_is_news() {
    scenario(async |world| {
        let milestones = format!("/seasons/{}/milestones", fixture::SEASON);
        let start = now(&world.manager, "/evidence").await;
        let fact = json!({"requirement": "agreement", "person_id": person(&fixture::CLARA), "outcome": "met"});
        let fact = world.manager.post("/evidence", fact).await.expect(201).text("/evidence_id");
        let waiver = json!({"requirement": "agreement", "person_id": person(&fixture::PIOTR), "reason": "In the post.",
            "until_on": "2040-02-01"});
        let waiver = world.manager.post("/waivers", waiver).await.expect(201).text("/waiver_id");
        let pass = json!({"gate": "order", "troop_id": fixture::TROOP, "reason": "Agreed.", "until_on": "2040-01-20"});
        let pass = world.manager.post("/overrides", pass).await.expect(201).text("/override_id");
        assert_eq!(each(&since(&world.overseer, "/evidence", start).await, "evidence_id"), [json!(fact)]);
        let middle = now(&world.overseer, "/waivers").await;
        for list in ["/evidence", "/waivers", "/overrides", &milestones, "/seasons", "/intakes"] {
            assert_eq!(since(&world.overseer, list, middle).await.at("/items"), json!([]), "{list}");
        }
        world.manager.post(&format!("/evidence/{fact}/withdraw"), json!({})).await.expect(200);
        world.manager.post(&format!("/waivers/{waiver}/end"), json!({})).await.expect(200);
        world.manager.post(&format!("/overrides/{pass}/end"), json!({})).await.expect(200);
        let withdrawn = since(&world.overseer, "/evidence", middle).await;
        assert_eq!(each(&withdrawn, "evidence_id"), [json!(fact)]);
        assert!(withdrawn.at("/items/0/withdrawn_at").is_string());
        assert_eq!(each(&since(&world.overseer, "/waivers", middle).await, "state"), ["taken_back"]);
        assert_eq!(each(&since(&world.overseer, "/overrides", middle).await, "state"), ["taken_back"]);
        let sale = fixture::milestone(fixture::SEASON, 4);
        let etag = each(&world.manager.get(&milestones).await.expect(200), "milestone_id");
        assert!(etag.contains(&json!(sale)));
        let listed = world.manager.get(&milestones).await.expect(200).at("/items");
        let line = listed.as_array().expect("items").iter().find(|one| one["milestone_id"] == json!(sale)).cloned();
        let tag = line.expect("sale opens")["etag"].as_str().expect("a tag").to_owned();
        let path = format!("{milestones}/{sale}");
        world.manager.patch(&path, &tag, json!({"on_day": "2040-02-20"})).await.expect(200);
        assert_eq!(each(&since(&world.viewer, &milestones, middle).await, "milestone_id"), [json!(sale)]);
    });
}

#[test]
fn a_page_goes_on_with_the_same_question_only_and_the_tag_is_not_of_others_changes() {
    scenario(async |world| {
        let first = world.manager.get("/people?limit=2&updated_since=0").await.expect(200);
        // The fixture's rows are older than the log; a change of each brings them in.
        assert_eq!(first.at("/items"), json!([]));
        for who in [&fixture::PIOTR, &fixture::CLARA, &fixture::YESENIA] {
            change(world, &format!("/people/{}", person(who)), json!({"first_name": "Robin"})).await;
        }
        let first = world.manager.get("/people?limit=2&updated_since=0").await.expect(200);
        let cursor = first.text("/next_cursor");
        let second = world.manager.get(&format!("/people?limit=2&updated_since=0&cursor={cursor}")).await.expect(200);
        assert_eq!((each(&first, "first_name").len(), each(&second, "first_name").len()), (2, 1));
        let other = format!("/people?limit=2&updated_since=1&cursor={cursor}");
        world.manager.get(&other).await.expect_problem(400, "bad_cursor");
        // A change elsewhere moves the log on; the list of people is the same one, and a poller is told so.
        let tag = world.manager.get("/people").await.expect(200).header("etag").to_owned();
        change(world, &format!("/troops/{}", fixture::TROOP), json!({"name": "Oak"})).await;
        world.manager.get("/people").header("if-none-match", &tag).await.expect(304);
        change(world, &format!("/people/{}", person(&fixture::PIOTR)), json!({"first_name": "Piotr"})).await;
        world.manager.get("/people").header("if-none-match", &tag).await.expect(200);
    });
}
