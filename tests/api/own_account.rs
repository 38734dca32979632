//! Another password, another address: asked for signed in, with the password once more; what it ends is dead at once (R09, R10).

use futures_util::future::join_all;
use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{CLARA, PIOTR, UNIT};
use crate::support::scenario;
use crate::support::world::World;

const PASSWORD: &str = "plum jam on oat rounds";
const ANOTHER: &str = "seed crackers by the lake";

async fn reset_link(world: &World) -> String {
    caselot::accounts::command_line::reset_link(&world.system(), CLARA.email).await.expect("a reset link")
}

async fn accept_reset(world: &World, link: &str) -> Answered {
    world.nobody.post("/v1/password-resets/accept", json!({"token": link, "password": PASSWORD})).await
}

async fn sign_in(world: &World, email: &str, password: &str) -> Answered {
    world.nobody.post("/v1/sessions", json!({"email": email, "password": password})).await
}

async fn refresh(world: &World, session: &Answered) -> Answered {
    world.nobody.post("/v1/sessions/refresh", json!({"refresh_token": session.text("/refresh_token")})).await
}

/// Clara with a password, and her session.
async fn clara(world: &World) -> (Caller, Answered) {
    let session = accept_reset(world, &reset_link(world).await).await.expect(201);
    (world.clara.with_token(session.text("/access_token")), session)
}

/// As if the last wrong tries lay ten minutes back.
async fn later(world: &World) {
    let back = "update sign_in_delay set last_failed_at = last_failed_at - interval '10 minutes', window_began_at = window_began_at - interval '10 minutes'";
    sqlx::query(back).execute(&mut world.owner().await).await.expect("older tries");
}

async fn change_password(who: &Caller, current: &str, new: &str) -> Answered {
    who.post("/v1/me/password", json!({"current_password": current, "password": new})).await
}

async fn change_email(who: &Caller, email: &str, password: &str) -> Answered {
    who.post("/v1/me/email", json!({"email": email, "password": password})).await
}

fn secret_of(asked: &Answered) -> String {
    let link = asked.text("/email_link");
    assert!(link.starts_with("https://sale.example.org/email#"), "{link}");
    link.split_once('#').expect("a secret behind #").1.to_owned()
}

async fn confirm(world: &World, secret: &str) -> Answered {
    world.nobody.post("/v1/email-changes/accept", json!({"token": secret})).await
}

#[test]
fn a_changed_password_ends_every_other_session_and_every_open_link_and_keeps_this_one() {
    scenario(async |world| {
        let (clara, this) = clara(world).await;
        let phone = sign_in(world, CLARA.email, PASSWORD).await.expect(201);
        let new = json!({"name": "wall display", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 9});
        let key = clara.post("/v1/keys", new).await.expect(201);
        let link = reset_link(world).await;
        let other = change_email(&clara, "clara.new@example.org", PASSWORD).await.expect(201);

        let done = change_password(&clara, PASSWORD, ANOTHER).await.expect(200);
        assert_eq!(done.at("/ended_sessions"), 1);
        let by_phone = world.clara.with_token(phone.text("/access_token"));
        by_phone.get("/v1/me").await.expect_problem(401, "not_signed_in");
        refresh(world, &phone).await.expect_problem(401, "bad_refresh_token");
        accept_reset(world, &link).await.expect_problem(401, "bad_link");
        confirm(world, &secret_of(&other)).await.expect_problem(401, "bad_link");

        clara.get("/v1/me").await.expect(200);
        refresh(world, &this).await.expect(201);
        world.clara.with_key(&key.text("/key/key_id"), key.text("/secret")).get("").await.expect(200);
        sign_in(world, CLARA.email, PASSWORD).await.expect_problem(401, "bad_credentials");
        later(world).await;
        sign_in(world, CLARA.email, ANOTHER).await.expect(201);
    });
}

#[test]
fn a_wrong_password_changes_nothing_and_counts_like_a_failed_sign_in() {
    scenario(async |world| {
        let (clara, _) = clara(world).await;
        let phone = sign_in(world, CLARA.email, PASSWORD).await.expect(201);
        let refused = change_password(&clara, "not her password at all", ANOTHER).await;
        let refused = refused.expect_problem(403, "proof_wrong");
        assert!(refused.text("/detail").contains("you stay signed in"), "{refused}");
        world.failed_just_now().await;
        let delayed = change_password(&clara, PASSWORD, ANOTHER).await.expect_problem(429, "sign_in_delayed");
        assert_eq!(delayed.header("retry-after"), "1");
        world.failed_just_now().await;
        sign_in(world, CLARA.email, PASSWORD).await.expect_problem(429, "sign_in_delayed");
        later(world).await;
        change_email(&clara, "clara.new@example.org", "nor is this").await.expect_problem(403, "proof_wrong");
        later(world).await;
        for weak in ["short", "fourteen chars", CLARA.email] {
            let refused = change_password(&clara, PASSWORD, weak).await.expect_problem(422, "password_weak");
            assert_eq!(refused.at("/errors/0/pointer"), "/password", "{weak}");
        }
        world.clara.with_token(phone.text("/access_token")).get("/v1/me").await.expect(200);
        sign_in(world, CLARA.email, PASSWORD).await.expect(201);
        // Whoever has no password yet has none to give.
        change_password(&world.piotr, PASSWORD, ANOTHER).await.expect_problem(403, "proof_wrong");
    });
}

/// The same request twice is done once, and nobody can try passwords on what is kept of it.
#[test]
fn a_repeated_change_of_password_is_answered_again_and_its_body_cannot_be_guessed_from_what_is_kept() {
    scenario(async |world| {
        use sha2::{Digest as _, Sha256};
        let (clara, _) = clara(world).await;
        let body = json!({"current_password": PASSWORD, "password": ANOTHER});
        let first = clara.post("/v1/me/password", body.clone()).key("the-same-key").await.expect(200);
        let again = clara.post("/v1/me/password", body.clone()).key("the-same-key").await.expect(200);
        assert_eq!((again.header("idempotency-replayed"), again.json()), ("true", first.json()));
        let other = json!({"current_password": PASSWORD, "password": "yet other words in a row"});
        let other = clara.post("/v1/me/password", other).key("the-same-key").await;
        other.expect_problem(422, "idempotency_key_reused");
        let kept: Vec<u8> =
            sqlx::query_scalar("select body_sha256 from server_idempotency where path = '/v1/me/password'")
                .fetch_one(&mut world.owner().await)
                .await
                .expect("the kept answer");
        assert_eq!(kept.len(), 32);
        assert_ne!(kept, Sha256::digest(body.to_string()).to_vec());
    });
}

#[test]
fn a_script_changes_neither_password_nor_address() {
    scenario(async |world| {
        let (clara, _) = clara(world).await;
        let new = json!({"name": "wall display", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 9});
        let key = clara.post("/v1/keys", new).await.expect(201);
        let script = world.clara.with_key(&key.text("/key/key_id"), key.text("/secret"));
        change_password(&script, PASSWORD, ANOTHER).await.expect_problem(403, "key_may_not");
        change_email(&script, "clara.new@example.org", PASSWORD).await.expect_problem(403, "key_may_not");
    });
}

#[test]
fn a_new_address_counts_once_the_link_that_went_to_it_was_used() {
    scenario(async |world| {
        let (clara, _) = clara(world).await;
        let older = change_email(&clara, "clara.old@example.org", PASSWORD).await.expect(201);
        let asked = change_email(&clara, " Clara.New@example.org ", PASSWORD).await.expect(201);
        assert_eq!(asked.at("/email"), "Clara.New@example.org");
        confirm(world, &secret_of(&older)).await.expect_problem(401, "bad_link");
        // To open the link's page confirms nothing.
        world.nobody.get("/email").await.expect(200);
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/email"), CLARA.email);
        sign_in(world, CLARA.email, PASSWORD).await.expect(201);

        let link = reset_link(world).await;
        let secret = secret_of(&asked);
        let answers = join_all((0..10).map(|_| confirm(world, &secret))).await;
        let mut statuses: Vec<u16> = answers.iter().map(|answer| answer.status).collect();
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 401, 401, 401, 401, 401, 401, 401, 401, 401]);
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/email"), "Clara.New@example.org");
        sign_in(world, CLARA.email, PASSWORD).await.expect_problem(401, "bad_credentials");
        sign_in(world, "clara.new@example.org", PASSWORD).await.expect(201);
        // What went to the old address is dead.
        accept_reset(world, &link).await.expect_problem(401, "bad_link");
        let kept: i64 = sqlx::query_scalar("select count(*) from email_change where email is not null")
            .fetch_one(&mut world.owner().await)
            .await
            .expect("the links");
        assert_eq!(kept, 0, "an address stands with an open link only");
    });
}

#[test]
fn an_address_that_is_none_or_is_taken_or_comes_too_late_is_refused() {
    scenario(async |world| {
        let (clara, _) = clara(world).await;
        for (bad, code) in
            [("clara at example", "not_an_address"), ("a@b@c", "not_an_address"), (" CLARA.fd@example.org", "the_same")]
        {
            let refused = change_email(&clara, bad, PASSWORD).await.expect_problem(422, "invalid");
            assert_eq!((refused.at("/errors/0/pointer"), refused.at("/errors/0/code")), (json!("/email"), json!(code)));
        }
        let taken = change_email(&clara, PIOTR.email, PASSWORD).await.expect(201);
        confirm(world, &secret_of(&taken)).await.expect_problem(409, "email_taken");
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/email"), CLARA.email);

        let late = change_email(&clara, "clara.new@example.org", PASSWORD).await.expect(201);
        let mut owner = world.owner().await;
        let lasts: String =
            sqlx::query_scalar("select (expires_at - created_at)::text from email_change where used_at is null")
                .fetch_one(&mut owner)
                .await
                .expect("the link");
        assert_eq!(lasts, "1 day");
        sqlx::query("update email_change set expires_at = created_at").execute(&mut owner).await.expect("a late link");
        confirm(world, &secret_of(&late)).await.expect_problem(401, "bad_link");
        confirm(world, "rubbish").await.expect_problem(401, "bad_link");
        let shown: Value = clara.get("/v1/me").await.expect(200).at("/email");
        assert_eq!(shown, CLARA.email);
    });
}
