//! What weighs most asks once more who asks, every ten minutes; which operations those are: `tests/gates/step_up.rs`.

use serde_json::{Value, json};
use totp_rs::{Builder, Secret};

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{CLARA, UNIT};
use crate::support::scenario;
use crate::support::world::World;

const PASSWORD: &str = "plum jam on oat rounds";

async fn with_password(world: &World) -> Answered {
    let link = caselot::accounts::command_line::reset_link(&world.system(), CLARA.email).await.expect("a reset link");
    world.nobody.post("/v1/password-resets/accept", json!({"token": link, "password": PASSWORD})).await.expect(201)
}

/// As if every proof and every wrong try lay so many seconds further back.
async fn later(world: &World, seconds: f64) {
    let mut owner = world.owner().await;
    for back in [
        "update session set proved_at = proved_at - make_interval(secs => $1)",
        "update sign_in_delay set last_failed_at = last_failed_at - make_interval(secs => $1), window_began_at = window_began_at - make_interval(secs => $1)",
    ] {
        sqlx::query(back).bind(seconds).execute(&mut owner).await.expect("an older proof");
    }
}

fn new_key() -> Value {
    json!({"name": "wall display", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 9})
}

async fn confirm(who: &Caller, body: Value) -> Answered {
    who.post("/v1/sessions/current/confirm", body).await
}

#[test]
fn an_old_proof_is_renewed_by_the_password_and_the_same_request_passes() {
    scenario(async |world| {
        let session = with_password(world).await;
        let clara = world.clara.with_token(session.text("/access_token"));
        let body = json!({"email": CLARA.email, "password": PASSWORD});
        let phone = world.nobody.post("/v1/sessions", body).await.expect(201);
        let phone = world.clara.with_token(phone.text("/access_token"));
        // To sign in is a proof.
        clara.post("/v1/keys", new_key()).key("first-key").await.expect(201);
        later(world, 601.0).await;
        // Asked for before the stored answer is given again, and of what is not marked nobody asks it.
        clara.post("/v1/keys", new_key()).key("first-key").await.expect_problem(403, "step_up_needed");
        clara.get("/v1/keys").await.expect(200);
        // A refreshed token is no proof.
        let body = json!({"refresh_token": session.text("/refresh_token")});
        let next = world.nobody.post("/v1/sessions/refresh", body).await.expect(201);
        let clara = world.clara.with_token(next.text("/access_token"));
        clara.post("/v1/keys", new_key()).await.expect_problem(403, "step_up_needed");

        confirm(&clara, json!({"password": "not her password at all"})).await.expect_problem(403, "proof_wrong");
        world.failed_just_now().await;
        confirm(&clara, json!({"password": PASSWORD})).await.expect_problem(429, "sign_in_delayed");
        later(world, 60.0).await;
        clara.post("/v1/keys", new_key()).await.expect_problem(403, "step_up_needed");
        for body in [json!({}), json!({"password": PASSWORD, "code": "287082"})] {
            let refused = confirm(&clara, body).await.expect_problem(422, "invalid");
            assert_eq!(refused.at("/errors/0/code"), "one_of_two");
        }
        confirm(&clara, json!({"code": "287082"})).await.expect_problem(409, "wrong_state");
        confirm(&clara, json!({"password": PASSWORD})).await.expect(200);
        clara.post("/v1/keys", new_key()).await.expect(201);
        // It is this session's: the other one is asked for its own.
        phone.post("/v1/keys", new_key()).await.expect_problem(403, "step_up_needed");
        let listed = clara.get("/v1/keys").await.expect(200).at("/items");
        assert_eq!(listed.as_array().map(Vec::len), Some(2), "what was refused made nothing");
    });
}

#[test]
fn a_code_of_the_second_factor_is_a_proof_too_and_a_script_has_none() {
    scenario(async |world| {
        let session = with_password(world).await;
        let clara = world.clara.with_token(session.text("/access_token"));
        let begun = clara.post("/v1/me/second-factor", json!({"password": PASSWORD})).await.expect(201);
        let seed = Secret::try_from_base32(begun.text("/secret")).expect("a secret");
        let phone = Builder::new().with_secret(seed.as_ref()).build().expect("a phone");
        let code = |later: i64| {
            let at = caselot::common::clock::real_now().timestamp() + 30 * later;
            phone.generate(u64::try_from(at).expect("after 1970")).to_string()
        };
        clara.post("/v1/me/second-factor/confirm", json!({"code": code(0)})).await.expect(200);
        let key = clara.post("/v1/keys", new_key()).await.expect(201);
        later(world, 601.0).await;
        clara.post("/v1/keys", new_key()).await.expect_problem(403, "step_up_needed");
        confirm(&clara, json!({"code": code(0)})).await.expect_problem(403, "proof_wrong");
        confirm(&clara, json!({"code": code(1)})).await.expect(200);
        clara.post("/v1/keys", new_key()).await.expect(201);
        let script = clara.with_key(&key.text("/key/key_id"), key.text("/secret"));
        confirm(&script, json!({"password": PASSWORD})).await.expect_problem(403, "key_may_not");
        script.post("/v1/keys", new_key()).await.expect_problem(403, "key_may_not");
    });
}
