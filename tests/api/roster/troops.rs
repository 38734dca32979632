//! Troops and their places in a season.

use serde_json::{Value, json};

use super::{each, person, places};
use crate::support::{fixture, scenario};

fn new_troop(number: &str) -> Value {
    json!({"number": number, "age_band": "juniors", "selling_youths": 11, "first_season": true, "meeting_place": "Mill hall"})
}

#[test]
fn a_coordinator_sees_the_own_troop_and_another_reads_as_missing() {
    scenario(async |world| {
        let own = world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        assert_eq!((own.at("/number"), own.at("/meeting_place")), (json!("0101"), json!("Room 0101")));
        assert_eq!((own.at("/selling_youths"), own.at("/first_season")), (json!(12), json!(false)));
        let other =
            world.clara.get(&format!("/troops/{}", fixture::OTHER_TROOP)).await.expect_problem(404, "not_found");
        let missing = world.clara.get(&format!("/troops/{}", fixture::NOTHING)).await.expect_problem(404, "not_found");
        assert_eq!((other.at("/detail"), other.at("/errors")), (missing.at("/detail"), missing.at("/errors")));
        let away = world.manager.get(&format!("/troops/{}", fixture::AWAY_TROOP)).await;
        away.expect_problem(404, "not_found");
        assert_eq!(each(&world.clara.get("/troops").await.expect(200), "number"), ["0101"]);
        assert_eq!(each(&world.manager.get("/troops").await.expect(200), "number"), ["0101", "0102", "0103"]);
        let refused = world.clara.patch(&format!("/troops/{}", fixture::TROOP), "\"v1\"", json!({"name": "x"})).await;
        refused.expect_problem(403, "forbidden");
    });
}

#[test]
fn where_a_troop_meets_is_hidden_from_a_viewer() {
    scenario(async |world| {
        for (who, place) in [
            (&world.manager, json!("Room 0101")),
            (&world.overseer, json!("Room 0101")),
            (&world.materials, json!("Room 0101")),
            (&world.distributor, json!("Room 0101")),
            (&world.viewer, json!(null)),
        ] {
            let troop = who.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
            assert_eq!(troop.at("/meeting_place"), place, "{}", who.name);
            let listed = who.get("/troops?number=101").await.expect(200);
            assert_eq!(listed.at("/items/0/meeting_place"), place, "{}", who.name);
        }
    });
}

#[test]
fn troop_numbers_differ_by_more_than_leading_zeros_and_come_in_the_order_of_counting() {
    scenario(async |world| {
        let made = world.manager.post("/troops", new_troop("0412")).await.expect(201);
        assert_eq!((made.at("/number"), made.at("/in_season")), (json!("0412"), json!(true)));
        assert_eq!(made.header("location"), format!("/v1/units/{}/troops/{}", fixture::UNIT, made.text("/troop_id")));
        for again in ["412", " 412 ", "00412"] {
            world.manager.post("/troops", new_troop(again)).await.expect_problem(409, "number_taken");
        }
        for number in ["1000", "9"] {
            world.manager.post("/troops", new_troop(number)).await.expect(201);
        }
        let first = world.manager.get("/troops?limit=4").await.expect(200);
        assert_eq!(each(&first, "number"), ["9", "0101", "0102", "0103"]);
        assert!(first.header("link").contains("rel=\"next\""), "{first}");
        let rest =
            world.manager.get(&format!("/troops?limit=4&cursor={}", first.text("/next_cursor"))).await.expect(200);
        assert_eq!(each(&rest, "number"), ["0412", "1000"]);
        assert_eq!(each(&world.manager.get("/troops?number=00009").await.expect(200), "number"), ["9"]);
        assert_eq!(each(&world.manager.get("/troops?search=TROOP%20010").await.expect(200), "number").len(), 3);
        let other_filter = format!("/troops?limit=4&search=x&cursor={}", first.text("/next_cursor"));
        world.manager.get(&other_filter).await.expect_problem(400, "bad_cursor");
        world.manager.get("/troops?sort=name").await.expect_problem(400, "bad_parameter");
        world.manager.get("/troops?limit=0").await.expect_problem(422, "invalid");
        let bad = json!({"number": " ", "age_band": " ", "selling_youths": 501, "first_season": true});
        let refused = world.manager.post("/troops", bad).await.expect_problem(422, "invalid");
        let mut named = places(&refused);
        named.sort_unstable();
        assert_eq!(named, ["/age_band", "/number", "/selling_youths"]);
    });
}

#[test]
fn a_troop_sent_twice_under_one_key_is_one_troop() {
    scenario(async |world| {
        let first = world.manager.post("/troops", new_troop("0500")).key("troop-0500-once").await.expect(201);
        let again = world.manager.post("/troops", new_troop("0500")).key("troop-0500-once").await.expect(201);
        assert_eq!((first.body, again.header("idempotency-replayed")), (again.body.clone(), "true"));
        world
            .manager
            .post("/troops", new_troop("0501"))
            .key("troop-0500-once")
            .await
            .expect_problem(422, "idempotency_key_reused");
    });
}

#[test]
fn a_troop_of_an_earlier_season_takes_part_when_its_place_is_said_in_full() {
    scenario(async |world| {
        let path = format!("/troops/{}", fixture::TROOP);
        let changed =
            world.manager.patch(&path, "\"v1\"", json!({"selling_youths": 14, "name": "Kestrels"})).await.expect(200);
        assert_eq!((changed.at("/selling_youths"), changed.at("/name")), (json!(14), json!("Kestrels")));
        assert_eq!(changed.text("/etag"), "\"v2\"");
        world.manager.patch(&path, "\"v1\"", json!({"name": "x"})).await.expect_problem(412, "version_stale");
        let next = json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31"});
        let next = world.manager.post("/seasons", next).await.expect(201);
        let season = format!("/seasons/{}", next.text("/season_id"));
        world.manager.patch(&season, &next.etag(), json!({"is_current": true})).await.expect(200);
        let troop = world.manager.get(&path).await.expect(200);
        assert_eq!((troop.at("/in_season"), troop.at("/age_band")), (json!(false), json!(null)));
        let refused = world.manager.patch(&path, "\"v2\"", json!({"selling_youths": 10})).await;
        assert_eq!(places(&refused.expect_problem(422, "invalid")), ["/age_band"]);
        let named = json!({"troop_id": fixture::TROOP, "person_id": fixture::DOV, "lead": true});
        world.manager.post("/assignments", named).await.expect_problem(409, "wrong_state");
        let place = json!({"selling_youths": 10, "age_band": "seniors"});
        let troop = world.manager.patch(&path, "\"v2\"", place).await.expect(200);
        assert_eq!((troop.at("/in_season"), troop.at("/first_season")), (json!(true), json!(false)));
        let before = world.manager.get(&format!("{path}?season={}", fixture::SEASON)).await.expect(200);
        assert_eq!((before.at("/selling_youths"), before.at("/age_band")), (json!(14), json!("juniors")));
        let unknown = world.manager.get(&format!("{path}?season={}", fixture::AWAY_SEASON)).await;
        unknown.expect_problem(422, "unknown_reference");
    });
}

#[test]
fn a_contact_of_a_troop_is_known_and_sees_nothing_by_it() {
    scenario(async |world| {
        let vacant = format!("/troops/{}/contacts", fixture::VACANT_TROOP);
        let leader = world.manager.get(&vacant).await.expect(200);
        assert_eq!(
            (leader.at("/items/0/duty"), leader.at("/items/0/person_id")),
            (json!("leader"), json!(fixture::DOV))
        );
        let yesenia = person(&fixture::YESENIA);
        let made = world.manager.post(&vacant, json!({"person_id": yesenia, "duty": "treasurer"})).await.expect(201);
        assert_eq!(made.at("/ended_at"), json!(null));
        world.yesenia.get(&format!("/troops/{}", fixture::VACANT_TROOP)).await.expect_problem(404, "not_found");
        world.yesenia.get(&vacant).await.expect_problem(404, "not_found");
        world.viewer.get(&vacant).await.expect_problem(403, "forbidden");
        let again = world.manager.post(&vacant, json!({"person_id": yesenia, "duty": "treasurer"})).await;
        again.expect_problem(409, "conflict");
        let end = format!("{vacant}/{yesenia}/treasurer/end");
        world.manager.post(&end, json!({})).await.expect(200);
        world.manager.post(&end, json!({})).await.expect_problem(409, "already_ended");
        world.manager.post(&format!("{vacant}/{yesenia}/mascot/end"), json!({})).await.expect_problem(404, "not_found");
        world.manager.post(&vacant, json!({"person_id": yesenia, "duty": "treasurer"})).await.expect(201);
        let own = format!("/troops/{}/contacts", fixture::TROOP);
        assert_eq!(world.clara.get(&own).await.expect(200).at("/items"), json!([]));
        world.manager.post(&own, json!({"person_id": fixture::DOV, "duty": "other"})).await.expect(201);
        assert_eq!(each(&world.clara.get("/people").await.expect(200), "first_name"), ["Dov", "Clara", "Piotr"]);
        let unknown = json!({"person_id": person(&fixture::STRANGER), "duty": "leader"});
        let refused = world.manager.post(&own, unknown).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/person_id"]);
        let page = world.manager.get(&format!("{vacant}?limit=1")).await.expect(200);
        let next =
            world.manager.get(&format!("{vacant}?limit=1&cursor={}", page.text("/next_cursor"))).await.expect(200);
        assert_eq!(next.at("/items/0/person_id"), json!(fixture::DOV));
    });
}
