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

/// What head office's newest list says of how long something holds is the last word, and a list without such a column says
/// nothing of it.
#[test]
fn a_newer_list_with_an_earlier_end_counts_and_one_without_a_column_for_it_leaves_the_end_that_is_known() {
    scenario(async |world| {
        let row = async |requirement: &str| {
            let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
            let rows = standing.at("/standing/coordinators/0/requirements");
            let row = rows.as_array().expect("rows").iter().find(|row| row["requirement"] == requirement).cloned();
            let row = row.expect("a row");
            (row["outcome"].clone(), row["valid_until_on"].clone())
        };
        let list = async |day: &str, columns: &str, cells: &str| {
            let text = format!(
                "Troop,First name,Last name,E-mail,{columns}\n0101,Clara,Fontaine-Diallo,clara.fd@example.org,{cells}\n"
            );
            let listed = crate::intake::read(&world.manager, "role_list", day, &text).await;
            crate::intake::apply(&world.manager, &listed).await.expect(200);
        };
        let columns = "Membership valid until,Screening,Screening valid until";
        list("2040-01-07", columns, "2040-09-30,yes,2040-10-31").await;
        assert_eq!(row("membership").await, (json!("met"), json!("2040-09-30")));
        list("2040-01-08", "Screening", "yes").await;
        assert_eq!(row("screening").await, (json!("met"), json!("2040-10-31")), "the day that is known stays");
        list("2040-01-09", columns, "2040-01-15,yes,2040-01-12").await;
        assert_eq!(row("membership").await, (json!("met"), json!("2040-01-15")));
        assert_eq!(row("screening").await, (json!("met"), json!("2040-01-12")));
        world.set_clock("2040-01-16T06:00:01Z".parse().expect("an instant")).await;
        assert_eq!(row("membership").await.0, json!("expired"));
        // A newer word by hand is one too.
        let longer = json!({
            "requirement": "membership", "person_id": person(&fixture::CLARA), "outcome": "met", "valid_until_on": "2040-05-01"
        });
        world.manager.post("/evidence", longer.clone()).await.expect(201);
        let mut shorter = longer;
        shorter["valid_until_on"] = json!("2040-03-01");
        world.manager.post("/evidence", shorter).await.expect(201);
        assert_eq!(row("membership").await, (json!("met"), json!("2040-03-01")));
    });
}

#[test]
fn what_was_decided_and_why_can_be_read_afterwards() {
    scenario(async |world| {
        let place = format!("/assignments/{}", fixture::CLARAS_ASSIGNMENT);
        world
            .manager
            .post(&format!("{place}/suspend"), json!({"reason": "Three calls not answered."}))
            .await
            .expect(200);
        world
            .manager
            .post(&format!("/troops/{}/sit-out", fixture::VACANT_TROOP), json!({"reason": "Asked to."}))
            .await
            .expect(200);
        let listed = world.overseer.get("/decisions").await.expect(200);
        let told: Vec<(Value, Value)> = listed
            .at("/items")
            .as_array()
            .expect("items")
            .iter()
            .map(|one| (one["decision"].clone(), one["reason"].clone()))
            .collect();
        assert_eq!(
            told,
            [(json!("sit_out"), json!("Asked to.")), (json!("suspend"), json!("Three calls not answered."))]
        );
        let of_clara = world.manager.get(&format!("/decisions?person={}", person(&fixture::CLARA))).await.expect(200);
        assert_eq!((of_clara.at("/items/0/troop_id"), of_clara.at("/items/1")), (json!(fixture::TROOP), Value::Null));
        let page = world.manager.get("/decisions?limit=1").await.expect(200);
        let next =
            world.manager.get(&format!("/decisions?limit=1&cursor={}", page.text("/next_cursor"))).await.expect(200);
        assert_eq!((next.at("/items/0/decision"), next.at("/next_cursor")), (json!("suspend"), Value::Null));
        world.clara.get("/decisions").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn an_end_that_is_known_is_in_the_queue_before_it_comes() {
    scenario(async |world| {
        let leave = json!({"left_on": "2040-01-25"});
        world.manager.post(&format!("/people/{}/leave", person(&fixture::YESENIA)), leave).await.expect(200);
        let key = fixture::YESENIAS_ASSIGNMENT.to_string();
        let item = item(&world.manager, "find_successor", &key).await.expect("it is in the queue");
        assert_eq!(
            item["what"],
            "Say who follows Yesenia Bergqvist as coordinator of troop 0102: the place ends when 2040-01-25 begins or on it."
        );
        assert_eq!((&item["by_at"], &item["why"]), (&json!("2040-01-25T06:00:00Z"), &json!("The coordinator leaves.")));
        assert_eq!(item["settle"][0]["fill_in"], json!(["/person_id", "/reason"]));
        let mut body = item["settle"][0]["body"].clone();
        body["person_id"] = json!(person(&fixture::PIOTR));
        body["reason"] = json!("Moves away.");
        world.manager.post(item["settle"][0]["path"].as_str().expect("a path"), body).await.expect(201);
        assert_eq!(self::item(&world.manager, "find_successor", &key).await, None);
        // A leave for a gate ends too.
        let leave =
            json!({"gate": "order", "troop_id": fixture::TROOP, "reason": "On the phone.", "until_on": "2040-01-18"});
        let made = world.manager.post("/overrides", leave).await.expect(201).text("/override_id");
        let ends = self::item(&world.manager, "leave_ends", &made).await.expect("it is in the queue");
        assert_eq!(
            ends["what"],
            "Settle what stands in the way of troop 0101 before 2040-01-19: its leave for the gate \"order\" ends."
        );
    });
}

/// Head office is told of everybody who was appointed and goes, however they go, and of nobody else.
#[test]
fn who_was_appointed_and_leaves_is_taken_out_of_head_offices_system() {
    scenario(async |world| {
        let policy = format!("/seasons/{}/policy", fixture::SEASON);
        let found = world.manager.get(&policy).await.expect(200);
        let mut with_steps = found.at("/policy");
        with_steps["outside_steps"] =
            json!([{"code": "take_out", "title": "Take the coordinator out", "event": "stood_down"}]);
        world.manager.put(&policy, &found.etag(), with_steps).await.expect(200);
        let due = async || {
            let listed = world.manager.get("/outside-steps").await.expect(200).at("/items");
            let of = |step: &Value| step["person_id"].as_str().unwrap_or_default().to_owned();
            listed.as_array().expect("steps").iter().map(of).collect::<Vec<_>>()
        };
        crate::standings::clara_is_ready(world).await;
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect(200);
        // Yesenia was never appointed: head office has never heard of her.
        let down = format!("/assignments/{}/stand-down", fixture::YESENIAS_ASSIGNMENT);
        world.manager.post(&down, json!({"reason": "Asked to."})).await.expect(200);
        assert_eq!(due().await, [""; 0]);
        world
            .manager
            .post(&format!("/people/{}/leave", person(&fixture::CLARA)), json!({"left_on": "2040-01-10"}))
            .await
            .expect(200);
        assert_eq!(due().await, [person(&fixture::CLARA).to_string()]);
    });
}

#[test]
fn who_did_it_is_a_person_whom_one_can_find() {
    scenario(async |world| {
        met(world, &fixture::CLARA, "agreement").await;
        let fact = world.overseer.get("/evidence?limit=1").await.expect(200).text("/items/0/recorded_by");
        let account = fact.strip_prefix("account:").expect("an account").to_owned();
        let found = world.overseer.get(&format!("/people?account={account}")).await.expect(200);
        assert_eq!(
            (found.at("/items/0/person_id"), found.at("/items/1")),
            (json!(person(&fixture::MANAGER)), Value::Null)
        );
        // A number is found as people write it.
        let found = world.manager.get("/people?membership_number=m-6").await.expect(200);
        assert_eq!(found.at("/items/0/person_id"), json!(person(&fixture::CLARA)));
    });
}

#[test]
fn a_preview_says_of_a_form_from_before_the_season_that_it_closes_nothing() {
    scenario(async |world| {
        let list = "Troop,Received on\n0101,2039-08-30\n0102,2039-09-14\n";
        let listed = crate::intake::read(&world.manager, "bank_details", "2040-01-09", list).await;
        let rows = crate::intake::rows(&world.manager, &listed).await;
        let said = |row: usize| {
            (rows[row]["changes"][0]["sentence"].clone(), rows[row]["changes"][0]["closes_nothing"].clone())
        };
        let old = "Bank details form: recorded on 2039-08-30 for troop 0101; it closes nothing, since the season began on 2039-09-01.";
        assert_eq!(said(0), (json!(old), json!(true)));
        assert_eq!(said(1), (json!("Bank details form: met on 2039-09-14 for troop 0102."), json!(false)));
    });
}
