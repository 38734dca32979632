//! Units: who may make one, what one sees of one's own, and the log.

use serde_json::json;

use crate::support::{days, fixture, scenario};

#[test]
fn another_unit_reads_as_not_found_and_as_one_that_does_not_exist() {
    scenario(async |world| {
        let own = world.clara.get(&format!("/v1/units/{}", fixture::UNIT)).await.expect(200);
        assert_eq!(own.at("/name"), "Juniper Ridge");
        assert_eq!(own.at("/your_roles"), json!(["troop_coordinator"]));
        assert_eq!(own.at("/your_troop_ids"), json!([fixture::TROOP]));
        for unit in [fixture::AWAY_UNIT.to_string(), fixture::NOTHING.to_string(), "rubbish".to_owned()] {
            world.clara.get(&format!("/v1/units/{unit}")).await.expect_problem(404, "not_found");
        }
        world.administrator.get(&format!("/v1/units/{}", fixture::UNIT)).await.expect_problem(404, "not_found");
        world.nobody.get(&format!("/v1/units/{}", fixture::UNIT)).await.expect_problem(401, "not_signed_in");
    });
}

#[test]
fn the_administrator_makes_a_unit_and_sees_nothing_of_it() {
    scenario(async |world| {
        let new = json!({"name": "Alder Bend", "manager": {"first_name": "Ilse", "last_name": "Mbeki", "email": "ilse.mbeki@example.org"}});
        world.manager.post("/v1/units", new.clone()).await.expect_problem(403, "forbidden");
        let made = world.administrator.post("/v1/units", new).await.expect(201);
        let unit = made.text("/unit_id");
        assert_eq!(made.header("location"), format!("/v1/units/{unit}"));
        assert!(made.text("/invitation_link").starts_with("https://sale.example.org/invitation#"));
        world.administrator.get(&format!("/v1/units/{unit}")).await.expect_problem(404, "not_found");
    });
}

#[test]
fn the_log_is_for_the_manager_and_whoever_oversees_the_manager() {
    scenario(async |world| {
        for reader in [&world.manager, &world.overseer] {
            let log = reader.get("/log").await.expect(200);
            assert_eq!(log.json(), json!({"items": [], "next_cursor": null}));
        }
        for other in [&world.materials, &world.distributor, &world.viewer, &world.clara] {
            let refused = other.get("/log").await.expect_problem(403, "forbidden");
            assert!(refused.text("/detail").contains("log.read"), "{refused}");
        }
    });
}

#[test]
fn a_key_lives_by_the_real_clock_and_not_by_the_seasons() {
    scenario(async |world| {
        let new =
            json!({"name": "wall display", "unit_id": fixture::UNIT, "permissions": ["units.read"], "lasts_days": 1});
        let made = world.clara.post("/v1/keys", new).await.expect(201);
        let script = world.clara.with_key(&made.text("/key/key_id"), made.text("/secret"));
        world.forward(days(400)).await;
        world.tick().await;
        script.get(&format!("/v1/units/{}", fixture::UNIT)).await.expect(200);
    });
}
