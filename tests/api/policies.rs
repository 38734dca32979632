//! Policies: a changed one is tried before it is saved, braked where it would undo many appointments, and copied from an
//! earlier season.

use serde_json::{Value, json};

use crate::standings::{clara_is_ready, met, screening};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

fn path() -> String {
    format!("/seasons/{}/policy", fixture::SEASON)
}

/// The policy in force with one more requirement of coordinators, which nobody has met yet.
async fn with_a_quiz(world: &World) -> Value {
    let mut policy = world.manager.get(&path()).await.expect(200).at("/policy");
    let quiz = json!({
        "code": "quiz", "title": "Safety quiz", "kind": "plain", "whose": "coordinator", "needed_by": "all",
        "proof": {"kind": "manager", "list": null, "column": null, "course": null},
        "validity": {"kind": "season", "months": null}
    });
    policy["requirements"].as_array_mut().expect("requirements").push(quiz);
    policy
}

async fn clara_is_appointed(world: &World) {
    clara_is_ready(world).await;
    let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
    world.manager.post(&appoint, json!({})).await.expect(200);
}

async fn preview(world: &World, policy: &Value) -> Answered {
    world.manager.post(&format!("{}/preview", path()), policy.clone()).await.expect(200)
}

/// How many policy versions, rows of logs and answers are kept.
async fn kept(world: &World) -> (i64, i64, i64) {
    let mut owner = world.owner().await;
    let kept = sqlx::query_as(
        "select (select count(*) from policy_version), (select count(*) from unit_log), (select sum(log_seq)::bigint from standing)",
    );
    kept.fetch_one(&mut owner).await.expect("counts")
}

async fn yesenia_is_appointed(world: &World) {
    screening(world, &fixture::YESENIA, "met", Some("2041-01-31")).await;
    for requirement in ["membership", "registration", "agreement", "yearly_training", "first_season_course"] {
        met(world, &fixture::YESENIA, requirement).await;
    }
    let form = json!({"requirement": "bank_details", "troop_id": fixture::OTHER_TROOP, "outcome": "met"});
    world.manager.post("/evidence", form).await.expect(201);
    let appoint = format!("/assignments/{}/appoint", fixture::YESENIAS_ASSIGNMENT);
    world.manager.post(&appoint, json!({})).await.expect(200);
}

async fn state(world: &World) -> Value {
    world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200).at("/standing/state")
}

#[test]
fn a_changed_policy_is_tried_and_changes_nothing() {
    scenario(async |world| {
        clara_is_appointed(world).await;
        let before = kept(world).await;
        let tried = preview(world, &with_a_quiz(world).await).await;
        assert_eq!(
            tried.at("/changed"),
            json!([{
                "troop_id": fixture::TROOP, "number": "0101", "name": "Troop 0101",
                "state_now": "appointed", "state_then": "lapsed",
                "gates": [{"gate": "earn", "open_now": true, "open_then": false}],
                "opened_requirements": ["quiz"], "closed_requirements": []
            }, {
                "troop_id": fixture::OTHER_TROOP, "number": "0102", "name": "Troop 0102",
                "state_now": "gathering", "state_then": "gathering", "gates": [],
                "opened_requirements": ["quiz"], "closed_requirements": []
            }])
        );
        let counts = ["unchanged", "appointed_now", "would_lose_appointment", "mass_lapse_percent", "version"];
        assert_eq!(counts.map(|key| tried.at(&format!("/{key}"))), [1, 1, 1, 20, 1].map(|count| json!(count)));
        assert_eq!(tried.at("/needs_confirmation"), true);
        assert_eq!(kept(world).await, before, "no version, no row of the log, no standing");
        assert_eq!(world.manager.get(&path()).await.expect(200).at("/version"), 1);
        assert_eq!(state(world).await, "appointed");
        let same = world.manager.get(&path()).await.expect(200).at("/policy");
        let same = preview(world, &same).await;
        assert_eq!((same.at("/changed"), same.at("/needs_confirmation")), (json!([]), json!(false)));
    });
}

#[test]
fn a_policy_that_would_lapse_the_whole_unit_needs_a_knowing_confirmation() {
    scenario(async |world| {
        clara_is_appointed(world).await;
        yesenia_is_appointed(world).await;
        let policy = with_a_quiz(world).await;
        let before = kept(world).await;
        let refused = world.manager.put(&path(), "\"v1\"", policy.clone()).await;
        let refused = refused.expect_problem(409, "confirmation_needed");
        assert!(refused.text("/detail").contains("2 of 2 appointed troops, more than 20 %"), "{refused}");
        let errors = refused.at("/errors");
        let told: Vec<_> =
            errors.as_array().expect("errors").iter().map(|one| (&one["code"], &one["detail"])).collect();
        assert_eq!(told[0].0, "confirm_stamp");
        let falls = json!("loses_appointment");
        assert_eq!(told[1..], [(&falls, &json!("0101 Troop 0101")), (&falls, &json!("0102 Troop 0102"))]);
        assert_eq!(kept(world).await, before, "nothing was done");
        let stamp = preview(world, &policy).await.text("/stamp");
        assert_eq!(told[0].1, &json!(stamp), "the same as the preview's");
        let with = |stamp: &str| format!("{}?confirm_stamp={stamp}", path());
        let mut changed = policy.clone();
        changed["grace_days"] = json!(3);
        for (sent, of) in [(&*"0".repeat(64), &policy), (&*stamp, &changed)] {
            world.manager.put(&with(sent), "\"v1\"", of.clone()).await.expect_problem(409, "preview_stale");
        }
        assert_eq!(kept(world).await, before, "a stamp confirms what was seen and nothing else");
        world.manager.put(&with(&stamp), "\"v1\"", policy).await.expect(200);
        assert_eq!(state(world).await, "lapsed");
    });
}

#[test]
fn a_stamp_goes_stale_with_what_it_confirms() {
    scenario(async |world| {
        clara_is_appointed(world).await;
        let policy = with_a_quiz(world).await;
        let stamp = preview(world, &policy).await.text("/stamp");
        let suspend = format!("/assignments/{}/suspend", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&suspend, json!({"reason": "Asked to."})).await.expect(200);
        let confirmed = format!("{}?confirm_stamp={stamp}", path());
        world.manager.put(&confirmed, "\"v1\"", policy.clone()).await.expect_problem(409, "preview_stale");
        // Nobody is appointed any more, so that nobody can lose it: no stamp is needed.
        world.manager.put(&path(), "\"v1\"", policy).await.expect(200);
    });
}

#[test]
fn no_policy_takes_off_its_own_brake() {
    scenario(async |world| {
        clara_is_appointed(world).await;
        let mut policy = with_a_quiz(world).await;
        policy["mass_lapse_percent"] = json!(100);
        world.manager.put(&path(), "\"v1\"", policy.clone()).await.expect_problem(409, "confirmation_needed");
        let mut lenient = world.manager.get(&path()).await.expect(200).at("/policy");
        lenient["mass_lapse_percent"] = json!(100);
        world.manager.put(&path(), "\"v1\"", lenient).await.expect(200);
        world.manager.put(&path(), "\"v2\"", policy).await.expect(200);
        assert_eq!(state(world).await, "lapsed");
    });
}

#[test]
fn a_trial_tells_every_fault_as_saving_does() {
    scenario(async |world| {
        let mut policy = with_a_quiz(world).await;
        policy["mass_lapse_percent"] = json!(0);
        policy["grace_days"] = json!(91);
        policy["requirements"][1]["after"] = json!(["moon"]);
        policy["gates"][0]["rules"][0]["until"] = json!("harvest");
        policy["gates"][1]["rules"][0]["needs_requirements"] = json!(["tide"]);
        let preview = format!("{}/preview", path());
        let refused = world.manager.post(&preview, policy.clone()).await.expect_problem(422, "invalid");
        let errors = refused.at("/errors");
        let mut places: Vec<_> =
            errors.as_array().expect("errors").iter().map(|one| one["pointer"].as_str().expect("a place")).collect();
        places.sort_unstable();
        assert_eq!(
            places,
            [
                "/gates/0/rules/0/until",
                "/gates/1/rules/0/needs_requirements/0",
                "/grace_days",
                "/mass_lapse_percent",
                "/requirements/1/after/0"
            ]
        );
        let saved = world.manager.put(&path(), "\"v1\"", policy.clone()).await.expect_problem(422, "invalid");
        assert_eq!(saved.at("/errors"), errors);
        world.overseer.post(&preview, policy.clone()).await.expect_problem(403, "forbidden");
        world.clara.post(&preview, policy.clone()).await.expect_problem(403, "forbidden");
        for elsewhere in [fixture::AWAY_SEASON, fixture::NOTHING] {
            let elsewhere = format!("/seasons/{elsewhere}/policy/preview");
            world.manager.post(&elsewhere, policy.clone()).await.expect_problem(404, "not_found");
        }
        let fine = with_a_quiz(world).await;
        sqlx::query("update season set closed_at = '2040-01-09T12:00:00Z' where season_id = $1")
            .bind(fixture::SEASON)
            .execute(&mut world.owner().await)
            .await
            .expect("a closed season");
        world.manager.post(&preview, fine).await.expect_problem(409, "season_closed");
    });
}
