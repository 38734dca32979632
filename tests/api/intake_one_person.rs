//! One person in two spellings, and one row that fits two people: a person says who is meant.

use serde_json::{Value, json};

use crate::intake::{address, apply, read, rows};
use crate::support::client::Answered;
use crate::support::scenario;
use crate::support::world::World;

/// One new person in two spellings, the second in two troops; somebody who shares the address; and Clara, who is
/// known.
const LIST: &str = "\
Troop,First name,Last name,E-mail,Membership number,Membership valid until
0101,Fatoumata,Diallo,diallo@example.org,T-5006,2040-09-30
0102,Fatou,Diallo,diallo@example.org,,
0103,Fatou,Diallo,diallo@example.org,,
0103,Ibrahim,Diallo,diallo@example.org,,
0101,Clara,Fontaine-Diallo,,M-6,
";

async fn decide(world: &World, intake: &Answered, row: u32, body: Value) -> Answered {
    world.manager.post(&format!("{}/rows/{row}/resolve", address(intake)), body).await
}

async fn diallos(world: &World) -> Vec<String> {
    let people = world.manager.get("/people?search=Diallo").await.expect(200);
    let items = people.at("/items");
    let named = items.as_array().expect("people").iter().filter(|one| one["last_name"] == "Diallo");
    named.map(|one| one["first_name"].as_str().expect("a name").to_owned()).collect()
}

#[test]
fn one_new_person_in_two_spellings_is_asked_about_and_can_be_the_same() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", LIST).await;
        assert_eq!((intake.at("/counts/waiting"), intake.at("/counts/new_people")), (json!(1), json!(2)), "{intake}");
        let seen = rows(&world.manager, &intake).await;
        assert_eq!((&seen[1]["state"], &seen[1]["waits_for"]), (&json!("ask"), &json!("looks_like_row")));
        assert_eq!(
            (&seen[1]["candidates"][0]["row_number"], &seen[1]["candidates"][0]["person_id"]),
            (&json!(2), &Value::Null)
        );
        assert_eq!(seen[1]["also_on_rows"], json!([4]));
        apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        for (wrong, pointer) in [
            (json!({"decision": "same_as_row"}), "/same_as_row"),
            (json!({"decision": "same_as_row", "same_as_row": 3}), "/same_as_row"),
            (json!({"decision": "same_as_row", "same_as_row": 99}), "/same_as_row"),
            (json!({"decision": "new_person", "same_as_row": 2}), "/same_as_row"),
            (json!({"decision": "same_as_row", "same_as_row": 2, "all_like_this": true}), "/all_like_this"),
        ] {
            let refused = decide(world, &intake, 3, wrong).await.expect_problem(422, "invalid");
            assert_eq!(refused.text("/errors/0/pointer"), pointer);
        }
        let same = json!({"decision": "same_as_row", "same_as_row": 2});
        let ready = decide(world, &intake, 3, same).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/new_people")), (json!(0), json!(2)), "{ready}");
        let seen = rows(&world.manager, &ready).await;
        assert_eq!(
            seen[1]["changes"][0]["sentence"],
            "Fatoumata Diallo is proposed as co-coordinator of troop 0102; a person confirms it."
        );
        assert_eq!(
            seen[2]["changes"][0]["sentence"],
            "Fatoumata Diallo is proposed as lead coordinator of troop 0103; a person confirms it.",
            "whoever plainly is the same goes along"
        );
        apply(&world.manager, &ready).await.expect(200);
        assert_eq!(diallos(world).await, ["Fatoumata", "Ibrahim"]);
    });
}

#[test]
fn one_new_person_in_two_spellings_can_be_two_people() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", LIST).await;
        let ready = decide(world, &intake, 3, json!({"decision": "new_person"})).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/new_people")), (json!(0), json!(3)), "{ready}");
        apply(&world.manager, &ready).await.expect(200);
        assert_eq!(diallos(world).await, ["Fatou", "Fatoumata", "Ibrahim"]);
    });
}

/// Rows that are the same by decision may contradict each other as any others.
#[test]
fn rows_that_a_person_called_the_same_are_held_against_each_other() {
    scenario(async |world| {
        let list =
            LIST.replace("0102,Fatou,Diallo,diallo@example.org,,", "0102,Fatou,Diallo,diallo@example.org,,2040-10-31");
        let intake = read(&world.manager, "role_list", "2040-01-09", &list).await;
        let same = json!({"decision": "same_as_row", "same_as_row": 2});
        let asks = decide(world, &intake, 3, same).await.expect(200);
        assert_eq!(asks.at("/counts/waiting"), 2, "{asks}");
        let ready = decide(world, &intake, 3, json!({"decision": "this_row_holds"})).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/new_people")), (json!(0), json!(2)), "{ready}");
        let seen = rows(&world.manager, &ready).await;
        let facts = |row: &Value| {
            let of = row["changes"].as_array().expect("changes").iter();
            of.filter(|change| change["requirement"] == "membership")
                .map(|change| change["sentence"].clone())
                .collect::<Vec<_>>()
        };
        assert_eq!(facts(&seen[0]), Vec::<Value>::new());
        assert_eq!(facts(&seen[1]), ["Current membership: met on 2040-01-09 for Fatoumata Diallo, until 2040-10-31."]);
        apply(&world.manager, &ready).await.expect(200);
        // nobody is asked again about what is settled, and which row was right is asked anew
        let next = read(&world.manager, "role_list", "2040-01-10", &list).await;
        let waits: Vec<_> = rows(&world.manager, &next).await.iter().map(|row| row["waits_for"].clone()).collect();
        assert_eq!(waits[0], Value::Null, "{next}");
    });
}

#[test]
fn a_row_with_the_number_of_one_and_the_address_and_name_of_another_asks() {
    scenario(async |world| {
        let person = async |first: &str, more: Value| -> Value {
            let mut body = json!({"first_name": first, "last_name": "Haddad"});
            body.as_object_mut().expect("a map").extend(more.as_object().expect("a map").clone());
            world.manager.post("/people", body).await.expect(201).at("/person_id")
        };
        let by_address = person("Nadia", json!({"email": "nadia.haddad@example.org"})).await;
        let by_number = person("Nadja", json!({"membership_number": "T-5017"})).await;
        let list = "Troop,First name,Last name,E-mail,Membership number\n\
                    0102,Nadia,Haddad,nadia.haddad@example.org,T-5017\n\
                    0103,Yusuf,Haddad,nadia.haddad@example.org,T-5018\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        let seen = rows(&world.manager, &intake).await;
        assert_eq!((&seen[0]["state"], &seen[0]["reason_code"]), (&json!("ask"), &json!("email_conflicts")));
        let candidates: Vec<_> =
            seen[0]["candidates"].as_array().expect("candidates").iter().map(|one| one["person_id"].clone()).collect();
        assert_eq!(candidates, [by_address.clone(), by_number]);
        assert_eq!(seen[1]["state"], "new_person", "a family shares an address");
        let ready = decide(world, &intake, 2, json!({"decision": "person", "person_id": by_address})).await.expect(200);
        apply(&world.manager, &ready).await.expect(200);
    });
}

#[test]
fn whoever_has_the_address_is_among_those_who_may_be_meant() {
    scenario(async |world| {
        let olu = json!({"first_name": "Oluwaseun", "last_name": "Adeyemi", "email": "o.adeyemi@example.org"});
        let olu = world.manager.post("/people", olu).await.expect(201).at("/person_id");
        let list = "Name,E-mail,Course,Completed on\n\
                    \"Adeyemi, Seun\",o.adeyemi@example.org,yearly_training,2040-01-05\n\
                    Bruno Silva,o.adeyemi@example.org,yearly_training,2040-01-05\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", list).await;
        let seen = rows(&world.manager, &intake).await;
        let asked: Vec<_> = seen.iter().map(|row| (&row["reason_code"], &row["candidates"][0]["person_id"])).collect();
        assert_eq!(asked, [(&json!("email_but_other_first_name"), &olu), (&json!("unknown_person"), &olu)]);
    });
}
