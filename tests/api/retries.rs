//! Safe retries (R30): whatever is sent twice under one key is done once.

use futures_util::future::join_all;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::support::fixture::UNIT;
use crate::support::scenario;
use crate::support::world::World;

fn season(label: &str) -> Value {
    json!({"label": label, "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31", "overlaps": true})
}

async fn seasons(world: &World) -> i64 {
    sqlx::query_scalar("select count(*) from season where unit_id = $1")
        .bind(UNIT)
        .fetch_one(&mut world.owner().await)
        .await
        .expect("the seasons")
}

#[test]
fn fifty_at_once_under_one_key_have_one_effect() {
    scenario(async |world| {
        let key = Uuid::now_v7().to_string();
        let ask = || world.manager.post("/seasons", season("2041")).key(&key);
        let answers = join_all((0..50).map(|_| async { ask().await })).await;
        let fresh =
            answers.iter().filter(|one| one.status == 201 && one.header("idempotency-replayed").is_empty()).count();
        assert_eq!(fresh, 1);
        for answer in &answers {
            match answer.status {
                201 => {}
                409 => {
                    assert_eq!(answer.text("/code"), "already_running");
                    assert!(!answer.header("retry-after").is_empty());
                }
                other => panic!("{other}: {answer}"),
            }
        }
        assert_eq!(seasons(world).await, 2);
        let again = ask().await.expect(201);
        assert_eq!(again.header("idempotency-replayed"), "true");
        assert_eq!(seasons(world).await, 2);
    });
}

#[test]
fn a_repeated_request_gets_the_first_answer_byte_for_byte() {
    scenario(async |world| {
        let first = world.manager.post("/seasons", season("2041")).key("tonight-1").await.expect(201);
        let again = world.manager.post("/seasons", season("2041")).key("tonight-1").await.expect(201);
        assert_eq!(
            (&first.body, first.header("location"), first.header("etag")),
            (&again.body, again.header("location"), again.header("etag"))
        );
        assert_eq!((first.header("idempotency-replayed"), again.header("idempotency-replayed")), ("", "true"));
    });
}

#[test]
fn another_body_under_the_same_key_is_refused() {
    scenario(async |world| {
        world.manager.post("/seasons", season("2041")).key("tonight-1").await.expect(201);
        let other = world.manager.post("/seasons", season("2042")).key("tonight-1").await;
        other.expect_problem(422, "idempotency_key_reused");
        assert_eq!(seasons(world).await, 2);
    });
}

#[test]
fn a_refused_request_keeps_its_key_free() {
    scenario(async |world| {
        world.manager.post("/seasons", json!({"label": ""})).key("tonight-1").await.expect_problem(422, "invalid");
        world.manager.post("/seasons", season("2041")).key("tonight-1").await.expect(201);
    });
}

#[test]
fn a_key_belongs_to_who_sent_it() {
    scenario(async |world| {
        let new = |permissions: &[&str]| json!({"name": "display", "unit_id": UNIT, "permissions": permissions, "lasts_days": 9});
        let claras = world.clara.post("/v1/keys", new(&["units.read"])).key("the-same-key").await.expect(201);
        let piotrs = world.piotr.post("/v1/keys", new(&["units.read"])).key("the-same-key").await.expect(201);
        assert_ne!(claras.text("/key/key_id"), piotrs.text("/key/key_id"));
        // A secret is shown once: the repeated request learns where the thing is, not the secret.
        let again = world.clara.post("/v1/keys", new(&["units.read"])).key("the-same-key").await;
        let again = again.expect_problem(409, "already_created");
        assert_eq!(again.header("location"), format!("/v1/keys/{}", claras.text("/key/key_id")));
    });
}

#[test]
fn what_is_no_key_is_refused_before_anything_is_done() {
    scenario(async |world| {
        for key in ["short", "with a space in it", &"x".repeat(101)] {
            world.manager.post("/seasons", season("2041")).key(key).await.expect_problem(400, "bad_header");
        }
        assert_eq!(seasons(world).await, 1);
        for key in ["x".repeat(8), "y".repeat(100)] {
            world.manager.post("/seasons", season(&key[..8])).key(&key).await.expect(201);
        }
        world.manager.post("/seasons", season("2043")).without_key().await.expect(201);
    });
}

#[test]
fn keys_are_forgotten_after_72_hours_and_not_before() {
    scenario(async |world| {
        world.manager.post("/seasons", season("2041")).key("tonight-1").await.expect(201);
        for (age, kept) in [(71, 1_i64), (73, 0)] {
            sqlx::query("update idempotency set at = $1::timestamptz - make_interval(hours => $2)")
                .bind(caselot::common::clock::real_now())
                .bind(age)
                .execute(&mut world.owner().await)
                .await
                .expect("an older key");
            world.tick().await;
            let left: i64 = sqlx::query_scalar("select count(*) from idempotency")
                .fetch_one(&mut world.owner().await)
                .await
                .expect("the keys");
            assert_eq!(left, kept, "after {age} hours");
        }
    });
}
