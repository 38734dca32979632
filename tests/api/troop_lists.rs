//! Troop lists over HTTP: what head office says of the unit's troops becomes known, and can be taken back.

use serde_json::{Value, json};

use crate::intake::{address, apply, read, rows, until_read};
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

/// 0101 has 14 youths where 12 are known and meets elsewhere, 0102 is as it is known, 0188 is new, 0103 is left out.
const TROOPS: &str = "\
Troop number,Name,Age band,Meeting place,Selling youths,First season
101,TROOP 0101,Junior,Library,14,no
0102,,seniors,room 0102,nine,yes
0188,Larks,Juniors,Old mill,8 girls,new
Total,3,,,31,
";

async fn complete(who: &Caller, listed_on: &str, file: &str) -> Answered {
    let path = format!("/intakes?kind=troop_list&file_name=troops.csv&listed_on={listed_on}&complete=true");
    let taken = who.ask(reqwest::Method::POST, &path).bytes("text/csv", file.to_owned()).await.expect(202);
    until_read(who, taken.header("location")).await
}

async fn troop(world: &World, number: &str) -> Value {
    let found = world.manager.get(&format!("/troops?number={number}")).await.expect(200);
    found.at("/items/0")
}

fn changes(rows: &[Value]) -> Vec<(Value, Value, Value)> {
    let all = rows.iter().flat_map(|row| row["changes"].as_array().expect("changes").clone());
    all.map(|change| (change["field"].clone(), change["before"].clone(), change["after"].clone())).collect()
}

#[test]
fn a_troop_list_shows_from_and_to_is_applied_and_says_it_once() {
    scenario(async |world| {
        let intake = complete(&world.manager, "2040-01-09", TROOPS).await;
        let counts = intake.at("/counts");
        assert_eq!(
            (&counts["rows"], &counts["waiting"], &counts["new_troops"], &counts["troop_changes"], &counts["absences"]),
            (&json!(3), &json!(0), &json!(1), &json!(3), &json!(1)),
            "{intake}"
        );
        assert_eq!(
            intake.text("/next_step"),
            "Look at the 4 changes, then apply the list. 1 troop of the season is not on this complete list; nothing ends by that."
        );
        assert_eq!(
            (intake.at("/absences/0/troop_id"), intake.at("/absences/0/requirement")),
            (json!(fixture::VACANT_TROOP), Value::Null)
        );
        let seen = rows(&world.manager, &intake).await;
        assert_eq!(
            changes(&seen),
            [
                (json!("meeting_place"), json!("Room 0101"), json!("Library")),
                (json!("selling_youths"), json!("12"), json!("14")),
                (Value::Null, Value::Null, Value::Null),
                (json!("meeting_place"), Value::Null, json!("Old mill")),
            ]
        );
        assert_eq!(
            seen[0]["changes"][1]["sentence"],
            "The number of selling youths of troop 0101 becomes 14; it was 12."
        );
        assert_eq!(
            seen[2]["changes"][0]["sentence"],
            "Troop 0188 Larks becomes known: juniors, 8 selling youths, its first season."
        );
        let before = troop(world, "101").await;
        let applied = apply(&world.manager, &intake).await.expect(200);
        assert_eq!(applied.text("/next_step"), "It was applied with 4 changes. Nothing more is to be done.");
        let known = troop(world, "101").await;
        assert_eq!(
            (&known["number"], &known["name"], &known["age_band"], &known["selling_youths"], &known["meeting_place"]),
            (&json!("0101"), &json!("Troop 0101"), &json!("juniors"), &json!(14), &json!("Library"))
        );
        assert_ne!(known["etag"], before["etag"], "whoever is about to change the troop by hand is told");
        let new = troop(world, "188").await;
        assert_eq!(
            (&new["number"], &new["kind"], &new["in_season"], &new["first_season"], &new["meeting_place"]),
            (&json!("0188"), &json!("troop"), &json!(true), &json!(true), &json!("Old mill"))
        );
        let standing = world.manager.get("/standings?troop=188").await.expect(200);
        assert_eq!(standing.at("/items/0/state"), "vacant", "{standing}");
        assert!(troop(world, "103").await["in_season"] == true, "being left out ends nothing");
        world.forward(days(1)).await;
        for listed_on in ["2040-01-09", "2040-01-11"] {
            let again = complete(&world.manager, listed_on, TROOPS).await;
            assert_eq!(again.at("/counts/changes"), 0, "{again}");
            assert!(again.text("/next_step").starts_with("Everything on this list is known"), "{again}");
            apply(&world.manager, &again).await.expect(200);
        }
    });
}

#[test]
fn a_troop_list_taken_back_leaves_the_troops_as_they_were() {
    scenario(async |world| {
        let before = troop(world, "101").await;
        let applied = apply(&world.manager, &complete(&world.manager, "2040-01-09", TROOPS).await).await.expect(200);
        let new = troop(world, "188").await;
        let path = format!("/troops/{}", fixture::TROOP);
        let etag = troop(world, "101").await["etag"].as_str().expect("a version").to_owned();
        world.manager.patch(&path, &etag, json!({"meeting_place": "Barn"})).await.expect(200);
        let back = world.manager.post(&format!("{}/reverse", address(&applied)), json!({})).await.expect(200);
        assert_eq!(back.at("/state"), "reversed");
        let after = troop(world, "101").await;
        assert_eq!(after["selling_youths"], before["selling_youths"]);
        assert_eq!(after["meeting_place"], "Barn", "what a person has said since stays");
        assert_eq!(troop(world, "188").await, Value::Null);
        let gone = format!("/troops/{}", new["troop_id"].as_str().expect("an id"));
        world.manager.get(&gone).await.expect_problem(404, "not_found");
        // Once more, and then somebody is named for the new troop: now something stands on the list.
        let again = apply(&world.manager, &complete(&world.manager, "2040-01-09", TROOPS).await).await.expect(200);
        let id = troop(world, "188").await["troop_id"].clone();
        let named = json!({"troop_id": id, "person_id": fixture::DOV, "lead": true});
        world.manager.post("/assignments", named).await.expect(201);
        let refused = world.manager.post(&format!("{}/reverse", address(&again)), json!({})).await;
        let refused = refused.expect_problem(409, "built_on");
        let detail = refused.text("/errors/0/detail");
        assert!(detail.starts_with("troop 0188 takes part in this season by this list and has a coordinator since"));
        let sit_out = format!("/troops/{}/sit-out", id.as_str().expect("an id"));
        assert!(detail.contains(&format!("POST /v1/units/{}{sit_out}", fixture::UNIT)), "{detail}");
        world.manager.post(&sit_out, json!({"reason": "It is another unit's."})).await.expect(200);
    });
}

#[test]
fn names_that_two_troops_have_swapped_are_asked_about() {
    scenario(async |world| {
        let list = "Troop,Name,Youths\n0101,Troop 0102,12\n0102,Troop 0101,9\n0103,Foxes,7\n";
        let intake = read(&world.manager, "troop_list", "2040-01-09", list).await;
        assert_eq!(
            (intake.at("/counts/waiting"), intake.at("/counts/troop_changes")),
            (json!(2), json!(1)),
            "{intake}"
        );
        let seen = rows(&world.manager, &intake).await;
        assert_eq!(
            (&seen[0]["state"], &seen[0]["reason_code"]),
            (&json!("ask"), &json!("name_of_another_troop")),
            "{seen:?}"
        );
        apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        let resolve = format!("{}/rows/2/resolve", address(&intake));
        let person = json!({"decision": "person", "person_id": fixture::DOV});
        world.manager.post(&resolve, person).await.expect_problem(422, "invalid");
        let as_listed = json!({"decision": "as_listed", "all_like_this": true});
        let ready = world.manager.post(&resolve, as_listed).await.expect(200);
        assert_eq!((ready.at("/counts/waiting"), ready.at("/counts/troop_changes")), (json!(0), json!(3)));
        // Three names of three troops: more than the policy lets pass unasked.
        let braked = apply(&world.manager, &ready).await.expect_problem(409, "mass_change");
        assert!(braked.text("/errors/0/detail").starts_with("0 of 3 people and 3 of 3 troops"), "{braked}");
        let body = json!({"preview": ready.at("/etag"), "confirm_touched": 3});
        world.manager.post(&format!("{}/apply", address(&ready)), body).await.expect(200);
        assert_eq!(troop(world, "101").await["name"], "Troop 0102");
        let people = "Name,E-mail,Course,Completed on\nClara Fontaine-Diallo,clara.fd@example.org,x,2040-01-05\n";
        let people = read(&world.manager, "certificates", "2040-01-09", people).await;
        let path = format!("{}/rows/2/resolve", address(&people));
        world.manager.post(&path, json!({"decision": "as_listed"})).await.expect_problem(422, "invalid");
    });
}

#[test]
fn a_troop_of_an_earlier_season_gets_its_place_and_a_row_that_lacks_one_says_what() {
    scenario(async |world| {
        let season = json!({
            "label": "2041", "time_zone": "America/Chicago", "currency": "USD",
            "starts_on": "2040-01-01", "ends_on": "2041-05-31", "overlaps": true
        });
        let made = world.manager.post("/seasons", season).await.expect(201);
        let path = format!("/seasons/{}", made.text("/season_id"));
        world.manager.patch(&path, &made.etag(), json!({"is_current": true})).await.expect(200);
        let list = "Troop,Name,Age band,Youths\n0101,Troop 0101,Junior,13\n0102,Troop 0102,,9\n";
        let intake = read(&world.manager, "troop_list", "2040-01-09", list).await;
        assert_eq!(
            (intake.at("/counts/waiting"), intake.at("/counts/placed_troops")),
            (json!(1), json!(1)),
            "{intake}"
        );
        let refused = apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        assert_eq!(
            refused.text("/errors/0/detail"),
            "row 3: Troop 0102: read nothing in age band, expected an age band: the troop is known from an earlier season and has no place in this one yet; add it to the list, or leave the row out"
        );
        let path = format!("{}/rows/3/resolve", address(&intake));
        let ready = world.manager.post(&path, json!({"decision": "leave_out"})).await.expect(200);
        let seen = rows(&world.manager, &ready).await;
        assert_eq!(
            seen[0]["changes"][0]["sentence"],
            "Troop 0101 takes part in this season: Junior, 13 selling youths, taken as returning, since the list does not say whether it is new."
        );
        let applied = apply(&world.manager, &ready).await.expect(200);
        assert_eq!(troop(world, "101").await["selling_youths"], 13);
        assert_eq!(troop(world, "102").await["in_season"], false);
        world.manager.post(&format!("{}/reverse", address(&applied)), json!({})).await.expect(200);
        let known = troop(world, "101").await;
        assert_eq!((&known["in_season"], &known["name"]), (&json!(false), &json!("Troop 0101")), "it stays known");
    });
}

#[test]
fn another_units_troop_list_is_not_applied_without_a_second_word() {
    scenario(async |world| {
        let list = "Troop,Name,Age band,Youths\n0701,A,juniors,5\n0702,B,juniors,6\n0703,C,juniors,7\n";
        let intake = read(&world.manager, "troop_list", "2040-01-09", list).await;
        assert_eq!(intake.at("/counts/unfamiliar_rows"), 3);
        let step = intake.text("/next_step");
        assert!(step.starts_with("Hardly anything on this list is known here: 3 of its 3 rows"), "{step}");
        let refused = apply(&world.manager, &intake).await.expect_problem(409, "unfamiliar_list");
        assert_eq!(refused.at("/errors/0/pointer"), "/confirm_unfamiliar");
        let body = |unknown: u32| json!({"preview": intake.at("/etag"), "confirm_unfamiliar": unknown});
        let path = format!("{}/apply", address(&intake));
        world.manager.post(&path, body(2)).await.expect_problem(409, "unfamiliar_list");
        world.manager.post(&path, body(3)).await.expect(200);
        assert_eq!(troop(world, "701").await["name"], "A");
    });
}

/// A key that may read lists but no people sees that a place changes and not where minors gather.
#[test]
fn meeting_places_are_withheld_from_whoever_may_not_read_people() {
    scenario(async |world| {
        let intake = complete(&world.manager, "2040-01-09", TROOPS).await;
        let key = json!({"name": "Lists", "unit_id": fixture::UNIT, "permissions": ["intakes.read"]});
        let made = world.manager.post("/v1/keys", key).await.expect(201);
        let script = world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"));
        let seen = rows(&script, &intake).await;
        assert!(!json!(seen).to_string().contains("Library"), "{seen:?}");
        let withheld = changes(&seen);
        assert_eq!(withheld[0], (json!("meeting_place"), Value::Null, Value::Null));
        assert_eq!(withheld[1], (json!("selling_youths"), json!("12"), json!("14")));
        apply(&world.manager, &intake).await.expect(200);
        world.forward(days(1)).await;
        let newer =
            complete(&world.manager, "2040-01-10", &TROOPS.replace("Library", "Barn").replace("nine", "10")).await;
        let path = format!("{}/difference", address(&newer));
        let differ = script.get(&path).await.expect(200);
        assert!(!differ.json().to_string().contains("Barn"), "{differ}");
        assert_eq!(differ.at("/changed"), 1);
        assert_eq!(world.manager.get(&path).await.expect(200).at("/changed"), 2);
    });
}

/// Whether a season is a troop's first decides what is asked of it: a decision taken since stands on what the list said.
#[test]
fn a_decision_about_a_troop_that_a_list_called_new_keeps_the_list() {
    scenario(async |world| {
        let list = "Troop,First season,Youths\n0101,yes,12\n0102,yes,11\n0103,no,7\n";
        let applied = apply(&world.manager, &read(&world.manager, "troop_list", "2040-01-09", list).await).await;
        let applied = applied.expect(200);
        assert_eq!(troop(world, "101").await["first_season"], true);
        let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        let asked = standing.at("/standing/coordinators/0/requirements").to_string();
        assert!(asked.contains("first_season_course"), "the standing was computed anew: {asked}");
        let reverse = format!("{}/reverse", address(&applied));
        // Only what the list described decides: a decision about 0102, whose youths alone it changed, keeps nothing.
        let other = format!("/assignments/{}/suspend", fixture::YESENIAS_ASSIGNMENT);
        world.manager.post(&other, json!({"reason": "Asked to."})).await.expect(200);
        world.manager.post(&reverse, json!({})).await.expect(200);
        assert_eq!(troop(world, "101").await["first_season"], false);
        world.forward(days(1)).await;
        let applied = apply(&world.manager, &read(&world.manager, "troop_list", "2040-01-10", list).await).await;
        let applied = applied.expect(200);
        let suspend = format!("/assignments/{}/suspend", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&suspend, json!({"reason": "Asked to."})).await.expect(200);
        let path = format!("{}/reverse", address(&applied));
        let refused = world.manager.post(&path, json!({})).await.expect_problem(409, "built_on");
        let detail = refused.text("/errors/0/detail");
        assert!(detail.starts_with("a decision about troop 0101 was taken since: suspend, on 2040-01-11"), "{detail}");
        assert!(detail.contains("It cannot be undone") && detail.contains("/evidence)"), "{detail}");
    });
}
