//! Copying a policy from an earlier season, with the milestones that the later one lacks.

use serde_json::{Value, json};
use uuid::Uuid;

use crate::standings::clara_is_ready;
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

fn policy_of(season: impl std::fmt::Display) -> String {
    format!("/seasons/{season}/policy")
}

/// Another season of the unit.
async fn next_season(world: &World) -> String {
    let next = json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31"});
    world.manager.post("/seasons", next).await.expect(201).text("/season_id")
}

async fn add_milestone(world: &World, season: impl std::fmt::Display, new: Value) {
    world.manager.post(&format!("/seasons/{season}/milestones"), new).await.expect(201);
}

async fn copy(world: &World, from: impl std::fmt::Display, into: impl std::fmt::Display) -> Answered {
    world.manager.post(&format!("{}/copy", policy_of(into)), json!({"from_season_id": from.to_string()})).await
}

/// The policy of a season, changed and put in force.
async fn change(world: &World, season: &str, change: impl Fn(&mut Value)) -> Value {
    let seen = world.manager.get(&policy_of(season)).await.expect(200);
    let mut policy = seen.at("/policy");
    change(&mut policy);
    world.manager.put(&policy_of(season), &seen.etag(), policy.clone()).await.expect(200);
    policy
}

#[test]
fn the_policy_of_an_earlier_season_is_copied_with_the_milestones_that_are_missing() {
    scenario(async |world| {
        let this = fixture::SEASON.to_string();
        add_milestone(world, &this, json!({"code": "site_visit", "title": "Site visit", "on_day": "2040-01-08"})).await;
        let weekly = json!({"code": "restock", "title": "Restock cut-off", "on_day": "2040-02-22", "at_local_time": "18:00", "repeats_until_on": "2040-03-21"});
        add_milestone(world, &this, weekly).await;
        let policy = change(world, &this, |policy| {
            policy["grace_days"] = json!(3);
            policy["gates"][1]["rules"][0]["from"] = json!("site_visit");
        })
        .await;
        let next = next_season(world).await;
        let copied = copy(world, &this, &next).await.expect(200);
        assert_eq!((copied.at("/policy/version"), copied.at("/policy/policy")), (json!(2), policy.clone()));
        assert_eq!(copied.at("/added_milestones"), json!(["restock", "site_visit"]));
        assert_eq!(world.manager.get(&policy_of(&next)).await.expect(200).at("/policy"), policy);
        let milestones = world.manager.get(&format!("/seasons/{next}/milestones")).await.expect(200);
        let items = milestones.at("/items");
        let items = items.as_array().expect("items");
        for (code, title) in [("site_visit", "Site visit"), ("restock", "Restock cut-off")] {
            let made = items.iter().find(|one| one["code"] == code).expect(code);
            let dates = ["on_day", "at_local_time", "repeats_until_on", "falls_at"].map(|key| &made[key]);
            assert_eq!((&made["title"], dates), (&json!(title), [&Value::Null; 4]), "dates are the season's own");
        }
        let again = copy(world, &this, &next).await.expect(200);
        assert_eq!((again.at("/policy/version"), again.at("/added_milestones")), (json!(3), json!([])));
    });
}

#[test]
fn a_policy_is_copied_from_another_season_of_the_own_unit_only() {
    scenario(async |world| {
        let refused = copy(world, fixture::SEASON, fixture::SEASON).await.expect_problem(422, "invalid");
        assert_eq!(
            (refused.at("/errors/0/pointer"), refused.at("/errors/0/code")),
            (json!("/from_season_id"), json!("same_season"))
        );
        for unknown in [fixture::NOTHING, fixture::AWAY_SEASON] {
            let refused = copy(world, unknown, fixture::SEASON).await.expect_problem(422, "unknown_reference");
            assert_eq!(refused.at("/errors/0/pointer"), "/from_season_id");
            copy(world, fixture::SEASON, unknown).await.expect_problem(404, "not_found");
        }
        let (own, body) = (format!("{}/copy", policy_of(fixture::SEASON)), json!({"from_season_id": fixture::SEASON}));
        world.overseer.post(&own, body.clone()).await.expect_problem(403, "forbidden");
        world.stranger.in_unit(fixture::UNIT).post(&own, body).await.expect_problem(404, "not_found");
        world.manager.post(&own, json!({"from_season_id": "last year"})).await.expect_problem(422, "invalid");
    });
}

#[test]
fn a_copied_policy_is_held_to_the_same_brake() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect(200);
        let next = next_season(world).await;
        change(world, &next, |policy| policy["requirements"][3]["needed_by"] = json!("first_season")).await;
        copy(world, &next, fixture::SEASON).await.expect(200);
        change(world, &next, |policy| policy["requirements"][5]["needed_by"] = json!("all")).await;
        let refused = copy(world, &next, fixture::SEASON).await.expect_problem(409, "confirmation_needed");
        assert!(refused.text("/detail").contains("1 of 1 appointed troops"), "{refused}");
        let path = format!("{}/copy", policy_of(fixture::SEASON));
        let with = |stamp: &Value| json!({"from_season_id": next, "confirm_stamp": stamp});
        let wrong = json!("0".repeat(64));
        world.manager.post(&path, with(&wrong)).await.expect_problem(409, "preview_stale");
        let confirmed = with(&refused.at("/errors/0/detail"));
        let made = world.manager.post(&path, confirmed.clone()).key("copy-once").await.expect(200);
        assert_eq!(made.at("/policy/version"), 3);
        let again = world.manager.post(&path, confirmed).key("copy-once").await.expect(200);
        assert_eq!((again.json(), again.header("idempotency-replayed")), (made.json(), "true"));
        let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(standing.at("/standing/state"), "lapsed");
    });
}

#[test]
fn what_a_gate_waits_for_there_must_come_once_here() {
    scenario(async |world| {
        let next = next_season(world).await;
        add_milestone(world, &next, json!({"code": "site_visit", "title": "Site visit"})).await;
        change(world, &next, |policy| policy["gates"][1]["rules"][0]["from"] = json!("site_visit")).await;
        let weekly = json!({"code": "site_visit", "title": "Site visit", "on_day": "2040-02-22", "repeats_until_on": "2040-03-21"});
        add_milestone(world, fixture::SEASON, weekly).await;
        let refused = copy(world, &next, fixture::SEASON).await.expect_problem(422, "invalid");
        assert_eq!(
            (refused.at("/errors/0/pointer"), refused.at("/errors/0/code")),
            (json!("/from_season_id"), json!("unknown_milestone"))
        );
        assert!(refused.text("/errors/0/detail").contains("at /gates/1/rules/0/from: "), "{refused}");
    });
}

#[test]
fn a_season_takes_no_more_milestones_than_it_can_hold() {
    scenario(async |world| {
        let next = next_season(world).await;
        let mut owner = world.owner().await;
        let fill = "insert into milestone (unit_id, milestone_id, season_id, code, title, version, log_seq)
            select $1, gen_random_uuid(), $2, $3 || n, 'Date', 1, 0 from generate_series(1, $4) n";
        // The fixture's season has seven, the new one the thirteen shipped ones.
        for (season, prefix, count) in
            [(fixture::SEASON, "here_", 40_i32), (next.parse::<Uuid>().expect("an id"), "there_", 60)]
        {
            let more = sqlx::query(fill).bind(fixture::UNIT).bind(season).bind(prefix).bind(count);
            more.execute(&mut owner).await.expect("many milestones");
        }
        let refused = copy(world, fixture::SEASON, &next).await.expect_problem(409, "conflict");
        assert!(refused.text("/detail").contains("at most 100 milestones"), "{refused}");
        assert_eq!(world.manager.get(&policy_of(&next)).await.expect(200).at("/version"), 1);
    });
}
