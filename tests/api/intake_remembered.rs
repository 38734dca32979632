//! Decisions about rows: what was decided about a row of an applied list holds for the same row of the next one, and rows
//! that wait for the same thing are decided at once, exactly those that were seen.

use serde_json::{Value, json};

use crate::intake::{address, apply, read, rows};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

/// Clara of a troop where nobody of that name is known, twice a troop that is unknown, and Clara where she is known.
const LIST: &str = "\
Troop,First name,Last name,E-mail
0102,Clara,Fontaine-Diallo,somebody@example.org
901,Ann,Lee,
902,Bo,Ek,
0101,Clara,Fontaine-Diallo,clara.fd@example.org
";

async fn decide(world: &World, intake: &Answered, row: u32, body: Value) -> Answered {
    world.manager.post(&format!("{}/rows/{row}/resolve", address(intake)), body).await.expect(200)
}

fn person(who: &fixture::Somebody) -> Value {
    json!(who.place.expect("a place").person)
}

/// The list applied: row 2 is Dov (whoever wrote the name), 3 and 4 are left out.
async fn decided_and_applied(world: &World) -> Answered {
    let intake = read(&world.manager, "role_list", "2040-01-09", LIST).await;
    assert_eq!(intake.at("/counts/waiting"), 3);
    decide(world, &intake, 2, json!({"decision": "person", "person_id": fixture::DOV})).await;
    let ready = decide(world, &intake, 3, json!({"decision": "leave_out", "all_like_this": true})).await;
    apply(&world.manager, &ready).await.expect(200)
}

#[test]
fn what_was_decided_about_a_row_holds_for_the_next_list_and_can_be_changed() {
    scenario(async |world| {
        let first = decided_and_applied(world).await;
        world.forward(days(7)).await;
        // The same row in other letters and with more in it; 902 is gone; a row that nobody has decided about.
        let newer = "Troop,First name,Last name,E-mail,Phone\n\
                     102,CLARA,Fontaine Diallo,Somebody@example.org,555 0177\n\
                     0901,Ann,Lee,,\n\
                     903,Cy,Ott,,\n";
        let intake = read(&world.manager, "role_list", "2040-01-16", newer).await;
        assert_eq!((intake.at("/counts/waiting"), intake.at("/counts/left_out")), (json!(1), json!(1)), "{intake}");
        let seen = rows(&world.manager, &intake).await;
        assert_eq!((&seen[0]["state"], &seen[0]["person_id"]), (&json!("person"), &json!(fixture::DOV)));
        assert_eq!(seen[0]["reason"], "as decided on 2040-01-10 for the list of 2040-01-09");
        assert_eq!(
            seen[0]["remembered"],
            json!({"intake_id": first.at("/intake_id"), "listed_on": "2040-01-09", "decided_on": "2040-01-10"})
        );
        assert_eq!(
            (&seen[1]["state"], &seen[1]["remembered"]["listed_on"]),
            (&json!("left_out"), &json!("2040-01-09"))
        );
        assert_eq!((&seen[2]["state"], &seen[2]["remembered"]), (&json!("unusable"), &Value::Null));
        // It can be decided otherwise, and taken back altogether.
        decide(world, &intake, 2, json!({"decision": "person", "person_id": person(&fixture::YESENIA)})).await;
        decide(world, &intake, 3, json!({"decision": "take_back"})).await;
        let seen = rows(&world.manager, &intake).await;
        assert_eq!((&seen[0]["person_id"], &seen[0]["remembered"]), (&person(&fixture::YESENIA), &Value::Null));
        assert_eq!((&seen[1]["state"], &seen[1]["remembered"]), (&json!("unusable"), &Value::Null));
        decide(world, &intake, 3, json!({"decision": "leave_out"})).await;
        let ready = decide(world, &intake, 4, json!({"decision": "leave_out"})).await;
        apply(&world.manager, &ready).await.expect(200);
        // The last word holds.
        world.forward(days(1)).await;
        let third = read(&world.manager, "role_list", "2040-01-17", newer).await;
        assert_eq!(third.at("/counts/waiting"), 0, "{third}");
        let seen = rows(&world.manager, &third).await;
        assert_eq!(seen[0]["person_id"], person(&fixture::YESENIA));
        assert_eq!(seen[0]["reason"], "as decided on 2040-01-17 for the list of 2040-01-16");
    });
}

#[test]
fn a_row_is_looked_at_again_where_it_would_wait_for_something_else() {
    scenario(async |world| {
        decided_and_applied(world).await;
        let new = json!({"number": "0901", "age_band": "juniors", "selling_youths": 5, "first_season": true});
        world.manager.post("/troops", new).await.expect(201);
        world.forward(days(1)).await;
        let intake = read(&world.manager, "role_list", "2040-01-10", LIST).await;
        let seen = rows(&world.manager, &intake).await;
        assert_eq!(
            (&seen[1]["state"], &seen[1]["remembered"]),
            (&json!("new_person"), &Value::Null),
            "its troop is known by now"
        );
        assert_eq!(seen[2]["state"], "left_out");
    });
}

#[test]
fn a_decision_follows_two_rows_that_are_one_person_and_ends_with_a_person_who_is_erased() {
    scenario(async |world| {
        decided_and_applied(world).await;
        let ida = json!({"first_name": "Ida", "last_name": "Holm"});
        let ida = world.manager.post("/people", ida).await.expect(201).text("/person_id");
        let merge = json!({"into_person_id": ida});
        let merged = world.manager.once_and_for_all("merge", fixture::DOV, merge).await;
        merged.expect(200);
        world.forward(days(1)).await;
        let intake = read(&world.manager, "role_list", "2040-01-10", LIST).await;
        let seen = rows(&world.manager, &intake).await;
        assert_eq!((&seen[0]["person_id"], &seen[0]["remembered"]["listed_on"]), (&json!(ida), &json!("2040-01-09")));
        world.manager.post(&format!("{}/discard", address(&intake)), json!({})).await.expect(200);
        world.manager.post(&format!("/people/{ida}/leave"), json!({"left_on": "2040-01-11"})).await.expect(200);
        world.manager.once_and_for_all("erase", &ida, json!({})).await.expect(200);
        let intake = read(&world.manager, "role_list", "2040-01-10", LIST).await;
        let seen = rows(&world.manager, &intake).await;
        assert_eq!((&seen[0]["state"], &seen[0]["remembered"]), (&json!("ask"), &Value::Null), "{seen:?}");
        assert_eq!(seen[1]["state"], "left_out", "what names nobody stays remembered");
    });
}

#[test]
fn a_list_taken_back_is_remembered_no_longer() {
    scenario(async |world| {
        let applied = decided_and_applied(world).await;
        world.manager.post(&format!("{}/reverse", address(&applied)), json!({})).await.expect(200);
        let again = read(&world.manager, "role_list", "2040-01-09", LIST).await;
        assert_eq!(again.at("/counts/waiting"), 3, "{again}");
    });
}

/// Who was taken for new is known from then on: the decision does not make the person known a second time.
#[test]
fn whoever_was_taken_for_new_is_that_person_on_the_next_list() {
    scenario(async |world| {
        let list = "Troop,First name,Last name\n0102,Clara,Fontaine-Diallo\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        let ready = decide(world, &intake, 2, json!({"decision": "new_person"})).await;
        assert_eq!(ready.at("/counts/new_people"), 1);
        apply(&world.manager, &ready).await.expect(200);
        world.forward(days(1)).await;
        let next = read(&world.manager, "role_list", "2040-01-10", list).await;
        assert_eq!((next.at("/counts/new_people"), next.at("/counts/waiting")), (json!(0), json!(0)), "{next}");
        let people = world.manager.get("/people?search=Fontaine").await.expect(200);
        assert_eq!(people.at("/items").as_array().expect("people").len(), 2);
    });
}

#[test]
fn rows_that_wait_for_one_thing_are_decided_at_once_and_only_those_that_were_seen() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", LIST).await;
        let path = format!("{}/waiting-reasons", address(&intake));
        let reasons = world.overseer.get(&path).await.expect(200);
        let items = reasons.at("/items");
        assert_eq!(items.as_array().expect("reasons").len(), 2, "{reasons}");
        assert_eq!(
            (&items[0]["waits_for"], &items[0]["rows"], &items[0]["row_numbers"], &items[0]["decisions"]),
            (&json!("unknown_troop"), &json!(2), &json!([3, 4]), &json!(["leave_out"]))
        );
        assert!(
            items[0]["for_example"]
                .as_str()
                .is_some_and(|why| why.starts_with("row 3: Ann Lee: read \"901\" in troop number"))
        );
        assert_eq!(
            (&items[1]["waits_for"], &items[1]["rows"], &items[1]["decisions"]),
            (&json!("same_name_other_troop"), &json!(1), &json!(["new_person", "leave_out"]))
        );
        let stamp = reasons.text("/preview");
        let send = format!("{}/resolve-by-reason", address(&intake));
        let leave_out = |stamp: &str| json!({"waits_for": "unknown_troop", "decision": "leave_out", "preview": stamp});
        world.overseer.post(&send, leave_out(&stamp)).await.expect_problem(403, "forbidden");
        let new = json!({"waits_for": "unknown_troop", "decision": "new_person", "preview": stamp});
        let refused = world.manager.post(&send, new).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/detail"), "one of: leave_out; or decide row by row");
        let nothing = json!({"waits_for": "several_fit", "decision": "leave_out", "preview": stamp});
        world.manager.post(&send, nothing).await.expect_problem(422, "invalid");
        // Somebody else decides a row meanwhile: what was seen is not what is there.
        decide(world, &intake, 3, json!({"decision": "leave_out"})).await;
        world.manager.post(&send, leave_out(&stamp)).await.expect_problem(409, "preview_stale");
        let stamp = world.manager.get(&path).await.expect(200).text("/preview");
        let ready = world.manager.post(&send, leave_out(&stamp)).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/left_out")), (json!(1), json!(2)));
        let new = json!({"waits_for": "same_name_other_troop", "decision": "new_person", "preview": ready.at("/etag")});
        let ready = world.manager.post(&send, new).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/new_people")), (json!(0), json!(1)));
        assert_eq!(world.manager.get(&path).await.expect(200).at("/items"), json!([]));
        apply(&world.manager, &ready).await.expect(200);
        let done = json!({"waits_for": "unknown_troop", "decision": "leave_out", "preview": "\"v1\""});
        world.manager.post(&send, done).await.expect_problem(409, "wrong_state");
    });
}

/// Something was wrong with the row that day: the next list may say it right.
#[test]
fn a_row_that_could_have_been_taken_is_left_out_of_one_list_alone() {
    scenario(async |world| {
        let intake = read(&world.manager, "bank_details", "2040-01-09", "Troop,Received on\n0101,2039-10-03\n").await;
        let ready = decide(world, &intake, 2, json!({"decision": "leave_out"})).await;
        apply(&world.manager, &ready).await.expect(200);
        let next = read(&world.manager, "bank_details", "2040-01-10", "Troop,Received on\n0101,2040-01-03\n").await;
        let seen = rows(&world.manager, &next).await;
        assert_eq!((&seen[0]["state"], &seen[0]["remembered"]), (&json!("troop"), &Value::Null));
        assert_eq!(next.at("/counts/facts"), 1);
    });
}
