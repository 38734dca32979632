//! Two rows of one list that contradict each other: neither is taken before a person has chosen.

use serde_json::{Value, json};

use crate::intake::{address, apply, read, rows};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

/// Clara twice, with two ends of her membership and two screenings; Piotr twice, and once the list is silent about him.
const LIST: &str = "\
Troop,First name,Last name,Membership number,Membership valid until,Screening
0101,Clara,Fontaine-Diallo,M-6,2040-09-30,yes
0101,Clara,Fontaine-Diallo,M-6,2039-10-30,no
0101,Piotr,Wanjiru,M-7,2040-09-30,
0102,Piotr,Wanjiru,M-7,,pending
";

async fn decide(world: &World, intake: &Answered, row: u32, body: Value) -> Answered {
    world.manager.post(&format!("{}/rows/{row}/resolve", address(intake)), body).await
}

async fn membership(world: &World) -> Value {
    let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
    let clara = json!(fixture::CLARA.place.expect("a place").person);
    let coordinators = standing.at("/standing/coordinators");
    let of = coordinators.as_array().expect("coordinators").iter().find(|one| one["person_id"] == clara).cloned();
    let asked = of.expect("the coordinator")["requirements"].as_array().expect("requirements").clone();
    asked.iter().find(|one| one["requirement"] == "membership").expect("membership")["valid_until_on"].clone()
}

#[test]
fn rows_that_contradict_wait_for_a_person_and_the_one_that_is_chosen_is_taken() {
    scenario(async |world| {
        // what the first row says is known already: the second is no better for being last
        let first = LIST.split_inclusive('\n').take(2).collect::<String>();
        let known = read(&world.manager, "role_list", "2040-01-09", &first).await;
        apply(&world.manager, &known).await.expect(200);
        assert_eq!(membership(world).await, "2040-09-30");
        let intake = read(&world.manager, "role_list", "2040-01-10", LIST).await;
        assert_eq!(intake.at("/counts/waiting"), 2, "{intake}");
        let seen = rows(&world.manager, &intake).await;
        let states: Vec<_> = seen.iter().map(|row| (&row["state"], &row["waits_for"], &row["reason_code"])).collect();
        let (ask, contradict) = (json!("ask"), json!("rows_contradict"));
        assert_eq!(states[..2], [(&ask, &contradict, &contradict), (&ask, &contradict, &contradict)]);
        assert_eq!(
            (&states[2].0, &states[3].0),
            (&&json!("person"), &&json!("person")),
            "one of Piotr's rows is silent"
        );
        assert_eq!(
            seen[0]["reason"],
            "rows contradict each other. Current membership: until 2040-09-30 here, until 2039-10-30 on row 3; Background screening on file: not the same here and on row 3. Say which row is right (this_row_holds), or leave one out (leave_out)"
        );
        assert_eq!(
            seen[1]["contradictions"],
            json!([
                {"requirement": "membership", "rows": [2], "says": "until 2039-10-30", "they_say": "until 2040-09-30"},
                {"requirement": "screening", "rows": [2], "says": "not met", "they_say": "met"}
            ])
        );
        let refused = apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        assert_eq!(refused.at("/errors").as_array().expect("rows").len(), 2, "{refused}");
        let reasons = world.manager.get(&format!("{}/waiting-reasons", address(&intake))).await.expect(200);
        assert_eq!(
            (reasons.at("/items/0/row_numbers"), reasons.at("/items/0/decisions")),
            (json!([2, 3]), json!(["leave_out"]))
        );
        decide(world, &intake, 4, json!({"decision": "this_row_holds"})).await.expect_problem(422, "invalid");
        let ready = decide(world, &intake, 3, json!({"decision": "this_row_holds"})).await.expect(200);
        assert_eq!(ready.at("/counts/waiting"), 0, "{ready}");
        let seen = rows(&world.manager, &ready).await;
        let note = &seen[0]["problems"][0];
        assert_eq!((&note["code"], &note["read"]), (&json!("rows_contradict"), &json!("Current membership")));
        assert_eq!(note["expected"], "what row 3 says of it, which a person chose; this row says something else");
        assert_eq!(
            seen[1]["changes"][0]["sentence"],
            "Current membership: not met on 2040-01-10 for Clara Fontaine-Diallo."
        );
        // the other one after all
        let ready = decide(world, &intake, 2, json!({"decision": "this_row_holds"})).await.expect(200);
        let seen = rows(&world.manager, &ready).await;
        assert_eq!((&seen[0]["problems"], &seen[1]["changes"]), (&json!([]), &json!([])), "{seen:?}");
        apply(&world.manager, &ready).await.expect(200);
        assert_eq!(membership(world).await, "2040-09-30");
    });
}

#[test]
fn leaving_one_of_them_out_is_an_answer_for_this_list_alone() {
    scenario(async |world| {
        let list = LIST.split_inclusive('\n').take(3).collect::<String>();
        let intake = read(&world.manager, "role_list", "2040-01-09", &list).await;
        let ready = decide(world, &intake, 3, json!({"decision": "leave_out"})).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/left_out")), (json!(0), json!(1)));
        apply(&world.manager, &ready).await.expect(200);
        assert_eq!(membership(world).await, "2040-09-30");
        let next = read(&world.manager, "role_list", "2040-01-10", &list.replace("2039-10-30", "2040-03-31")).await;
        assert_eq!((next.at("/counts/waiting"), next.at("/counts/left_out")), (json!(2), json!(0)), "{next}");
        // a key that may not read screenings is told that something differs, and not what
        let key = json!({"name": "Lists", "unit_id": fixture::UNIT, "permissions": ["intakes.read"]});
        let made = world.manager.post("/v1/keys", key).await.expect(201);
        let script = world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"));
        let seen = rows(&script, &next).await;
        assert_eq!(
            seen[1]["contradictions"][1],
            json!({"requirement": "screening", "rows": [2], "says": null, "they_say": null})
        );
        assert!(!json!(seen).to_string().contains("not met"), "{seen:?}");
    });
}
