//! Posted lists over HTTP: upload, preview, resolve, apply; what is refused; and that nothing happens twice.

use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

/// Rows 2 to 6 and a closing line. Clara by her number though the zeros of the troop are gone, Piotr by the shared form of
/// his address, Yesenia by name and troop though misspelled, Ines new, and a Clara of another troop who may be anybody.
pub(super) const ROLE_LIST: &str = "\
Troop,First name,Last name,E-mail,Phone,Membership number,Membership valid until,Screening
101,Clara,Fontaine-Diallo,,,M-6,2040-09-30,yes
0101,Piotr,Wanjiru ,PIOTR.WANJIRU@example.org,,,2039-12-31,pending
0103,Ines,Calloway,ines.calloway@example.org,555 0199,,,
0102,Yesenia,Bergquist,,,,,
0102,Clara,Fontaine-Diallo,somebody@example.org,,,,
Total: 5,,,,,,,
";

pub(super) const BANK_LIST: &str = "Troop,Received on\n0101,03/01/2040\n0102,04/01/2040\n";

pub(super) async fn upload(who: &Caller, kind: &str, listed_on: &str, file: &str) -> Answered {
    let path = format!("/intakes?kind={kind}&file_name={kind}.csv&listed_on={listed_on}");
    who.ask(reqwest::Method::POST, &path).bytes("text/csv", file).await
}

/// Uploads a list and asks until it is read.
pub(crate) async fn read(who: &Caller, kind: &str, listed_on: &str, file: &str) -> Answered {
    let taken = upload(who, kind, listed_on, file).await.expect(202);
    until_read(who, taken.header("location")).await
}

/// Asks for a list until it is read.
pub(super) async fn until_read(who: &Caller, address: &str) -> Answered {
    let deadline = std::time::Instant::now() + std::time::Duration::from_mins(1);
    loop {
        let intake = who.get(address).await.expect(200);
        if intake.at("/state") != "reading" {
            return intake;
        }
        assert!(std::time::Instant::now() < deadline, "still being read: {intake}");
    }
}

pub(super) fn address(intake: &Answered) -> String {
    format!("/intakes/{}", intake.text("/intake_id"))
}

pub(super) async fn apply(who: &Caller, intake: &Answered) -> Answered {
    who.post(&format!("{}/apply", address(intake)), json!({"preview": intake.at("/etag")})).await
}

async fn resolve(who: &Caller, intake: &Answered, row: u32, body: Value) -> Answered {
    who.post(&format!("{}/rows/{row}/resolve", address(intake)), body).await
}

pub(super) async fn rows(who: &Caller, intake: &Answered) -> Vec<Value> {
    let page = who.get(&format!("{}/rows", address(intake))).await.expect(200);
    page.at("/items").as_array().expect("rows").clone()
}

/// The role list uploaded, its one waiting row left out.
async fn resolved(world: &World, listed_on: &str, file: &str) -> Answered {
    let intake = read(&world.manager, "role_list", listed_on, file).await;
    resolve(&world.manager, &intake, 6, json!({"decision": "leave_out"})).await.expect(200)
}

#[test]
fn a_role_list_is_previewed_with_reasons_resolved_and_applied() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", ROLE_LIST).await;
        assert_eq!(
            (intake.at("/state"), intake.at("/counts/rows"), intake.at("/counts/waiting")),
            (json!("ready"), json!(5), json!(1))
        );
        assert_eq!(intake.at("/skipped_rows"), json!([{"row_number": 7, "reason": "footer", "text": "Total: 5"}]));
        let seen = rows(&world.manager, &intake).await;
        let states: Vec<_> = seen.iter().map(|row| (&row["row_number"], &row["state"], &row["reason_code"])).collect();
        let expected = [
            (json!(2), json!("person"), json!("membership_number")),
            (json!(3), json!("person"), json!("email_and_first_name")),
            (json!(4), json!("new_person"), json!("nobody_fits")),
            (json!(5), json!("person"), json!("name_and_troop")),
            (json!(6), json!("ask"), json!("same_name_other_troop")),
        ];
        assert_eq!(states, expected.iter().map(|(row, state, code)| (row, state, code)).collect::<Vec<_>>());
        assert_eq!(seen[0]["person_id"], json!(fixture::CLARA.place.expect("a place").person));
        let waiting = world.manager.get(&format!("{}/rows?needs_a_person=true", address(&intake))).await.expect(200);
        assert_eq!(waiting.at("/items/0/row_number"), 6);
        assert_eq!(waiting.at("/items/1"), Value::Null);

        let refused = apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        assert!(refused.text("/errors/0/detail").starts_with("row 6: Clara"), "{refused}");
        let ready = resolve(&world.manager, &intake, 6, json!({"decision": "leave_out"})).await.expect(200);
        apply(&world.manager, &intake).await.expect_problem(409, "preview_stale");
        let applied = apply(&world.manager, &ready).await.expect(200);
        assert_eq!(applied.at("/state"), "applied");
        let counts = applied.at("/counts");
        // 2: membership, registration, screening; 3: membership not met, registration; 4: new, proposed, registration;
        // 5: registration
        assert_eq!(
            (&counts["changes"], &counts["new_people"], &counts["proposals"], &counts["facts"]),
            (&json!(9), &json!(1), &json!(1), &json!(7))
        );
        let people = world.manager.get("/people?search=Calloway").await.expect(200);
        assert_eq!(people.at("/items/0/first_name"), "Ines");
        let proposed = world.manager.get("/assignments").await.expect(200);
        let of_ines: Vec<Value> = proposed
            .at("/items")
            .as_array()
            .expect("assignments")
            .iter()
            .filter(|one| one["person_id"] == people.at("/items/0/person_id"))
            .cloned()
            .collect();
        assert_eq!((of_ines.len(), &of_ines[0]["confirmed_at"]), (1, &Value::Null), "a list only proposes");
        apply(&world.manager, &ready).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn the_same_file_twice_changes_nothing_and_a_newer_list_with_three_changes_changes_three() {
    scenario(async |world| {
        apply(&world.manager, &resolved(world, "2040-01-09", ROLE_LIST).await).await.expect(200);
        world.forward(days(3)).await;
        for listed_on in ["2040-01-09", "2040-01-12"] {
            let again = resolved(world, listed_on, ROLE_LIST).await;
            assert_eq!((again.at("/counts/changes"), again.at("/counts/waiting")), (json!(0), json!(0)), "{again}");
            assert_ne!(again.at("/same_file_as"), Value::Null);
            let applied = apply(&world.manager, &again).await.expect(200);
            assert_eq!(applied.text("/next_step"), "It was applied and changed nothing.");
        }
        let newer = ROLE_LIST
            .replace("2040-09-30,yes", "2040-09-30,no")
            .replace("2039-12-31,pending", "2040-12-31,pending")
            .replace("0102,Yesenia,Bergquist,,,,,", "0102,Yesenia,Bergquist,,,,2040-11-30,");
        let newer = resolved(world, "2040-01-12", &newer).await;
        assert_eq!(newer.at("/counts/changes"), 3, "{newer}");
        let sentences: Vec<_> = rows(&world.manager, &newer)
            .await
            .iter()
            .flat_map(|row| row["changes"].as_array().expect("changes").clone())
            .map(|change| (change["requirement"].clone(), change["outcome"].clone()))
            .collect();
        let expected = [("screening", "not_met"), ("membership", "met"), ("membership", "met")];
        assert_eq!(sentences, expected.map(|(code, outcome)| (json!(code), json!(outcome))));
        apply(&world.manager, &newer).await.expect(200);
    });
}

#[test]
fn of_two_previews_applied_at_once_one_wins() {
    scenario(async |world| {
        let (one, other) =
            (resolved(world, "2040-01-09", ROLE_LIST).await, resolved(world, "2040-01-09", ROLE_LIST).await);
        let (first, second) = tokio::join!(apply(&world.manager, &one), apply(&world.manager, &other));
        let mut statuses = [first.status, second.status];
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 409], "{first}\n{second}");
        let (loser, answer) = if first.status == 409 { (&one, &first) } else { (&other, &second) };
        assert_eq!(answer.text("/code"), "preview_stale");
        assert!(answer.text("/errors/0/detail").starts_with("row 2 "), "{answer}");
        let now = world.manager.get(&address(loser)).await.expect(200);
        assert_eq!(now.at("/counts/changes"), 0, "the other list said it all: {now}");
        apply(&world.manager, &now).await.expect(200);
    });
}

#[test]
fn one_preview_applied_twice_at_once_is_applied_once() {
    scenario(async |world| {
        let intake = resolved(world, "2040-01-09", ROLE_LIST).await;
        let (one, other) = tokio::join!(apply(&world.manager, &intake), apply(&world.manager, &intake));
        let mut statuses = [one.status, other.status];
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 409]);
        let people = world.manager.get("/people?search=Calloway").await.expect(200);
        assert_eq!(people.at("/items").as_array().expect("people").len(), 1);
    });
}

#[test]
fn a_preview_is_refused_after_the_roster_has_changed() {
    scenario(async |world| {
        let intake = resolved(world, "2040-01-09", ROLE_LIST).await;
        let ines =
            world.manager.post("/people", json!({"first_name": "Ines", "last_name": "Calloway"})).await.expect(201);
        let stale = apply(&world.manager, &intake).await.expect_problem(409, "preview_stale");
        assert_eq!(stale.at("/errors").as_array().expect("rows").len(), 1);
        assert!(stale.text("/errors/0/detail").starts_with("row 4 "), "{stale}");
        let now = world.manager.get(&address(&intake)).await.expect(200);
        assert_eq!(
            (now.at("/counts/new_people"), now.at("/counts/waiting")),
            (json!(0), json!(1)),
            "a name alone asks"
        );
        let she = json!({"decision": "person", "person_id": ines.at("/person_id")});
        let ready = resolve(&world.manager, &now, 4, she).await.expect(200);
        assert_eq!(ready.at("/counts/filled_in"), 2, "address and phone number: {ready}");
        apply(&world.manager, &ready).await.expect(200);
    });
}

#[test]
fn days_that_nobody_can_order_are_asked_and_then_read() {
    scenario(async |world| {
        let intake = read(&world.manager, "bank_details", "2040-01-09", BANK_LIST).await;
        assert_eq!(
            (intake.at("/state"), intake.at("/columns/undecided_dates")),
            (json!("needs_columns"), json!(["received_on"]))
        );
        apply(&world.manager, &intake).await.expect_problem(409, "wrong_state");
        let path = format!("{}/columns", address(&intake));
        let wrong = json!({"date_orders": [{"column": "troop_number", "order": "day_first"}]});
        world.manager.post(&path, wrong).await.expect_problem(422, "invalid");
        let wrong = json!({"columns": [{"column": "received_on", "letter": "Q"}]});
        world.manager.post(&path, wrong).await.expect_problem(422, "invalid");
        let chosen = json!({"date_orders": [{"column": "received_on", "order": "day_first"}]});
        let ready = world.manager.post(&path, chosen).await.expect(200);
        assert_eq!((ready.at("/state"), ready.at("/counts/facts")), (json!("ready"), json!(2)));
        let seen = rows(&world.manager, &ready).await;
        assert_eq!(seen[0]["changes"][0]["sentence"], "Bank details form: met on 2040-01-03 for troop 0101.");
        apply(&world.manager, &ready).await.expect(200);
    });
}

#[test]
fn certificates_below_the_mark_are_recorded_and_strangers_are_asked_about() {
    scenario(async |world| {
        let list = "Name,E-mail,Course,Completed on,Score\n\
                    Clara Fontaine-Diallo,clara.fd@example.org,Yearly training,2040-01-05,79.9\n\
                    Nobody Known,nobody@example.org,yearly_training,2040-01-05,90\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", list).await;
        assert_eq!((intake.at("/counts/facts"), intake.at("/counts/waiting")), (json!(1), json!(1)));
        resolve(&world.manager, &intake, 3, json!({"decision": "new_person"})).await.expect_problem(422, "invalid");
        let nobody = json!({"decision": "person", "person_id": fixture::NOTHING});
        resolve(&world.manager, &intake, 3, nobody).await.expect_problem(422, "unknown_reference");
        let piotr = json!({"decision": "person", "person_id": fixture::PIOTR.place.expect("a place").person});
        let ready = resolve(&world.manager, &intake, 3, piotr).await.expect(200);
        let seen = rows(&world.manager, &ready).await;
        assert_eq!(
            seen[0]["changes"][0]["sentence"],
            "Yearly training: recorded on 2040-01-05 for Clara Fontaine-Diallo, 79 %; it closes nothing, since 79 is under 80."
        );
        assert_eq!(seen[1]["reason_code"], "decided_by_person");
        apply(&world.manager, &ready).await.expect(200);
    });
}

#[test]
fn all_rows_like_this_are_decided_at_once_and_a_decision_can_be_taken_back() {
    scenario(async |world| {
        let list = "Troop,First name,Last name\n901,Ann,Lee\n902,Bo,Ek\n0103,Ines,Calloway\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        assert_eq!(intake.at("/counts/waiting"), 2);
        let all = json!({"decision": "leave_out", "all_like_this": true});
        let ready = resolve(&world.manager, &intake, 2, all).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/left_out")), (json!(0), json!(2)));
        let back = resolve(&world.manager, &intake, 3, json!({"decision": "take_back"})).await.expect(200);
        assert_eq!((back.at("/counts/waiting"), back.at("/counts/left_out")), (json!(1), json!(1)));
        resolve(&world.manager, &intake, 99, json!({"decision": "leave_out"})).await.expect_problem(404, "not_found");
    });
}
