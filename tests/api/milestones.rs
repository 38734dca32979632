//! What a milestone's day means: to whom it is a deadline, when an opening begins, and how ours stands to head office's.

use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::{fixture, scenario};

fn path() -> String {
    format!("/seasons/{}/milestones", fixture::SEASON)
}

async fn milestone(who: &Caller, code: &str) -> Value {
    let items = who.get(&path()).await.expect(200).at("/items");
    items.as_array().expect("items").iter().find(|one| one["code"] == code).cloned().expect("a milestone of this code")
}

async fn change(who: &Caller, code: &str, change: Value) -> Answered {
    let milestone = milestone(who, code).await;
    let id = milestone["milestone_id"].as_str().expect("an id");
    who.patch(&format!("{}/{id}", path()), milestone["etag"].as_str().expect("an etag"), change).await
}

/// Place and code of each fault.
fn faults(answered: &Answered) -> Vec<(String, String)> {
    let errors = answered.at("/errors");
    let of = |key: &str, one: &Value| one[key].as_str().unwrap_or_default().to_owned();
    errors.as_array().expect("errors").iter().map(|one| (of("pointer", one), of("code", one))).collect()
}

fn fault(place: &str, code: &str) -> Vec<(String, String)> {
    vec![(place.to_owned(), code.to_owned())]
}

#[test]
fn our_deadline_does_not_lie_after_head_offices_and_the_refusal_names_both_days() {
    scenario(async |world| {
        let late = json!({"on_day": "2040-01-28", "head_office_on_day": "2040-01-27"});
        let told = change(&world.manager, "opening_orders_due", late).await.expect_problem(422, "invalid");
        assert_eq!(faults(&told), fault("/on_day", "after_head_office"));
        let detail = told.text("/errors/0/detail");
        assert!(detail.contains("2040-01-28") && detail.contains("2040-01-27"), "{detail}");
        // One of the two that moves past the other is the same mistake.
        change(&world.manager, "opening_orders_due", json!({"head_office_on_day": "2040-01-27"})).await.expect(200);
        let told = change(&world.manager, "opening_orders_due", json!({"on_day": "2040-01-28"})).await;
        assert_eq!(faults(&told.expect_problem(422, "invalid")), fault("/on_day", "after_head_office"));
        let told = change(&world.manager, "opening_orders_due", json!({"head_office_on_day": "2040-01-25"})).await;
        assert_eq!(faults(&told.expect_problem(422, "invalid")), fault("/on_day", "after_head_office"));
        assert_eq!(milestone(&world.manager, "opening_orders_due").await["on_day"], "2040-01-26", "nothing moved");
        let own = json!({"code": "plans_due", "title": "Plans due", "on_day": "2040-02-02", "head_office_on_day": "2040-02-01"});
        let told = world.manager.post(&path(), own.clone()).await.expect_problem(422, "invalid");
        assert_eq!(faults(&told), fault("/on_day", "after_head_office"));
        let dates = json!({"milestones": [
            {"code": "close_out_due", "on_day": "2040-04-11", "head_office_on_day": "2040-04-12"},
            {"code": "sale_closes", "on_day": "2040-03-25", "head_office_on_day": "2040-03-25",
             "head_office_at_local_time": "20:00", "etag": "\"v1\""},
        ]});
        let told = world.manager.post(&format!("{}/dates", path()), dates).await.expect_problem(422, "invalid");
        assert_eq!(faults(&told), fault("/milestones/1/at_local_time", "after_head_office"));
        assert_eq!(milestone(&world.manager, "close_out_due").await["on_day"], json!(null), "none of them was dated");
        // What is no deadline may lie on either side, once it is called so.
        let mut visit = own;
        visit["kind"] = json!("event");
        world.manager.post(&path(), visit).await.expect(201);
        let delivery = json!({"head_office_on_day": "2040-02-16"});
        change(&world.manager, "delivery_day", delivery).await.expect(200);
    });
}

#[test]
fn an_opening_begins_with_its_day_and_not_before_head_offices() {
    scenario(async |world| {
        // Midnight in Chicago is six o'clock UTC in February.
        let opens = milestone(&world.clara, "sale_opens").await;
        assert_eq!((&opens["kind"], &opens["falls_at"]), (&json!("opening"), &json!("2040-02-19T06:00:00Z")));
        let told = change(&world.manager, "sale_opens", json!({"head_office_on_day": "2040-02-20"})).await;
        assert_eq!(faults(&told.expect_problem(422, "invalid")), fault("/on_day", "before_head_office"));
        change(&world.manager, "sale_opens", json!({"head_office_on_day": "2040-02-18"})).await.expect(200);
        // As a deadline the same day would mean its end, and would have to be head office's or earlier.
        let told = change(&world.manager, "sale_opens", json!({"kind": "deadline"})).await;
        assert_eq!(faults(&told.expect_problem(422, "invalid")), fault("/on_day", "after_head_office"));
        change(&world.manager, "sale_opens", json!({"kind": null})).await.expect_problem(422, "invalid");
        let due = change(&world.manager, "sale_opens", json!({"kind": "event"})).await.expect(200);
        assert_eq!(due.at("/falls_at"), "2040-02-20T06:00:00Z");
    });
}

#[test]
fn a_gate_that_waits_for_an_opening_is_held_from_the_beginning_of_its_day() {
    scenario(async |world| {
        let policy = format!("/seasons/{}/policy", fixture::SEASON);
        let mut changed = world.manager.get(&policy).await.expect(200).at("/policy");
        changed["gates"][1]["rules"][0]["from"] = json!("sale_opens");
        world.manager.put(&policy, "\"v1\"", changed).await.expect(200);
        let open = async || {
            let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
            let gates = standing.at("/standing/gates");
            let gates = gates.as_array().expect("gates").iter();
            gates.filter(|gate| gate["gate"] == "collect").map(|gate| gate["open"].clone()).collect::<Vec<_>>()
        };
        world.set_clock("2040-02-19T05:59:00Z".parse().expect("an instant")).await;
        assert_eq!(open().await, [json!(true)], "on the evening before");
        world.set_clock("2040-02-19T06:00:30Z".parse().expect("an instant")).await;
        assert_eq!(open().await, [json!(false)], "from the first moment of the day");
    });
}
