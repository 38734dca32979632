//! What needs a person now, over HTTP. The world stands on 10 January 2040: troop 0103 is vacant, and the season return is
//! due on the 19th.

use serde_json::{Value, json};

use crate::intake::{BANK_LIST, ROLE_LIST, apply, read};
use crate::standings::{clara_is_ready, met, person};
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

/// The queue without what is to be chased, which `evening_two.rs` looks at.
async fn queue(who: &Caller) -> Vec<Value> {
    let items = who.get("/needs").await.expect(200).at("/items");
    items.as_array().expect("items").iter().filter(|item| item["kind"] != "chase_requirement").cloned().collect()
}

fn kinds(items: &[Value]) -> Vec<(&str, &str)> {
    let text = |item: &Value, pointer: &str| item.pointer(pointer).and_then(Value::as_str).map(str::to_owned);
    items
        .iter()
        .map(|item| {
            assert!(text(item, "/need_id").is_some_and(|id| !id.is_empty()));
            (item["kind"].as_str().expect("a kind"), item["at_stake"]["level"].as_str().expect("a level"))
        })
        .collect()
}

/// The one item of a kind.
#[track_caller]
fn one<'a>(items: &'a [Value], kind: &str) -> &'a Value {
    let found: Vec<&Value> = items.iter().filter(|item| item["kind"] == kind).collect();
    assert_eq!(found.len(), 1, "{kind}: {items:#?}");
    found[0]
}

/// Sends the n-th request that an item names, with what it says is still to be filled in.
async fn settle(world: &World, item: &Value, n: usize, filled: Value) -> Answered {
    let request = &item["settle"][n];
    assert_eq!((&request["method"], &request["you_may"]), (&json!("POST"), &json!(true)), "{request}");
    let mut body = request["body"].clone();
    for place in request["fill_in"].as_array().expect("places") {
        let key = place.as_str().expect("a pointer").trim_start_matches('/').to_owned();
        body[&key] = filled[&key].clone();
    }
    let path = request["path"].as_str().expect("a path");
    if body.is_null() {
        world.manager.ask(reqwest::Method::POST, path).await
    } else {
        world.manager.post(path, body).await
    }
}

#[test]
fn the_queue_says_what_why_by_when_what_is_at_stake_and_what_settles_it() {
    scenario(async |world| {
        let items = queue(&world.manager).await;
        assert_eq!(kinds(&items), [("find_coordinator", "shut"), ("file_return", "ahead")]);
        let find = &items[0];
        assert_eq!(find["need_id"], format!("find_coordinator:{}", fixture::VACANT_TROOP));
        assert_eq!(find["what"], "Find a coordinator for troop 0103; its contacts can help.");
        assert_eq!(find["why"], "Nobody coordinates this troop.");
        assert_eq!(
            find["by_at"], "2040-01-27T06:00:00Z",
            "the end of 26 January in Chicago, when opening orders are due"
        );
        assert_eq!(find["at_stake"]["gates"], json!(["order", "collect", "earn"]));
        assert_eq!(find["at_stake"]["sentence"], "Until it is done, the troop may not order, collect or earn.");
        assert_eq!(find["troops"], json!([{"troop_id": fixture::VACANT_TROOP, "number": "0103"}]));
        assert_eq!(find["person"], Value::Null);
        assert_eq!(
            find["settle"],
            json!([{
                "method": "POST", "path": format!("/v1/units/{}/assignments", fixture::UNIT),
                "body": {"troop_id": fixture::VACANT_TROOP, "lead": true}, "fill_in": ["/person_id"],
                "permission": "assignments.change", "you_may": true
            }])
        );
        let contacts = world.manager.get(find["look"].as_str().expect("where to look")).await.expect(200);
        assert_eq!(contacts.at("/items/0/person_id"), json!(fixture::DOV), "there one sees whom to ask");
        assert_eq!(items[1]["by_at"], "2040-01-20T06:00:00Z", "the end of 19 January in Chicago");

        settle(world, find, 0, json!({"person_id": fixture::DOV})).await.expect(201);
        assert_eq!(
            kinds(&queue(&world.manager).await),
            [("file_return", "ahead")],
            "an item is gone when its cause is"
        );
    });
}

#[test]
fn a_list_waits_row_by_row_then_as_a_whole_and_then_its_proposals_do() {
    scenario(async |world| {
        read(&world.manager, "role_list", "2040-01-09", ROLE_LIST).await;
        let items = queue(&world.manager).await;
        assert_eq!(kinds(&items)[0], ("resolve_rows", "behind"), "before what may be done once the list counts");
        assert_eq!(items[0]["what"], "Decide about 1 row in \"role_list.csv\".");
        let rows = world.manager.get(items[0]["look"].as_str().expect("where to look")).await.expect(200);
        assert_eq!(rows.at("/items/0/row_number"), 6);
        settle(world, &items[0], 0, json!({"decision": "leave_out"})).await.expect(200);

        let items = queue(&world.manager).await;
        assert_eq!(kinds(&items)[0], ("apply_list", "behind"));
        settle(world, &items[0], 0, json!({})).await.expect(200);

        let items = queue(&world.manager).await;
        assert_eq!(
            kinds(&items),
            [("confirm_coordinator", "shut"), ("file_return", "ahead")],
            "0103 has a proposal now"
        );
        assert_eq!(items[0]["what"], "Confirm or decline Ines Calloway as lead coordinator of troop 0103.");
        assert_eq!(items[0]["since_at"].as_str().map(|at| &at[..10]), Some("2040-01-10"));
        settle(world, &items[0], 1, json!({})).await.expect(200);
        let items = queue(&world.manager).await;
        assert_eq!(kinds(&items)[0], ("find_coordinator", "shut"), "declined, so somebody is still to be found");
    });
}

#[test]
fn a_list_that_cannot_be_read_or_told_apart_waits_too() {
    scenario(async |world| {
        read(&world.manager, "bank_details", "2040-01-09", "Troop,When\n0101,2040-01-03\n").await;
        read(&world.manager, "certificates", "2040-01-09", "<html><body>sign in</body></html>").await;
        let items = queue(&world.manager).await;
        assert_eq!(kinds(&items)[..2], [("choose_columns", "behind"), ("replace_list", "behind")]);
        assert_eq!(one(&items, "choose_columns")["what"], "Say which columns of \"bank_details.csv\" are meant.");
        settle(world, one(&items, "replace_list"), 0, json!({})).await.expect(200);
        assert_eq!(kinds(&queue(&world.manager).await)[1], ("find_coordinator", "shut"));
    });
}

#[test]
fn whoever_is_ready_can_be_appointed_by_the_request_in_the_item() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let items = queue(&world.manager).await;
        let appoint = one(&items, "appoint_coordinator");
        assert_eq!(appoint["what"], "Appoint Clara Fontaine-Diallo for troop 0101.");
        assert_eq!(appoint["person"], json!({"person_id": person(&fixture::CLARA), "name": "Clara Fontaine-Diallo"}));
        assert_eq!(appoint["at_stake"]["gates"], json!(["earn"]), "the troop may order and collect already");
        settle(world, appoint, 0, json!({})).await.expect(200);
        assert_eq!(
            kinds(&queue(&world.manager).await),
            [("find_coordinator", "shut"), ("file_return", "ahead"), ("send_drafts", "waiting")]
        );

        let suspend = format!("/assignments/{}/suspend", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&suspend, json!({"reason": "A question is open."})).await.expect(200);
        let items = queue(&world.manager).await;
        let restore = one(&items, "restore_coordinator");
        assert_eq!(
            restore["what"],
            "Look whether Clara Fontaine-Diallo can be restored for troop 0101, or find another coordinator."
        );
        settle(world, restore, 0, json!({})).await.expect(200);
        // A welcome and a suspension wait as drafts.
        assert_eq!(
            kinds(&queue(&world.manager).await),
            [("find_coordinator", "shut"), ("file_return", "ahead"), ("send_drafts", "waiting")]
        );
    });
}

#[test]
fn the_clock_alone_turns_what_will_lapse_into_what_has_lapsed_and_what_is_due_into_what_is_overdue() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let fact = |outcome: &str, day: &str, until: Option<&str>| {
            json!({
                "requirement": "membership", "person_id": person(&fixture::CLARA), "outcome": outcome,
                "observed_on": day, "valid_until_on": until
            })
        };
        world.manager.post("/evidence", fact("not_met", "2040-01-09", None)).await.expect(201);
        world.manager.post("/evidence", fact("met", "2040-01-10", Some("2040-01-20"))).await.expect(201);
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect(200);
        let items = queue(&world.manager).await;
        let renew = one(&items, "renew_requirement");
        assert_eq!(
            renew["what"],
            "Have \"Current membership\" renewed for Clara Fontaine-Diallo (troop 0101) before 2040-01-21."
        );
        assert_eq!(renew["why"], "It holds now and runs out when 2040-01-21 begins, ahead of \"Opening orders due\".");
        assert_eq!((&renew["by_at"], &renew["at_stake"]["level"]), (&json!("2040-01-21T06:00:00Z"), &json!("ahead")));
        assert_eq!(renew["settle"][0]["path"], format!("/v1/units/{}/intakes?kind=role_list", fixture::UNIT));
        assert_eq!(renew["settle"][0]["fill_in"], json!(["?file_name", "?listed_on"]));
        let near = world.manager.get("/needs?days_ahead=10").await.expect(200);
        assert_eq!(
            near.at("/total"),
            6,
            "in ten days the return is due, it has not lapsed, three requirements of 0102 are chased, the welcome waits: {near}"
        );

        world.set_clock("2040-01-21T06:00:01Z".parse().expect("an instant")).await;
        let items = queue(&world.manager).await;
        assert_eq!(
            kinds(&items),
            [
                ("file_return", "overdue"),
                ("find_coordinator", "shut"),
                ("close_requirement", "shut"),
                ("send_drafts", "waiting")
            ]
        );
        assert_eq!(items[0]["why"], "No return of this season has been filed yet. Its day is over.");
        let close = one(&items, "close_requirement");
        assert_eq!(
            close["what"],
            "Get \"Current membership\" in order for Clara Fontaine-Diallo (troop 0101), or suspend."
        );
        assert_eq!(close["at_stake"]["gates"], json!(["order", "earn"]));
        let suspend = close["settle"].as_array().expect("requests").last().expect("one").clone();
        assert!(suspend["path"].as_str().expect("a path").ends_with("/suspend"), "{suspend}");
        assert_eq!(suspend["fill_in"], json!(["/reason"]), "nobody is suspended without a word why");
        let renewed = json!({"valid_until_on": "2040-12-31"});
        let mut by_hand = close["settle"][1]["body"].clone();
        by_hand["valid_until_on"] = renewed["valid_until_on"].clone();
        world.manager.post(close["settle"][1]["path"].as_str().expect("a path"), by_hand).await.expect(201);
        assert_eq!(
            kinds(&queue(&world.manager).await),
            [("file_return", "overdue"), ("find_coordinator", "shut"), ("send_drafts", "waiting")]
        );
    });
}

#[test]
fn a_return_is_owed_until_it_is_filed_and_again_when_something_changes() {
    scenario(async |world| {
        let items = queue(&world.manager).await;
        let due = one(&items, "file_return");
        let preview = world.manager.get(due["look"].as_str().expect("where to look")).await.expect(200);
        settle(world, due, 0, json!({"stamp": preview.at("/stamp")})).await.expect(201);
        assert!(!queue(&world.manager).await.iter().any(|item| item["kind"] == "file_return"));
        met(world, &fixture::CLARA, "membership").await;
        let items = queue(&world.manager).await;
        let owed = one(&items, "file_return");
        assert_eq!(owed["why"], "1 thing has changed since return 1 was filed.");
        assert_eq!(owed["need_id"], "file_return:1");
    });
}

#[test]
fn a_kind_of_list_that_has_not_come_for_longer_than_usual_is_asked_for() {
    scenario(async |world| {
        for day in ["2040-01-02", "2040-01-05", "2040-01-09"] {
            let list = read(&world.manager, "bank_details", day, BANK_LIST).await;
            let days_first = json!({"date_orders": [{"column": "received_on", "order": "day_first"}]});
            let path = format!("/intakes/{}", list.text("/intake_id"));
            let chosen = if list.at("/state") == "needs_columns" {
                world.manager.post(&format!("{path}/columns"), days_first).await.expect(200)
            } else {
                list
            };
            apply(&world.manager, &chosen).await.expect(200);
        }
        // Gaps of three and four days: usually three, and one and a half times that is over when the 14th begins.
        world.set_clock("2040-01-14T05:59:58Z".parse().expect("an instant")).await;
        assert!(!queue(&world.manager).await.iter().any(|item| item["kind"] == "upload_list"));
        world.set_clock("2040-01-14T06:00:01Z".parse().expect("an instant")).await;
        let items = queue(&world.manager).await;
        let old = one(&items, "upload_list");
        assert_eq!(old["what"], "Fetch the newest bank details list and upload it.");
        assert_eq!(old["why"], "The last one speaks for 2040-01-09; such a list usually comes every 3 days.");
        assert_eq!(old["since_at"], "2040-01-14T06:00:00Z");
        let mut path = old["settle"][0]["path"].as_str().expect("a path").to_owned();
        path.push_str("&file_name=bank.csv&listed_on=2040-01-13");
        world.manager.ask(reqwest::Method::POST, &path).bytes("text/csv", BANK_LIST).await.expect(202);
        assert!(!queue(&world.manager).await.iter().any(|item| item["kind"] == "upload_list"), "one is on its way");
    });
}

#[test]
fn what_a_coordinator_reported_waits_for_a_look() {
    scenario(async |world| {
        let report = json!({"troop_id": fixture::TROOP, "requirement": "agreement", "done_on": "2040-01-10"});
        world.clara.post("/my-steps/reports", report).await.expect(201);
        let items = queue(&world.manager).await;
        let check = one(&items, "check_report");
        assert_eq!(
            check["what"],
            "Look whether \"Coordinator agreement signed\" is done for Clara Fontaine-Diallo (troop 0101), and record it."
        );
        assert_eq!(check["at_stake"]["level"], "waiting");
        settle(world, check, 0, json!({})).await.expect(201);
        assert!(!queue(&world.manager).await.iter().any(|item| item["kind"] == "check_report"));
    });
}

#[test]
fn a_troop_that_sits_out_needs_nobody() {
    scenario(async |world| {
        let path = format!("/troops/{}/sit-out", fixture::VACANT_TROOP);
        world.manager.post(&path, json!({"reason": "Asked to."})).await.expect(200);
        assert_eq!(kinds(&queue(&world.manager).await), [("file_return", "ahead")]);
    });
}

#[test]
fn the_queue_is_the_managers_the_overseer_reads_it_and_a_key_sees_what_it_was_given() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let seen = queue(&world.overseer).await;
        assert_eq!(kinds(&seen), kinds(&queue(&world.manager).await));
        assert!(seen.iter().all(|item| item["settle"][0]["you_may"] == false), "who oversees settles nothing of it");
        for other in [&world.materials, &world.distributor, &world.viewer, &world.clara] {
            other.get("/needs").await.expect_problem(403, "forbidden");
        }
        world.stranger.get(&format!("/v1/units/{}/needs", fixture::UNIT)).await.expect_problem(404, "not_found");
        let new = json!({"name": "wall", "unit_id": fixture::UNIT, "permissions": ["needs.read"], "lasts_days": 9});
        let key = world.manager.post("/v1/keys", new).await.expect(201);
        let script = world.manager.with_key(&key.text("/key/key_id"), key.text("/secret"));
        let items = queue(&script).await;
        let appoint = one(&items, "appoint_coordinator");
        assert_eq!((&appoint["person"], &appoint["settle"][0]["you_may"]), (&Value::Null, &json!(false)));
        assert_eq!(appoint["what"], "Appoint the coordinator for troop 0101.");
    });
}

#[test]
fn pages_follow_one_another_and_a_poller_is_told_when_nothing_changed() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let whole = world.manager.get("/needs").await.expect(200);
        assert_eq!(
            (whole.at("/total"), whole.at("/next_cursor")),
            (json!(6), Value::Null),
            "three, and three requirements of troop 0102"
        );
        let mut found = Vec::new();
        let mut path = "/needs?limit=1".to_owned();
        loop {
            let page = world.manager.get(&path).await.expect(200);
            found.push(page.at("/items/0/need_id"));
            let Value::String(cursor) = page.at("/next_cursor") else { break };
            path = format!("/needs?limit=1&cursor={cursor}");
        }
        let ids: Vec<Value> =
            whole.at("/items").as_array().expect("items").iter().map(|one| one["need_id"].clone()).collect();
        assert_eq!(found, ids);
        let cursor = world.manager.get("/needs?limit=1").await.expect(200).text("/next_cursor");
        let other = format!("/needs?limit=1&days_ahead=7&cursor={cursor}");
        world.manager.get(&other).await.expect_problem(400, "bad_cursor");
        world.manager.get("/needs?days_ahead=367").await.expect_problem(422, "invalid");

        let tag = whole.header("etag").to_owned();
        world.forward(days(1)).await;
        world.manager.get("/needs").header("if-none-match", &tag).await.expect(304);
        world.forward(days(10)).await;
        let later = world.manager.get("/needs").header("if-none-match", &tag).await.expect(200);
        assert_eq!(later.at("/items/0/at_stake/level"), "overdue", "time alone changes it, and no 304 hides that");
    });
}

#[test]
fn standings_and_previews_are_polled_cheaply_too() {
    scenario(async |world| {
        let troop = format!("/standings/{}", fixture::TROOP);
        for path in ["/standings", &troop, "/return-preview"] {
            let tag = world.manager.get(path).await.expect(200).header("etag").to_owned();
            world.forward(days(1)).await;
            world.manager.get(path).header("if-none-match", &tag).await.expect(304);
        }
        let tag = world.manager.get("/standings").await.expect(200).header("etag").to_owned();
        met(world, &fixture::CLARA, "membership").await;
        world.manager.get("/standings").header("if-none-match", &tag).await.expect(200);
    });
}
