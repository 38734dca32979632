//! What was added by mistake is taken away again, as long as nothing refers to it.

use serde_json::{Value, json};

use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

fn milestones() -> String {
    format!("/seasons/{}/milestones", fixture::SEASON)
}

fn told(refused: &Answered) -> Vec<String> {
    let errors = refused.at("/errors");
    let of = |one: &Value| one["detail"].as_str().expect("a sentence").to_owned();
    errors.as_array().expect("errors").iter().map(of).collect()
}

async fn newest_of_log(world: &World) -> Value {
    let log = world.overseer.get("/log?limit=200").await.expect(200).at("/items");
    log.as_array().expect("rows").last().expect("a row").clone()
}

#[test]
fn a_milestone_of_ones_own_goes_and_one_that_the_policy_names_or_named_stays() {
    scenario(async |world| {
        let new = json!({"code": "dst", "title": "A mistake", "on_day": "2040-01-08"});
        let made = world.manager.post(&milestones(), new.clone()).await.expect(201);
        let path = format!("{}/{}", milestones(), made.text("/milestone_id"));
        world.manager.ask(reqwest::Method::DELETE, &path).await.expect_problem(428, "version_missing");
        world.manager.delete(&path, "\"v7\"").await.expect_problem(412, "version_stale");
        world.overseer.delete(&path, "\"v1\"").await.expect_problem(403, "forbidden");
        let policy_path = format!("/seasons/{}/policy", fixture::SEASON);
        let before = world.manager.get(&policy_path).await.expect(200).at("/policy");
        let mut policy = before.clone();
        policy["gates"][1]["rules"][0]["from"] = json!("dst");
        world.manager.put(&policy_path, "\"v1\"", policy).await.expect(200);
        let refused = world.manager.delete(&path, "\"v1\"").await.expect_problem(409, "still_used");
        assert_eq!(told(&refused), ["The policy in force names it in rule 1 of the gate \"collect\"."]);
        world.manager.put(&policy_path, "\"v2\"", before).await.expect(200);
        let refused = world.manager.delete(&path, "\"v1\"").await.expect_problem(409, "still_used");
        assert_eq!(told(&refused), ["Version 2 of the policy names it in rule 1 of the gate \"collect\"."]);

        let other = json!({"code": "uneven", "title": "Another mistake", "on_day": "2040-01-09"});
        let made = world.manager.post(&milestones(), other.clone()).await.expect(201);
        let path = format!("{}/{}", milestones(), made.text("/milestone_id"));
        let gone = world.manager.delete(&path, "\"v1\"").await.expect(200);
        assert_eq!((gone.at("/code"), gone.at("/on_day")), (json!("uneven"), json!("2040-01-09")));
        world.manager.delete(&path, "\"v1\"").await.expect_problem(404, "not_found");
        let left = world.viewer.get(&milestones()).await.expect(200).at("/items").to_string();
        assert!(left.contains("\"dst\"") && !left.contains("uneven"), "{left}");
        let row = newest_of_log(world).await;
        assert_eq!(row["action"], "remove_milestone");
        assert_eq!(row["subjects"], json!([{"kind": "milestone", "id": made.text("/milestone_id")}]));
        world.manager.post(&milestones(), other).await.expect(201);
    });
}

#[test]
fn what_every_season_has_stays_and_a_closed_season_is_not_changed() {
    scenario(async |world| {
        let shipped = format!("{}/{}", milestones(), fixture::milestone(fixture::SEASON, 0));
        let refused = world.manager.delete(&shipped, "\"v1\"").await.expect_problem(409, "conflict");
        assert!(refused.text("/detail").contains("take its day away instead"), "{refused}");
        let new = json!({"code": "dst", "title": "A mistake"});
        let made = world.manager.post(&milestones(), new).await.expect(201).text("/milestone_id");
        let close = "update season set closed_at = '2040-01-09T00:00:00Z' where unit_id = $1";
        sqlx::query(close).bind(fixture::UNIT).execute(&mut world.owner().await).await.expect("a statement");
        let path = format!("{}/{made}", milestones());
        world.manager.delete(&path, "\"v1\"").await.expect_problem(409, "season_closed");
    });
}

#[test]
fn a_troop_that_was_added_by_mistake_goes_while_nothing_refers_to_it() {
    scenario(async |world| {
        let new = json!({"number": "1O3", "age_band": "juniors", "selling_youths": 3, "first_season": false});
        let made = world.manager.post("/troops", new.clone()).await.expect(201);
        let id = made.text("/troop_id");
        let path = format!("/troops/{id}");
        world.manager.get(&format!("/standings/{id}")).await.expect(200);
        world.manager.ask(reqwest::Method::DELETE, &path).await.expect_problem(428, "version_missing");
        world.manager.delete(&path, "\"v7\"").await.expect_problem(412, "version_stale");
        world.overseer.delete(&path, "\"v1\"").await.expect_problem(403, "forbidden");
        let gone = world.manager.delete(&path, "\"v1\"").await.expect(200);
        assert_eq!((gone.at("/number"), gone.at("/selling_youths")), (json!("1O3"), json!(3)));
        for there in [&path, &format!("/standings/{id}")] {
            world.manager.get(there).await.expect_problem(404, "not_found");
        }
        let row = newest_of_log(world).await;
        assert_eq!((&row["action"], &row["subjects"]), (&json!("remove_troop"), &json!([{"kind": "troop", "id": id}])));
        world.manager.post("/troops", new).await.expect(201);
    });
}

#[test]
fn a_troop_to_which_something_refers_stays_and_the_answer_says_what() {
    scenario(async |world| {
        let clara = format!("/troops/{}", fixture::TROOP);
        let refused = world.manager.delete(&clara, "\"v1\"").await.expect_problem(409, "still_used");
        assert_eq!(told(&refused), ["It has a coordinator, or has had or been proposed one."]);
        let new = json!({"number": "0977", "age_band": "juniors", "selling_youths": 3, "first_season": false});
        let add = async |number: &str| {
            let mut new = new.clone();
            new["number"] = json!(number);
            world.manager.post("/troops", new).await.expect(201).text("/troop_id")
        };
        let (contact, decided, filed) = (add("0977").await, add("0978").await, add("0979").await);
        let duty = json!({"person_id": fixture::DOV, "duty": "treasurer"});
        world.manager.post(&format!("/troops/{contact}/contacts"), duty).await.expect(201);
        let form = json!({"requirement": "bank_details", "troop_id": contact, "outcome": "met"});
        world.manager.post("/evidence", form).await.expect(201);
        let refused = world.manager.delete(&format!("/troops/{contact}"), "\"v1\"").await;
        let refused = refused.expect_problem(409, "still_used");
        assert_eq!(told(&refused), ["It has a contact, or has had one.", "It has a fact on record."]);
        let out = json!({"reason": "A mistake."});
        world.manager.post(&format!("/troops/{decided}/sit-out"), out).await.expect(200);
        let refused = world.manager.delete(&format!("/troops/{decided}"), "\"v1\"").await;
        assert_eq!(told(&refused.expect_problem(409, "still_used")), ["It has a decision on record."]);
        crate::returns::file(world).await;
        let refused = world.manager.delete(&format!("/troops/{filed}"), "\"v1\"").await;
        let told = told(&refused.expect_problem(409, "still_used"));
        assert_eq!(told, ["It has season return number 1, which counts it."]);
        // One that came after the return is in no return.
        let later = add("0980").await;
        world.manager.delete(&format!("/troops/{later}"), "\"v1\"").await.expect(200);
    });
}
