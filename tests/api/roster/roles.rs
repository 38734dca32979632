//! Roles in the unit: given, ended, and running out.

use serde_json::json;

use super::{each, grant, person, places};

use crate::support::{days, fixture, scenario};

#[test]
fn a_role_given_for_a_week_is_gone_after_it() {
    scenario(async |world| {
        let other = format!("/troops/{}", fixture::OTHER_TROOP);
        world.clara.get(&other).await.expect_problem(404, "not_found");
        let week = json!({"person_id": person(&fixture::CLARA), "role": "materials_coordinator", "until_at": "2040-01-17T16:00:00Z"});
        let given = world.manager.post("/grants", week.clone()).await.expect(201);
        assert_eq!((given.at("/role"), given.at("/ended_at")), (json!("materials_coordinator"), json!(null)));
        world.manager.post("/grants", week).await.expect_problem(409, "role_held");
        world.clara.get(&other).await.expect(200);
        world.forward(days(8)).await;
        world.clara.get(&other).await.expect_problem(404, "not_found");
        let open = format!("/grants?open=true&person={}", person(&fixture::CLARA));
        assert_eq!(each(&world.overseer.get(&open).await.expect(200), "role"), [""; 0]);
        let ended = world.manager.post(&format!("/grants/{}/end", given.text("/grant_id")), json!({})).await;
        ended.expect_problem(409, "already_ended");
    });
}

/// Nobody held a role before it was given, whatever is typed; a clock may be a little slow.
#[test]
fn a_role_is_not_given_backwards() {
    scenario(async |world| {
        let from = |at: &str| json!({"person_id": person(&fixture::CLARA), "role": "viewer", "from_at": at});
        let refused = world.manager.post("/grants", from("2040-01-01T16:00:00Z")).await.expect_problem(422, "invalid");
        assert_eq!(
            (refused.at("/errors/0/pointer"), refused.at("/errors/0/code")),
            (json!("/from_at"), json!("too_early"))
        );
        let given = world.manager.post("/grants", from("2040-01-10T15:58:00Z")).await.expect(201);
        assert!(given.text("/from_at").as_str() > "2040-01-10T15:59:50Z", "{given}");
    });
}

#[test]
fn a_role_that_ends_is_gone_with_the_next_request() {
    scenario(async |world| {
        world.overseer.get("/log").await.expect(200);
        let path = format!("/grants/{}/end", grant(&fixture::OVERSEER));
        let ended = world.manager.post(&path, json!({})).await.expect(200);
        assert!(ended.at("/ended_at").is_string(), "{ended}");
        world.overseer.get("/log").await.expect_problem(404, "not_found");
        world.manager.post(&path, json!({})).await.expect_problem(409, "already_ended");
        world
            .manager
            .post(&format!("/grants/{}/end", fixture::NOTHING), json!({}))
            .await
            .expect_problem(404, "not_found");
        world
            .manager
            .post(&format!("/grants/{}/end", grant(&fixture::STRANGER)), json!({}))
            .await
            .expect_problem(404, "not_found");
    });
}

#[test]
fn the_unit_keeps_a_manager_who_can_sign_in() {
    scenario(async |world| {
        let own = format!("/grants/{}/end", grant(&fixture::MANAGER));
        world.manager.post(&own, json!({})).await.expect_problem(409, "last_unit_manager");
        // Somebody without an account cannot manage anything, and a deputy's week ends.
        for new in [
            json!({"person_id": fixture::DOV, "role": "unit_manager"}),
            json!({"person_id": person(&fixture::CLARA), "role": "unit_manager", "until_at": "2040-01-20T00:00:00Z"}),
        ] {
            world.manager.post("/grants", new).await.expect(201);
            world.manager.post(&own, json!({})).await.expect_problem(409, "last_unit_manager");
        }
        let new = json!({"person_id": person(&fixture::OVERSEER), "role": "unit_manager"});
        world.manager.post("/grants", new).await.expect(201);
        world.manager.post(&own, json!({})).await.expect(200);
        world.manager.get("/troops").await.expect_problem(404, "not_found");
        world.overseer.get("/grants").await.expect(200);
    });
}

#[test]
fn two_managers_who_end_each_other_leave_one() {
    scenario(async |world| {
        let new = json!({"person_id": person(&fixture::OVERSEER), "role": "unit_manager"});
        let second = world.manager.post("/grants", new).await.expect(201);
        let one = world.manager.post(&format!("/grants/{}/end", second.text("/grant_id")), json!({}));
        let other = world.overseer.post(&format!("/grants/{}/end", grant(&fixture::MANAGER)), json!({}));
        let (one, other) = futures_util::future::join(async { one.await.status }, async { other.await.status }).await;
        assert!([one, other].contains(&200), "{one} {other}");
        assert!(one != other, "both managers are gone: {one} {other}");
    });
}

#[test]
fn a_role_needs_a_known_person_and_an_end_ahead() {
    scenario(async |world| {
        let unknown = json!({"person_id": person(&fixture::STRANGER), "role": "viewer"});
        let refused = world.manager.post("/grants", unknown).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/person_id"]);
        let past = json!({"person_id": fixture::DOV, "role": "viewer", "until_at": "2040-01-01T00:00:00Z"});
        let refused = world.manager.post("/grants", past).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/until_at"]);
        let coordinator = json!({"person_id": fixture::DOV, "role": "troop_coordinator"});
        world.manager.post("/grants", coordinator).await.expect_problem(422, "invalid");
        let admin = json!({"person_id": fixture::DOV, "role": "administrator"});
        world.manager.post("/grants", admin).await.expect_problem(422, "invalid");
        world
            .clara
            .post("/grants", json!({"person_id": fixture::DOV, "role": "viewer"}))
            .await
            .expect_problem(403, "forbidden");
    });
}
