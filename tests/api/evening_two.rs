//! What a new unit manager stumbled over on the way from an empty unit to a filed return, each mended.

use serde_json::{Value, json};

use crate::standings::{met, person};
use crate::support::client::Caller;
use crate::support::{fixture, scenario};

async fn item(who: &Caller, kind: &str, key: &str) -> Option<Value> {
    let items = who.get("/needs?limit=200").await.expect(200).at("/items");
    let named = format!("{kind}:{key}");
    items.as_array().expect("items").iter().find(|item| item["need_id"] == named).cloned()
}

#[test]
fn what_is_open_for_those_on_their_way_is_one_line_for_each_requirement() {
    scenario(async |world| {
        let line = item(&world.manager, "chase_requirement", "agreement").await.expect("a line");
        assert_eq!(
            line["what"],
            "Chase \"Coordinator agreement signed\": it is open for 2 coordinators (troops 0101 and 0102)."
        );
        assert_eq!(line["why"], "It is handed to you, and you record it.");
        let by_hand = &line["settle"][0];
        assert_eq!((&by_hand["fill_in"], &by_hand["you_may"]), (&json!(["/about"]), &json!(true)));
        // What it says is enough to send it.
        let mut body = by_hand["body"].clone();
        body["about"] = json!([{"person_id": person(&fixture::CLARA)}, {"person_id": person(&fixture::YESENIA)}]);
        world.manager.post(by_hand["path"].as_str().expect("a path"), body).await.expect(201);
        assert_eq!(item(&world.manager, "chase_requirement", "agreement").await, None);
        // What comes after something else is not asked for yet: the training comes after the registration.
        assert_eq!(item(&world.manager, "chase_requirement", "yearly_training").await, None);
        let lists = item(&world.manager, "chase_requirement", "membership").await.expect("a line");
        assert!(lists["settle"][0]["path"].as_str().is_some_and(|path| path.ends_with("kind=role_list")), "{lists}");
    });
}

#[test]
fn the_second_person_may_refuse_and_then_nothing_waits() {
    scenario(async |world| {
        let waiver = json!({
            "requirement": "yearly_training", "person_id": person(&fixture::CLARA), "reason": "Ill.",
            "until_on": "2040-02-20"
        });
        let made = world.manager.post("/waivers", waiver.clone()).await.expect(201).text("/waiver_id");
        let decline = format!("/waivers/{made}/decline");
        world.manager.post(&decline, json!({})).await.expect_problem(403, "forbidden");
        let waits = item(&world.overseer, "agree_to_waiver", &made).await.expect("it waits");
        assert_eq!(waits["settle"][1]["path"], format!("/v1/units/{}{decline}", fixture::UNIT));
        let refused = world.overseer.ask(reqwest::Method::POST, &decline).await.expect(200);
        assert_eq!(refused.at("/state"), "taken_back");
        assert_eq!(item(&world.overseer, "agree_to_waiver", &made).await, None);
        world.overseer.ask(reqwest::Method::POST, &decline).await.expect_problem(409, "already_ended");
        // Once it is in force, who gave it takes it back.
        let made = world.manager.post("/waivers", waiver).await.expect(201).text("/waiver_id");
        world.overseer.ask(reqwest::Method::POST, &format!("/waivers/{made}/approve")).await.expect(200);
        let late = world.overseer.ask(reqwest::Method::POST, &format!("/waivers/{made}/decline")).await;
        late.expect_problem(409, "wrong_state");
    });
}

#[test]
fn what_is_met_is_not_waived_and_a_troop_that_sits_out_passes_no_gate() {
    scenario(async |world| {
        met(world, &fixture::CLARA, "agreement").await;
        let waiver = json!({
            "requirement": "agreement", "person_id": person(&fixture::CLARA), "reason": "To be sure.",
            "until_on": "2040-02-20"
        });
        let told = world.manager.post("/waivers", waiver).await.expect_problem(409, "wrong_state");
        assert_eq!(told.text("/detail"), "\"Coordinator agreement signed\" is met: there is nothing to waive.");
        let out = json!({"reason": "Too few youths."});
        world.manager.post(&format!("/troops/{}/sit-out", fixture::OTHER_TROOP), out).await.expect(200);
        let leave = json!({"gate": "order", "troop_id": fixture::OTHER_TROOP, "reason": "All the same."});
        let told = world.manager.post("/overrides", leave).await.expect_problem(409, "wrong_state");
        assert!(told.text("/detail").contains("rejoin_troop"), "{told}");
    });
}

#[test]
fn who_was_suspended_before_being_appointed_goes_on_as_before() {
    scenario(async |world| {
        let place = format!("/assignments/{}", fixture::CLARAS_ASSIGNMENT);
        let suspended =
            world.manager.post(&format!("{place}/suspend"), json!({"reason": "A mistake."})).await.expect(200);
        assert_eq!(suspended.at("/troop/standing/state"), "suspended");
        let open = suspended.at("/troop/standing/gates");
        let open: Vec<&Value> = open.as_array().expect("gates").iter().filter(|gate| gate["open"] == true).collect();
        assert_eq!(suspended.at("/still_open").is_null(), open.is_empty(), "{suspended}");
        let restored = world.manager.post(&format!("{place}/restore"), json!({"reason": "It was."})).await.expect(200);
        assert_eq!(restored.at("/troop/standing/state"), "gathering");
        assert_eq!(restored.at("/still_open"), Value::Null);
    });
}

#[test]
fn erasing_somebody_leaves_what_lists_say_of_the_family_that_shares_the_address() {
    scenario(async |world| {
        let list = "Troop,First name,Last name,E-mail\n0101,Clara,Fontaine-Diallo,clara.fd@example.org\n";
        let listed = crate::intake::read(&world.manager, "role_list", "2040-01-09", list).await;
        crate::intake::apply(&world.manager, &listed).await.expect(200);
        let spouse = json!({"first_name": "Sam", "last_name": "Quill", "email": "Clara.FD@example.org"});
        let spouse = world.manager.post("/people", spouse).await.expect(201).text("/person_id");
        world.manager.once_and_for_all("erase", &spouse, json!({})).await.expect(200);
        let rows = crate::intake::rows(&world.manager, &listed).await;
        assert_eq!(rows.iter().map(|row| row["name"].clone()).collect::<Vec<_>>(), ["Clara Fontaine-Diallo"]);
        let contact = world.manager.get(&format!("/people/{}/contact", person(&fixture::CLARA))).await.expect(200);
        assert_eq!(contact.text("/email"), "clara.fd@example.org");
    });
}

#[test]
fn a_co_coordinator_who_is_proposed_holds_nothing_up_where_the_lead_counts() {
    scenario(async |world| {
        let list =
            "Troop,First name,Last name,E-mail\n0103,Ruta,Ozola,ruta@example.org\n0103,Edvin,Marsh,edvin@example.org\n";
        let listed = crate::intake::read(&world.manager, "role_list", "2040-01-09", list).await;
        crate::intake::apply(&world.manager, &listed).await.expect(200);
        let items = world.manager.get("/needs?limit=200").await.expect(200).at("/items");
        let confirm = items.as_array().expect("items").iter().filter(|item| item["kind"] == "confirm_coordinator");
        let told: Vec<(bool, &str)> = confirm
            .map(|item| {
                let what = item["what"].as_str().expect("a sentence");
                (what.contains("co-coordinator"), item["at_stake"]["level"].as_str().expect("a level"))
            })
            .collect();
        assert!(told.contains(&(false, "shut")) && told.contains(&(true, "waiting")), "{told:?}");
    });
}
