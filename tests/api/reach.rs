//! How far somebody reaches, and when that ends: what a second role must not widen, and what is over with a season, an end
//! that was settled beforehand, or the role under which a key was made.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{
    CLARA, DOV, OTHER_TROOP, PIOTR, PIOTRS_ASSIGNMENT, SEASON, Somebody, TROOP, UNIT, VIEWER, YESENIA, grant,
};
use crate::support::world::World;
use crate::support::{days, scenario};

fn person(who: &Somebody) -> uuid::Uuid {
    who.place.expect("a place").person
}

fn text(answer: &Answered) -> String {
    String::from_utf8_lossy(&answer.body).into_owned()
}

async fn give(world: &World, who: &Somebody, role: &str) {
    world.manager.post("/grants", json!({"person_id": person(who), "role": role})).await.expect(201);
}

/// The own troop as a coordinator sees it, every other one as a viewer does.
#[test]
fn whoever_coordinates_one_troop_and_views_the_others_sees_nobody_of_the_others() {
    scenario(async |world| {
        give(world, &CLARA, "viewer").await;
        let (own, other) = (format!("/standings/{TROOP}"), format!("/standings/{OTHER_TROOP}"));
        let seen = world.clara.get(&other).await.expect(200);
        assert_eq!((seen.at("/people"), seen.at("/standing/coordinators")), (json!([]), json!([])), "{seen}");
        assert_eq!(seen.at("/standing/next_step"), Value::Null);
        assert_eq!(seen.at("/standing"), world.viewer.get(&other).await.expect(200).at("/standing"));
        assert!(!text(&seen).contains("Bergqvist"), "{seen}");
        assert_eq!(world.clara.get(&own).await.expect(200).at("/people/0/name"), "Clara Fontaine-Diallo");
        let listed = world.clara.get("/standings").await.expect(200);
        let shows_a_step = |number: &str| {
            let rows = listed.at("/items");
            let row = rows.as_array().expect("rows").iter().find(|row| row["number"] == number).cloned();
            !row.expect("the troop")["next_step"].is_null()
        };
        assert_eq!(["0101", "0102", "0103"].map(shows_a_step), [true, false, false], "{listed}");
    });
}

/// The season of the tests ends with 31 May 2040; its clock begins on 10 January, 142 days before.
#[test]
fn a_coordinators_reach_ends_with_the_season_once_the_unit_works_in_the_next() {
    scenario(async |world| {
        let next = json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD",
            "starts_on": "2040-09-01", "ends_on": "2041-05-31"});
        let made = world.manager.post("/seasons", next).await.expect(201);
        let season = format!("/seasons/{}", made.text("/season_id"));
        world.manager.patch(&season, &made.text("/etag"), json!({"is_current": true})).await.expect(200);
        world.forward(days(142)).await;
        world.clara.get(&format!("/troops/{TROOP}")).await.expect(200);
        world.forward(days(1)).await;
        for who in [&world.clara, &world.piotr, &world.yesenia] {
            who.get("/people").await.expect_problem(404, "not_found");
            who.get(&format!("/troops/{TROOP}")).await.expect_problem(404, "not_found");
            let report = json!({"troop_id": TROOP, "requirement": "bank_details"});
            who.post("/my-steps/reports", report).await.expect_problem(404, "not_found");
        }
        // Whoever is named anew reaches the troop again, and not those who coordinated it before.
        let troop = format!("/troops/{TROOP}");
        let etag = world.manager.get(&troop).await.expect(200).text("/etag");
        let place = json!({"age_band": "juniors", "selling_youths": 10, "first_season": false});
        world.manager.patch(&troop, &etag, place).await.expect(200);
        let named = json!({"person_id": person(&CLARA), "troop_id": TROOP, "lead": true});
        world.manager.post("/assignments", named).await.expect(201);
        world.clara.get(&troop).await.expect(200);
        let before = format!("/people/{}", person(&PIOTR));
        world.clara.get(&before).await.expect_problem(404, "not_found");
        world.clara.get(&format!("{before}/contact")).await.expect_problem(404, "not_found");
        let file = world.clara.get(&format!("/roster-export?format=csv&season={SEASON}")).await.expect(200);
        let file = text(&file);
        assert!(file.contains("0101") && !file.contains("Wanjiru") && !file.contains("piotr.wanjiru"), "{file}");
        world.manager.get(&before).await.expect(200);
    });
}

#[test]
fn a_season_that_is_over_still_counts_until_the_unit_works_in_another() {
    scenario(async |world| {
        world.forward(days(200)).await;
        world.clara.get(&format!("/troops/{TROOP}")).await.expect(200);
        world.clara.get(&format!("/people/{}/contact", person(&PIOTR))).await.expect(200);
    });
}

#[test]
fn a_deputy_whose_week_is_over_is_not_seen_by_the_troop_any_more() {
    scenario(async |world| {
        let week = json!({"person_id": DOV, "troop_id": TROOP, "lead": false, "until_at": "2040-01-17T16:00:00Z"});
        world.manager.post("/assignments", week).await.expect(201);
        let deputy = format!("/people/{DOV}");
        world.clara.get(&deputy).await.expect(200);
        world.forward(days(8)).await;
        world.clara.get(&deputy).await.expect_problem(404, "not_found");
        world.clara.get(&format!("{deputy}/contact")).await.expect_problem(404, "not_found");
        let listed = world.clara.get("/people").await.expect(200);
        assert!(!text(&listed).contains("Achterberg"), "{listed}");
    });
}

async fn key_of(owner: &Caller, permissions: &[&str]) -> Caller {
    let new = json!({"name": "night script", "unit_id": UNIT, "permissions": permissions, "lasts_days": 365});
    let made = owner.post("/v1/keys", new).await.expect(201);
    owner.with_key(&made.text("/key/key_id"), made.text("/secret"))
}

#[test]
fn a_role_given_later_neither_widens_a_key_nor_brings_it_back() {
    scenario(async |world| {
        let script = key_of(&world.viewer, &["troops.read", "people.read", "people.change"]).await;
        script.get("/troops").await.expect(200);
        give(world, &VIEWER, "unit_manager").await;
        world.viewer.get("/people").await.expect(200);
        script.get("/people").await.expect_problem(403, "forbidden");
        let somebody = json!({"first_name": "Odalys", "last_name": "Fairweather"});
        script.post("/people", somebody.clone()).await.expect_problem(403, "forbidden");
        world.manager.post(&format!("/grants/{}/end", grant(&VIEWER)), json!({})).await.expect(200);
        world.viewer.get("/troops").await.expect(200);
        script.get("/troops").await.expect_problem(404, "not_found");
        give(world, &VIEWER, "viewer").await;
        script.get("/troops").await.expect_problem(404, "not_found");
        let anew = key_of(&world.viewer, &["people.change"]).await;
        anew.post("/people", somebody).await.expect(201);
    });
}

/// A coordinator's role is the assignment.
#[test]
fn a_key_made_before_an_assignment_does_not_reach_its_troop() {
    scenario(async |world| {
        let script = key_of(&world.yesenia, &["people.read"]).await;
        let named = json!({"person_id": person(&YESENIA), "troop_id": TROOP, "lead": false});
        world.manager.post("/assignments", named).await.expect(201);
        let piotr = format!("/people/{}", person(&PIOTR));
        world.yesenia.get(&piotr).await.expect(200);
        script.get(&piotr).await.expect_problem(404, "not_found");
        script.get(&format!("/people/{}", person(&YESENIA))).await.expect(200);
    });
}

/// Clara and Piotr coordinate troop 0101 at first; the clock of the tests begins on 10 January 2040 at 16:00.
#[test]
fn whoever_stays_sees_nobody_who_went_in_an_earlier_standing() {
    scenario(async |world| {
        world.forward(days(2)).await;
        let path = format!("/standings/{TROOP}?as_of=2040-01-11T16:00:00Z");
        for who in [&world.manager, &world.clara] {
            let before = text(&who.get(&path).await.expect(200));
            assert!(before.contains("Piotr") && before.contains("Clara"), "{before}");
        }
        let stand_down = format!("/assignments/{PIOTRS_ASSIGNMENT}/stand-down");
        world.manager.post(&stand_down, json!({"reason": "Moved away."})).await.expect(200);
        let seen = text(&world.clara.get(&path).await.expect(200));
        assert!(seen.contains("Clara") && !seen.contains("Piotr"), "{seen}");
        assert!(!seen.contains(&person(&PIOTR).to_string()), "{seen}");
        let listed = text(&world.clara.get("/standings?as_of=2040-01-11T16:00:00Z").await.expect(200));
        assert!(listed.contains("0101") && !listed.contains(&person(&PIOTR).to_string()), "{listed}");
        assert!(text(&world.manager.get(&path).await.expect(200)).contains("Piotr"));
    });
}

#[test]
fn a_page_marker_that_was_made_up_is_refused() {
    scenario(async |world| {
        let first = world.manager.get("/troops?limit=1").await.expect(200);
        let marker = first.text("/next_cursor");
        world.manager.get(&format!("/troops?limit=1&cursor={marker}")).await.expect(200);
        let mut bytes = URL_SAFE_NO_PAD.decode(&marker).expect("base64");
        let place = bytes.iter().rposition(|byte| *byte == b'1').expect("a digit");
        bytes[place] = b'2';
        let made_up = URL_SAFE_NO_PAD.encode(bytes);
        world.manager.get(&format!("/troops?limit=1&cursor={made_up}")).await.expect_problem(400, "bad_cursor");
    });
}

#[test]
fn a_key_learns_neither_its_owners_address_nor_what_other_keys_there_are() {
    scenario(async |world| {
        let first = key_of(&world.manager, &["troops.read"]).await;
        key_of(&world.manager, &["standings.read"]).await;
        let me = first.get("/v1/me").await.expect(200);
        assert_eq!((me.at("/email"), me.at("/administrator")), (Value::Null, json!(false)), "{me}");
        assert_eq!(me.at("/units/0/unit_id"), json!(UNIT), "{me}");
        let keys = first.get("/v1/keys").await.expect(200);
        assert_eq!(keys.at("/items").as_array().map(Vec::len), Some(1), "{keys}");
        assert_eq!(keys.at("/items/0/permissions"), json!(["troops.read"]));
        assert_eq!(world.manager.get("/v1/keys").await.expect(200).at("/items").as_array().map(Vec::len), Some(2));
        assert!(text(&world.manager.get("/v1/me").await.expect(200)).contains("@example.org"));
    });
}

#[test]
fn why_somebody_was_replaced_is_not_read_by_who_comes() {
    scenario(async |world| {
        let replace = format!("/assignments/{PIOTRS_ASSIGNMENT}/replace");
        let change = json!({"person_id": DOV, "reason": "Did not answer.", "note": "The key of the cupboard."});
        world.manager.post(&replace, change).await.expect(201);
        let path = format!("/troops/{TROOP}/take-overs");
        let seen = world.clara.get(&path).await.expect(200);
        assert_eq!(
            (seen.at("/items/0/reason"), seen.at("/items/0/note")),
            (Value::Null, json!("The key of the cupboard."))
        );
        assert_eq!(world.manager.get(&path).await.expect(200).at("/items/0/reason"), json!("Did not answer."));
    });
}
