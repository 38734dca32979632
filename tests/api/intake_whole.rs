//! Lists in full: complete lists and the brake, taking a list back, what differs since the last one, what is remembered.

use serde_json::{Value, json};

use crate::intake::{ROLE_LIST, address, apply, read, rows, until_read, upload};
use crate::standings::{clara_is_ready, person};
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

const HEAD: &str = "Troop,First name,Last name,Membership number\n";
const CLARA_ROW: &str = "0101,Clara,Fontaine-Diallo,M-6\n";
const YESENIA_ROW: &str = "0102,Yesenia,Bergqvist,M-8\n";

/// Uploads a list that the uploader calls complete.
async fn complete(who: &Caller, kind: &str, listed_on: &str, file: &str) -> Answered {
    let path = format!("/intakes?kind={kind}&file_name=all.csv&listed_on={listed_on}&complete=true");
    let taken = who.ask(reqwest::Method::POST, &path).bytes("text/csv", file.to_owned()).await.expect(202);
    until_read(who, taken.header("location")).await
}

/// The role list of five rows, its one waiting row left out, applied.
async fn role_list_applied(world: &World) -> Answered {
    let intake = read(&world.manager, "role_list", "2040-01-09", ROLE_LIST).await;
    let path = format!("{}/rows/6/resolve", address(&intake));
    let ready = world.manager.post(&path, json!({"decision": "leave_out"})).await.expect(200);
    apply(&world.manager, &ready).await.expect(200)
}

async fn reverse(who: &Caller, intake: &Answered) -> Answered {
    who.post(&format!("{}/reverse", address(intake)), json!({})).await
}

fn codes(problem: &Answered) -> Vec<Value> {
    problem.at("/errors").as_array().expect("errors").iter().map(|error| error["code"].clone()).collect()
}

#[test]
fn who_is_missing_from_a_complete_list_keeps_the_place_for_the_days_of_grace() {
    scenario(async |world| {
        clara_is_ready(world).await;
        world
            .manager
            .post(&format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT), json!({}))
            .await
            .expect(200);
        let without_clara = format!("{HEAD}{YESENIA_ROW}");
        let silent = read(&world.manager, "role_list", "2040-01-10", &without_clara).await;
        assert_eq!((silent.at("/complete"), silent.at("/counts/absences")), (json!(false), json!(0)));
        let said = json!({"complete": true});
        let told = world.manager.post(&format!("{}/columns", address(&silent)), said).await.expect(200);
        assert_eq!(told.at("/counts/absences"), 1, "{told}");
        assert_eq!(told.at("/absences/0/person_id"), json!(person(&fixture::CLARA)));
        assert_eq!(
            told.text("/absences/0/sentence"),
            "Registered as this season's coordinator: Clara Fontaine-Diallo is not on this list of 2040-01-10, and was met on 2040-01-08."
        );
        apply(&world.manager, &told).await.expect(200);
        let standing = || async { world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200) };
        let seen = standing().await;
        assert_eq!(seen.text("/standing/state"), "appointed", "{seen}");
        let text = seen.json().to_string();
        assert!(text.contains("\"outcome\":\"absent\""), "{text}");
        assert!(!text.contains("\"outcome\":\"expired\""), "membership and screening keep their last fact: {text}");
        // The shipped policy's five days run to the end of 15 January in the season's zone.
        world.forward(days(5)).await;
        assert_eq!(standing().await.text("/standing/state"), "appointed");
        world.forward(days(1)).await;
        assert_eq!(standing().await.text("/standing/state"), "lapsed");
        let back = read(&world.manager, "role_list", "2040-01-16", &format!("{HEAD}{CLARA_ROW}")).await;
        apply(&world.manager, &back).await.expect(200);
        assert_eq!(standing().await.text("/standing/state"), "appointed");
    });
}

#[test]
fn a_complete_list_that_is_older_than_one_already_applied_says_nothing_of_who_is_missing() {
    scenario(async |world| {
        role_list_applied(world).await;
        let older = complete(&world.manager, "role_list", "2040-01-08", &format!("{HEAD}{CLARA_ROW}")).await;
        assert_eq!(older.at("/counts/absences"), 0);
        assert_ne!(older.at("/superseded_by"), Value::Null, "{older}");
        let step = older.text("/next_step");
        let newer = "A newer role list, of 2040-01-09, was applied already: where the two differ the newer one holds, and whoever is not on this one is not missed. ";
        assert!(step.starts_with(newer), "{step}");
        let newest = complete(&world.manager, "role_list", "2040-01-10", &format!("{HEAD}{CLARA_ROW}")).await;
        assert!(!newest.text("/next_step").contains("A newer role list"), "{newest}");
        let path = "/intakes?kind=certificates&file_name=a.csv&listed_on=2040-01-09&complete=true";
        let refused = world.manager.ask(reqwest::Method::POST, path).bytes("text/csv", "Name\nx\n").await;
        refused.expect_problem(422, "invalid");
    });
}

#[test]
fn a_list_that_touches_much_of_the_roster_is_confirmed_by_its_own_figure() {
    scenario(async |world| {
        role_list_applied(world).await;
        world.forward(days(7)).await;
        // Four people have a place; the policy lets 25 % pass, and three are missing.
        let newer = complete(&world.manager, "role_list", "2040-01-16", &format!("{HEAD}{CLARA_ROW}")).await;
        assert_eq!((newer.at("/counts/absences"), newer.at("/counts/touched_people")), (json!(3), json!(3)), "{newer}");
        let braked = apply(&world.manager, &newer).await.expect_problem(409, "mass_change");
        let figures = braked.text("/errors/0/detail");
        assert!(figures.starts_with("3 of 4 people and 0 of 3 troops are touched, 3 of them"), "{figures}");
        let confirm = async |touched: u32| {
            let body = json!({"preview": newer.at("/etag"), "confirm_touched": touched});
            world.manager.post(&format!("{}/apply", address(&newer)), body).await
        };
        confirm(2).await.expect_problem(409, "mass_change");
        let applied = confirm(3).await.expect(200);
        assert_eq!(
            applied.text("/next_step"),
            "It was applied with the 3 who are not on it. Nothing more is to be done."
        );
        let again = complete(&world.manager, "role_list", "2040-01-17", &format!("{HEAD}{CLARA_ROW}")).await;
        assert_eq!(again.at("/counts/absences"), 0, "being missing again says nothing new");
    });
}

#[test]
fn a_list_taken_back_counts_no_longer_and_an_earlier_instant_still_sees_it() {
    scenario(async |world| {
        let applied = role_list_applied(world).await;
        let at = applied.text("/applied_at");
        let outcome = async |query: &str| {
            let path = format!("/standings/{}{query}", fixture::TROOP);
            let seen = world.manager.get(&path).await.expect(200);
            let mut asked = seen.at("/standing/coordinators/0/requirements").as_array().expect("rows").clone();
            asked.retain(|row| row["requirement"] == "registration");
            asked[0]["outcome"].clone()
        };
        assert_eq!(outcome("").await, "met");
        let back = reverse(&world.manager, &applied).await.expect(200);
        assert_eq!((back.at("/state"), back.at("/reversed_at").is_string()), (json!("reversed"), true), "{back}");
        assert_eq!(outcome("").await, "missing");
        assert_eq!(outcome(&format!("?as_of={at}")).await, "met", "what was known then stays known of then");
        reverse(&world.manager, &applied).await.expect_problem(409, "wrong_state");
        // Ines stays known by name; what the list had filled in about her is gone, and so is the place it proposed.
        let ines = world.manager.get("/people?search=Calloway").await.expect(200);
        let contact = format!("/people/{}/contact", ines.text("/items/0/person_id"));
        let contact = world.manager.get(&contact).await.expect(200);
        assert_eq!((contact.at("/email"), contact.at("/phone")), (Value::Null, Value::Null));
        let clara = world.manager.get(&format!("/people/{}/contact", person(&fixture::CLARA))).await.expect(200);
        assert_eq!(clara.at("/email"), "clara.fd@example.org", "what people entered stays");
        // The same file once more: everything that was taken back is proposed and recorded anew.
        let again = read(&world.manager, "role_list", "2040-01-09", ROLE_LIST).await;
        let counts = again.at("/counts");
        assert_eq!(
            (&counts["new_people"], &counts["filled_in"], &counts["proposals"], &counts["facts"]),
            (&json!(0), &json!(2), &json!(1), &json!(7)),
            "{again}"
        );
    });
}

#[test]
fn a_list_on_which_something_stands_is_not_taken_back_and_the_answer_names_it() {
    scenario(async |world| {
        let applied = role_list_applied(world).await;
        world.forward(days(1)).await;
        let newer = read(&world.manager, "role_list", "2040-01-10", &format!("{HEAD}{CLARA_ROW}")).await;
        let newer = apply(&world.manager, &newer).await.expect(200);
        let refused = reverse(&world.manager, &applied).await.expect_problem(409, "built_on");
        assert_eq!(codes(&refused), ["later_list"], "{refused}");
        reverse(&world.manager, &newer).await.expect(200);
        let suspend = format!("/assignments/{}/suspend", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&suspend, json!({"reason": "Asked to."})).await.expect(200);
        let stamp = world.manager.get("/return-preview").await.expect(200).text("/stamp");
        world.manager.post("/returns", json!({"stamp": stamp})).await.expect(201);
        let proposals = world.manager.get("/assignments").await.expect(200);
        let proposed = proposals.at("/items");
        let proposed = proposed.as_array().expect("assignments").iter().find(|one| one["proposed_at"].is_string());
        let id = proposed.expect("the place of Ines")["assignment_id"].as_str().expect("an id").to_owned();
        world.manager.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect(200);
        let refused = reverse(&world.manager, &applied).await.expect_problem(409, "built_on");
        assert_eq!(codes(&refused), ["filed_return", "later_decision", "used_since"], "{refused}");
        assert!(refused.text("/errors/1/detail").starts_with("a decision about troop 0101 was taken since: suspend"));
        assert!(refused.text("/errors/2/detail").starts_with("Ines Calloway was confirmed"), "{refused}");
    });
}

/// Whoever comes second sees what the first has done: a decision never stands on facts that are gone.
#[test]
fn of_a_decision_and_taking_its_list_back_at_once_one_wins() {
    for _ in 0..4 {
        scenario(async |world| {
            clara_is_ready(world).await;
            let late = "Troop,First name,Last name,Membership number,Screening,Screening valid until\n\
                        0101,Clara,Fontaine-Diallo,M-6,no,\n";
            let not_met = apply(&world.manager, &read(&world.manager, "role_list", "2040-01-09", late).await).await;
            not_met.expect(200);
            let good = late.replace("no,", "yes,2041-01-31");
            let good = apply(&world.manager, &read(&world.manager, "role_list", "2040-01-10", &good).await).await;
            let good = good.expect(200);
            let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
            let (back, appointed) =
                tokio::join!(reverse(&world.manager, &good), world.manager.post(&appoint, json!({})));
            let outcome = (back.status, appointed.status);
            assert!(outcome == (200, 409) || outcome == (409, 200), "{back}\n{appointed}");
            let loser = if back.status == 409 { &back } else { &appointed };
            assert!(["built_on", "requirements_open"].contains(&loser.text("/code").as_str()), "{loser}");
        });
    }
}

#[test]
fn what_a_list_says_otherwise_than_the_last_one_is_shown_row_by_row() {
    scenario(async |world| {
        role_list_applied(world).await;
        let first = world.manager.get("/intakes").await.expect(200).text("/items/0/intake_id");
        world.forward(days(7)).await;
        let newer = ROLE_LIST
            .replace("2040-09-30,yes", "2040-09-30,no")
            .replace("0103,Ines,Calloway,ines.calloway@example.org,555 0199,,,\n", "")
            .replace("Total: 5", "0103,Wei,Lindqvist,,,,,\nTotal: 5");
        let newer = read(&world.manager, "role_list", "2040-01-16", &newer).await;
        let differ = world.manager.get(&format!("{}/difference", address(&newer))).await.expect(200);
        assert_eq!(differ.at("/earlier/intake_id"), json!(first));
        assert_eq!(
            (differ.at("/came"), differ.at("/went"), differ.at("/changed")),
            (json!(1), json!(1), json!(1)),
            "{differ}"
        );
        assert_eq!(
            differ.at("/items/0/cells"),
            json!([{"column": "screening_outcome", "before": "met", "after": "not_met"}])
        );
        assert_eq!(differ.at("/items/1/name"), "Wei Lindqvist");
        assert_eq!(
            (differ.at("/items/2/difference"), differ.at("/items/2/name")),
            (json!("went"), json!("Ines Calloway"))
        );
        let page = world.manager.get(&format!("{}/difference?limit=2", address(&newer))).await.expect(200);
        let cursor = page.text("/next_cursor");
        let rest =
            world.manager.get(&format!("{}/difference?limit=2&cursor={cursor}", address(&newer))).await.expect(200);
        assert_eq!((rest.at("/items/0"), rest.at("/next_cursor")), (differ.at("/items/2"), Value::Null));
        let alone = world.manager.get(&format!("/intakes/{first}/difference")).await.expect(200);
        assert_eq!(alone.at("/earlier"), Value::Null);
    });
}

#[test]
fn a_kind_of_list_that_is_older_than_usual_shows_and_so_do_rows_that_wait() {
    scenario(async |world| {
        let kind = async || world.manager.get("/list-kinds").await.expect(200).at("/items/0");
        assert_eq!((&kind().await["kind"], &kind().await["newest_listed_on"]), (&json!("role_list"), &Value::Null));
        role_list_applied(world).await;
        world.forward(days(6)).await;
        let second = read(&world.manager, "role_list", "2040-01-13", &format!("{HEAD}{CLARA_ROW}")).await;
        apply(&world.manager, &second).await.expect(200);
        let seen = kind().await;
        assert_eq!(
            (&seen["usual_days"], &seen["days_old"], &seen["older_than_usual"]),
            (&json!(4), &json!(3), &json!(false)),
            "{seen}"
        );
        upload(&world.manager, "role_list", "2040-01-16", &format!("{HEAD}999,Bo,Ek,\n")).await.expect(202);
        world.forward(days(4)).await;
        for _ in 0..200 {
            if kind().await["waiting"].as_array().is_some_and(|lists| !lists.is_empty()) {
                break;
            }
        }
        let seen = kind().await;
        assert_eq!((&seen["days_old"], &seen["older_than_usual"]), (&json!(7), &json!(true)));
        assert_eq!((&seen["waiting"][0]["waiting_rows"], &seen["waiting"][0]["state"]), (&json!(1), &json!("ready")));
        world.viewer.get("/list-kinds").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn what_was_said_about_the_columns_of_one_list_is_not_asked_about_the_next() {
    scenario(async |world| {
        let first = read(&world.manager, "bank_details", "2040-01-09", "Troop,In the box\n0101,03/01/2040\n").await;
        assert_eq!(first.at("/state"), "needs_columns");
        let said = json!({
            "columns": [{"column": "received_on", "letter": "B"}],
            "date_orders": [{"column": "received_on", "order": "day_first"}]
        });
        let ready = world.manager.post(&format!("{}/columns", address(&first)), said).await.expect(200);
        apply(&world.manager, &ready).await.expect(200);
        let next = read(&world.manager, "bank_details", "2040-01-10", "No,Troop,IN THE BOX\n1,0102,04/01/2040\n").await;
        assert_eq!((next.at("/state"), next.at("/columns/columns/1/chosen_by")), (json!("ready"), json!("remembered")));
        let seen = rows(&world.manager, &next).await;
        assert_eq!(seen[0]["changes"][0]["sentence"], "Bank details form: met on 2040-01-04 for troop 0102.");
    });
}
