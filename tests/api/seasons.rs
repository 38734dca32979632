//! Seasons: their dates, which one is current, and the policy.

use futures_util::future::join_all;
use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};

fn season() -> String {
    format!("/seasons/{}", fixture::SEASON)
}

fn new_season(label: &str) -> Value {
    json!({"label": label, "time_zone": "Europe/Oslo", "currency": "NOK", "starts_on": "2040-09-01", "ends_on": "2041-05-31", "overlaps": true})
}

/// The places that a 422 names, in order.
fn places(answered: &Answered) -> Vec<String> {
    let errors = answered.at("/errors");
    let errors = errors.as_array().expect("errors").iter();
    errors.map(|error| error["pointer"].as_str().unwrap_or_default().to_owned()).collect()
}

async fn milestone(who: &Caller, code: &str) -> Value {
    let page = who.get(&format!("{}/milestones", season())).await.expect(200);
    let items = page.at("/items");
    items.as_array().expect("items").iter().find(|one| one["code"] == code).cloned().expect("a milestone of this code")
}

async fn change_milestone(who: &Caller, milestone: &Value, change: Value) -> Answered {
    let path = format!("{}/milestones/{}", season(), milestone["milestone_id"].as_str().expect("an id"));
    who.patch(&path, milestone["etag"].as_str().expect("an etag"), change).await
}

async fn run(world: &World, sql: &'static str) {
    sqlx::query(sql).bind(fixture::UNIT).execute(&mut world.owner().await).await.expect("a statement");
}

#[test]
fn a_units_first_season_is_its_current_one_and_brings_milestones_and_a_policy() {
    scenario(async |world| {
        run(world, "update season set is_current = false where unit_id = $1").await;
        world.manager.get("/troops").await.expect_problem(409, "no_current_season");
        let made = world.manager.post("/seasons", new_season(" 2041 ")).await.expect(201);
        let id = made.text("/season_id");
        assert_eq!(made.header("location"), format!("/v1/units/{}/seasons/{id}", fixture::UNIT));
        assert_eq!((made.at("/is_current"), made.at("/label")), (json!(true), json!("2041")));
        assert_eq!(made.etag(), "\"v1\"");
        let milestones = world.viewer.get(&format!("/seasons/{id}/milestones")).await.expect(200);
        let items = milestones.at("/items");
        assert_eq!(items.as_array().expect("items").len(), 13);
        assert!(items.as_array().expect("items").iter().all(|one| one["falls_at"].is_null()), "{milestones}");
        let policy = world.clara.get(&format!("/seasons/{id}/policy")).await.expect(200);
        assert_eq!((policy.at("/version"), policy.at("/policy/grace_days")), (json!(1), json!(5)));
        let second = world.manager.post("/seasons", new_season("2042")).await.expect(201);
        assert_eq!(second.at("/is_current"), json!(false));
    });
}

#[test]
fn everything_that_is_wrong_with_a_season_is_told_at_once() {
    scenario(async |world| {
        let bad = json!({"label": "2041", "time_zone": "Juniper/Ridge", "currency": "usd", "starts_on": "2041-01-01", "ends_on": "2041-01-01"});
        let refused = world.manager.post("/seasons", bad).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/time_zone", "/currency", "/ends_on"]);
        let mut unknown = new_season("2041");
        unknown["closed_at"] = json!("2040-01-01T00:00:00Z");
        world.manager.post("/seasons", unknown).await.expect_problem(422, "invalid");
        let mut far = new_season("2041");
        far["ends_on"] = json!("9999-12-31");
        let refused = world.manager.post("/seasons", far).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/ends_on"]);
        world.manager.post("/seasons", new_season("2040")).await.expect_problem(409, "label_taken");
        world.clara.post("/seasons", new_season("2041")).await.expect_problem(403, "forbidden");
        world.overseer.post("/seasons", new_season("2041")).await.expect_problem(403, "forbidden");
    });
}

#[test]
fn making_a_season_current_lets_the_other_step_back() {
    scenario(async |world| {
        let made = world.manager.post("/seasons", new_season("2041")).await.expect(201);
        let path = format!("/seasons/{}", made.text("/season_id"));
        let changed = world.manager.patch(&path, &made.etag(), json!({"is_current": true})).await.expect(200);
        assert_eq!((changed.at("/is_current"), changed.etag()), (json!(true), "\"v2\"".to_owned()));
        let former = world.manager.get(&season()).await.expect(200);
        assert_eq!((former.at("/is_current"), former.etag()), (json!(false), "\"v2\"".to_owned()));
        let refused = world.manager.patch(&path, "\"v2\"", json!({"is_current": false})).await;
        assert_eq!(places(&refused.expect_problem(422, "invalid")), ["/is_current"]);
        let list = world.viewer.get("/seasons").await.expect(200);
        assert_eq!(list.at("/items/0/label"), "2041");
        assert_eq!(list.at("/items/1/label"), "2040");
        let first = world.viewer.get("/seasons?limit=1").await.expect(200);
        let next = first.text("/next_cursor");
        let second = world.viewer.get(&format!("/seasons?limit=1&cursor={next}")).await.expect(200);
        assert_eq!(second.at("/items/0/label"), "2040");
        assert_eq!(second.at("/next_cursor"), json!(null));
    });
}

#[test]
fn a_season_is_changed_under_the_version_that_was_read() {
    scenario(async |world| {
        let path = season();
        world
            .manager
            .ask(reqwest::Method::PATCH, &path)
            .json(&json!({"label": "x"}))
            .await
            .expect_problem(428, "version_missing");
        world.manager.patch(&path, "\"v7\"", json!({"label": "x"})).await.expect_problem(412, "version_stale");
        let refused = world.manager.patch(&path, "\"v1\"", json!({"label": null, "starts_on": null})).await;
        assert_eq!(places(&refused.expect_problem(422, "invalid")), ["/label", "/starts_on"]);
        let refused = world.manager.patch(&path, "\"v1\"", json!({"ends_on": "2039-08-31"})).await;
        assert_eq!(places(&refused.expect_problem(422, "invalid")), ["/ends_on"]);
        world.manager.patch(&path, "\"v1\"", json!({"currency": "EUR"})).await.expect_problem(422, "invalid");
        let changed = world.manager.patch(&path, "\"v1\"", json!({"label": "Season of 2040"})).await.expect(200);
        assert_eq!(
            (changed.at("/label"), changed.at("/time_zone")),
            (json!("Season of 2040"), json!("America/Chicago"))
        );
        let away = format!("/seasons/{}", fixture::AWAY_SEASON);
        world.manager.patch(&away, "\"v1\"", json!({"label": "x"})).await.expect_problem(404, "not_found");
        world.manager.get(&away).await.expect_problem(404, "not_found");
        world.manager.get(&format!("{away}/policy")).await.expect_problem(404, "not_found");
        world.manager.get(&format!("{away}/milestones")).await.expect_problem(404, "not_found");
    });
}

#[test]
fn of_many_who_change_one_version_one_succeeds() {
    scenario(async |world| {
        let before = milestone(&world.manager, "return_due").await;
        let (manager, before) = (&world.manager, &before);
        let tries = (1..=20).map(async |day| {
            // Whoever had to wait too long was told so and asks again: that is no answer to the question here.
            loop {
                let answered = change_milestone(manager, before, json!({"on_day": format!("2040-02-{day:02}")})).await;
                if answered.status != 503 {
                    return answered.status;
                }
            }
        });
        let mut outcomes: Vec<u16> = join_all(tries).await;
        outcomes.sort_unstable();
        assert_eq!(outcomes.first(), Some(&200));
        assert!(outcomes.iter().skip(1).all(|status| *status == 412), "{outcomes:?}");
    });
}

#[test]
fn a_day_means_its_end_and_an_hour_itself_in_the_seasons_zone() {
    scenario(async |world| {
        let due = milestone(&world.clara, "return_due").await;
        assert_eq!((&due["on_day"], &due["falls_at"]), (&json!("2040-01-19"), &json!("2040-01-20T06:00:00Z")));
        let timed = change_milestone(&world.manager, &due, json!({"at_local_time": "17:30"})).await.expect(200);
        assert_eq!(
            (timed.at("/falls_at"), timed.at("/at_local_time")),
            (json!("2040-01-19T23:30:00Z"), json!("17:30"))
        );
        let undated = change_milestone(&world.manager, &timed.json(), json!({"on_day": null})).await.expect(200);
        assert_eq!((undated.at("/falls_at"), undated.at("/at_local_time")), (json!(null), json!(null)));
        let refused = change_milestone(&world.manager, &undated.json(), json!({"at_local_time": "17:30"})).await;
        assert_eq!(places(&refused.expect_problem(422, "invalid")), ["/at_local_time"]);
        let theirs = json!({"head_office_on_day": "2040-07-01", "head_office_at_local_time": "09:00"});
        let theirs = change_milestone(&world.manager, &undated.json(), theirs).await.expect(200);
        assert_eq!(theirs.at("/falls_at"), json!("2040-07-01T14:00:00Z"), "{theirs}");
        let refused = change_milestone(&world.manager, &theirs.json(), json!({"at_local_time": "9 am"})).await;
        refused.expect_problem(422, "invalid");
        change_milestone(&world.clara, &theirs.json(), json!({"title": "x"})).await.expect_problem(403, "forbidden");
    });
}

#[test]
fn milestones_come_in_the_order_in_which_they_fall() {
    scenario(async |world| {
        let path = format!("{}/milestones", season());
        let new =
            json!({"code": "site_visit", "title": "Site visit", "on_day": "2040-01-08", "at_local_time": "10:00"});
        let made = world.manager.post(&path, new.clone()).await.expect(201);
        assert_eq!(made.at("/falls_at"), json!("2040-01-08T16:00:00Z"));
        world.manager.post(&path, new).await.expect_problem(409, "code_taken");
        let bad = json!({"code": "Site visit", "title": " ", "at_local_time": "24:00"});
        let refused = world.manager.post(&path, bad).await.expect_problem(422, "invalid");
        let mut named = places(&refused);
        named.sort_unstable();
        assert_eq!(named, ["/at_local_time", "/code", "/title"]);
        let mut codes = Vec::new();
        let mut next = String::new();
        loop {
            let page = world.viewer.get(&format!("{path}?limit=3{next}")).await.expect(200);
            for item in page.at("/items").as_array().expect("items") {
                codes.push(item["code"].as_str().expect("a code").to_owned());
            }
            match page.at("/next_cursor").as_str() {
                Some(cursor) => next = format!("&cursor={cursor}"),
                None => break,
            }
        }
        let wanted = [
            "kits_out",
            "site_visit",
            "return_due",
            "opening_orders_due",
            "delivery_day",
            "sale_opens",
            "sale_closes",
            "close_out_due",
        ];
        assert_eq!(codes, wanted);
    });
}

#[test]
fn a_policy_is_replaced_as_a_whole_and_its_versions_count_up() {
    scenario(async |world| {
        let path = format!("{}/policy", season());
        let before = world.clara.get(&path).await.expect(200);
        assert_eq!(before.etag(), "\"v1\"");
        let mut policy = before.at("/policy");
        policy["grace_days"] = json!(3);
        let after = world.manager.put(&path, "\"v1\"", policy.clone()).await.expect(200);
        assert_eq!((after.at("/version"), after.etag()), (json!(2), "\"v2\"".to_owned()));
        world.manager.put(&path, "\"v1\"", policy.clone()).await.expect_problem(412, "version_stale");
        assert_eq!(world.overseer.get(&path).await.expect(200).at("/policy"), policy);
        world.overseer.put(&path, "\"v2\"", policy.clone()).await.expect_problem(403, "forbidden");
        world.clara.put(&path, "\"v2\"", policy).await.expect_problem(403, "forbidden");
    });
}

#[test]
fn standings_follow_a_new_policy_at_once() {
    scenario(async |world| {
        let standing = format!("/standings/{}", fixture::TROOP);
        assert_eq!(world.clara.get(&standing).await.expect(200).at("/standing/state"), "gathering");
        let path = format!("{}/policy", season());
        let mut policy = world.manager.get(&path).await.expect(200).at("/policy");
        policy["requirements"] = json!([]);
        policy["gates"] = json!([]);
        world.manager.put(&path, "\"v1\"", policy).await.expect(200);
        assert_eq!(world.clara.get(&standing).await.expect(200).at("/standing/state"), "ready");
    });
}

#[test]
fn every_fault_of_a_policy_is_told_with_its_place() {
    scenario(async |world| {
        let path = format!("{}/policy", season());
        let mut policy = world.manager.get(&path).await.expect(200).at("/policy");
        // membership <- registration <- membership: a circle; screening waits for something unknown.
        policy["requirements"][0]["after"] = json!(["registration"]);
        policy["requirements"][2]["after"] = json!(["moon_landing"]);
        policy["gates"][0]["rules"][0]["until"] = json!("doomsday");
        policy["gates"][1]["gate"] = json!("order");
        policy["gates"][2]["rules"][0]["needs_money"] = json!({"kind": "nothing_overdue"});
        let refused = world.manager.put(&path, "\"v1\"", policy).await.expect_problem(422, "invalid");
        let mut told = places(&refused);
        told.sort_unstable();
        let wanted = [
            "/gates/0/rules/0/until",
            "/gates/1/gate",
            "/gates/2/rules/0/needs_money",
            "/requirements/0/after",
            "/requirements/2/after/0",
        ];
        assert_eq!(told, wanted);
        let mut unknown = world.manager.get(&path).await.expect(200).at("/policy");
        unknown["tombola"] = json!(true);
        world.manager.put(&path, "\"v1\"", unknown).await.expect_problem(422, "invalid");
        assert_eq!(world.manager.get(&path).await.expect(200).at("/version"), json!(1));
    });
}

#[test]
fn a_closed_season_refuses_every_change() {
    scenario(async |world| {
        let due = milestone(&world.manager, "return_due").await;
        let policy = world.manager.get(&format!("{}/policy", season())).await.expect(200).at("/policy");
        run(world, "update season set closed_at = '2040-01-09T00:00:00Z' where unit_id = $1").await;
        let manager = &world.manager;
        manager.patch(&season(), "\"v1\"", json!({"label": "x"})).await.expect_problem(409, "season_closed");
        change_milestone(manager, &due, json!({"title": "x"})).await.expect_problem(409, "season_closed");
        let new = json!({"code": "site_visit", "title": "Site visit"});
        manager.post(&format!("{}/milestones", season()), new).await.expect_problem(409, "season_closed");
        manager.put(&format!("{}/policy", season()), "\"v1\"", policy).await.expect_problem(409, "season_closed");
        let troop = json!({"number": "0977", "age_band": "juniors", "selling_youths": 3, "first_season": true});
        manager.post("/troops", troop).await.expect_problem(409, "season_closed");
        let named = json!({"troop_id": fixture::VACANT_TROOP, "person_id": fixture::DOV, "lead": true});
        manager.post("/assignments", named).await.expect_problem(409, "season_closed");
        let troop = format!("/troops/{}", fixture::TROOP);
        manager.patch(&troop, "\"v1\"", json!({"name": "x"})).await.expect_problem(409, "season_closed");
        manager.get(&troop).await.expect(200);
    });
}

#[test]
fn a_milestone_comes_back_every_week_at_its_local_time() {
    scenario(async |world| {
        let path = format!("{}/milestones", season());
        let cut_off = json!({
            "code": "restock_cut_off", "title": "Restock cut-off", "on_day": "2040-02-22", "at_local_time": "18:00",
            "repeats_until_on": "2040-03-21"
        });
        let made = world.manager.post(&path, cut_off).await.expect(201);
        assert_eq!(
            (made.at("/falls_at"), made.at("/falls_next_at"), made.at("/repeats_until_on")),
            (json!("2040-02-23T00:00:00Z"), json!("2040-02-23T00:00:00Z"), json!("2040-03-21"))
        );
        // 22 and 29 February, 7, 14 and 21 March; clocks go forward there on 11 March 2040.
        for (now, next) in [
            ("2040-02-23T00:00:30Z", json!("2040-03-01T00:00:00Z")),
            ("2040-03-10T12:00:00Z", json!("2040-03-14T23:00:00Z")),
            ("2040-03-22T12:00:00Z", json!(null)),
        ] {
            world.set_clock(now.parse().expect("an instant")).await;
            assert_eq!(milestone(&world.manager, "restock_cut_off").await["falls_next_at"], next, "{now}");
        }
        let once = change_milestone(&world.manager, &made.json(), json!({"repeats_until_on": null})).await.expect(200);
        assert_eq!(once.at("/repeats_until_on"), json!(null));
    });
}

#[test]
fn a_repetition_needs_its_first_day_and_no_gate_waits_for_one() {
    scenario(async |world| {
        let path = format!("{}/milestones", season());
        for (on_day, until, code) in [
            (json!(null), "2040-03-21", "needs_day"),
            (json!("2040-03-21"), "2040-03-21", "too_early"),
            (json!("2040-03-21"), "2041-05-16", "too_far"),
        ] {
            let new = json!({"code": "cut_off", "title": "Cut-off", "on_day": on_day, "repeats_until_on": until});
            let refused = world.manager.post(&path, new).await.expect_problem(422, "invalid");
            assert_eq!(
                (places(&refused), refused.at("/errors/0/code")),
                (vec!["/repeats_until_on".to_owned()], json!(code))
            );
        }
        let due = milestone(&world.manager, "opening_orders_due").await;
        let weekly = json!({"repeats_until_on": "2040-03-21"});
        change_milestone(&world.manager, &due, weekly.clone()).await.expect_problem(409, "conflict");
        let kits = milestone(&world.manager, "kits_out").await;
        change_milestone(&world.manager, &kits, weekly).await.expect(200);
        let policy = format!("{}/policy", season());
        let mut changed = world.manager.get(&policy).await.expect(200).at("/policy");
        changed["gates"][1]["rules"][0]["from"] = json!("kits_out");
        let refused = world.manager.put(&policy, "\"v1\"", changed).await.expect_problem(422, "invalid");
        assert_eq!(refused.at("/errors/0/code"), "unknown_milestone");
    });
}

#[test]
fn head_offices_own_date_has_its_own_instant() {
    scenario(async |world| {
        let due = milestone(&world.manager, "return_due").await;
        let pair =
            change_milestone(&world.manager, &due, json!({"head_office_on_day": "2040-01-22"})).await.expect(200);
        assert_eq!(
            (pair.at("/falls_at"), pair.at("/head_office_falls_at")),
            (json!("2040-01-20T06:00:00Z"), json!("2040-01-23T06:00:00Z"))
        );
    });
}
