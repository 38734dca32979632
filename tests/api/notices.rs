//! What is missing, said to whoever can close it.

use serde_json::{Value, json};

use crate::support::fixture::{CLARA, OTHER_TROOP, PIOTR, TROOP};
use crate::support::{days, scenario};

/// Of troop 0101 everything is open in the fixture: Clara's and Piotr's own, and the troop's.
#[test]
fn each_coordinator_is_written_to_once_a_day_with_what_can_be_done_now() {
    scenario(async |world| {
        let written = world.manager.post("/messages", json!({"troop_id": TROOP})).await.expect(201);
        let items = written.at("/items");
        let mut people: Vec<Value> =
            items.as_array().expect("items").iter().map(|item| item["person_id"].clone()).collect();
        people.sort_by_key(Value::to_string);
        let (clara, piotr) = (CLARA.place.expect("a place").person, PIOTR.place.expect("a place").person);
        let mut both = vec![json!(clara), json!(piotr)];
        both.sort_by_key(Value::to_string);
        assert_eq!(people, both);
        let first = format!("/messages/{}", written.text("/items/0/message_id"));
        let draft = world.manager.get(&first).await.expect(200);
        assert_eq!(draft.text("/message/subject"), "Troop 0101: what is still missing");
        assert_eq!(draft.at("/message/troop_id"), json!(TROOP));
        let standing = world.clara.get(&format!("/standings/{TROOP}")).await.expect(200);
        let text = draft.text("/text");
        // By hand from what the standing says: what can be done now is there, what waits for something else is not.
        let rows: Vec<Value> = standing.at("/standing/coordinators/0/requirements").as_array().expect("rows").clone();
        let said = |row: &Value| text.contains(&format!("- {}: ", row["title"].as_str().expect("a title")));
        for row in &rows {
            let now = row["closed"] == false && row["can_be_done_now"] == true;
            assert_eq!(said(row), now, "{row} in {text}");
        }
        assert!(rows.iter().any(said) && !rows.iter().all(said), "some of both: {text}");
        // Not twice on one day; tomorrow again. A message that was discarded is none.
        world.manager.post("/messages", json!({"troop_id": TROOP})).await.expect_problem(409, "wrong_state");
        world.manager.post(&format!("{first}/discard"), json!({})).await.expect(200);
        let again = world.manager.post("/messages", json!({"troop_id": TROOP})).await.expect(201);
        assert_eq!(again.at("/items").as_array().map(Vec::len), Some(1));
        world.forward(days(1)).await;
        let again = world.manager.post("/messages", json!({"troop_id": TROOP})).await.expect(201);
        assert_eq!(again.at("/items").as_array().map(Vec::len), Some(2));
    });
}

/// Troop 0103 has nobody; Dov is its leader.
#[test]
fn a_troop_without_a_coordinator_is_reached_through_its_contacts() {
    scenario(async |world| {
        let troop = crate::support::fixture::VACANT_TROOP;
        let written = world.manager.post("/messages", json!({"troop_id": troop})).await.expect(201);
        assert_eq!(written.at("/items/0/person_id"), json!(crate::support::fixture::DOV));
        let draft = world.manager.get(&format!("/messages/{}", written.text("/items/0/message_id"))).await.expect(200);
        assert!(draft.text("/text").contains("- A coordinator for the troop: nobody coordinates it now"), "{draft}");
        let unknown = json!({"troop_id": "0198c0de-0000-7000-8000-00000000ffff"});
        world.manager.post("/messages", unknown).await.expect_problem(422, "unknown_reference");
    });
}

#[test]
fn a_wording_is_tried_on_any_troop_before_it_is_saved() {
    scenario(async |world| {
        let preview = async |body: Value| world.manager.post("/mail-templates/preview", body).await;
        let shipped =
            preview(json!({"kind": "before_milestone", "language": "es", "troop_id": TROOP})).await.expect(200);
        assert_eq!(shipped.at("/to_name"), "Clara Fontaine-Diallo");
        let text = shipped.text("/text");
        assert!(text.starts_with("Hola, Clara:") && text.contains("Para la tropa 0101 esto"), "{text}");
        let tried = json!({"kind": "missing", "language": "en", "troop_id": OTHER_TROOP,
            "subject": "{{ troop }}", "body": "{{ how_many }} for {{ first_name }}"});
        let tried = preview(tried).await.expect(200);
        assert_eq!(tried.text("/subject"), "0102");
        assert!(tried.text("/text").ends_with(" for Yesenia\n"), "{tried}");
        let wrong =
            json!({"kind": "missing", "language": "en", "troop_id": TROOP, "subject": "x", "body": "\n{{ link }}"});
        let wrong = preview(wrong).await.expect_problem(422, "invalid");
        assert!(wrong.text("/errors/0/detail").starts_with("line 2:"), "{wrong}");
        let half = json!({"kind": "missing", "language": "en", "troop_id": TROOP, "body": "x"});
        assert_eq!(preview(half).await.expect_problem(422, "invalid").text("/errors/0/pointer"), "/subject");
        for kind in ["invitation", "welcome", "suspended", "missing"] {
            preview(json!({"kind": kind, "language": "en", "troop_id": TROOP})).await.expect(200);
        }
        assert_eq!(world.manager.get("/messages").await.expect(200).at("/items"), json!([]), "nothing was written");
    });
}
