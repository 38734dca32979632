//! One's own sessions: seen, ended one by one, ended all at once; what ends bites on the next request (R07, R09).

use serde_json::{Value, json};
use uuid::Uuid;

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{CLARA, NOTHING, PIOTR, UNIT};
use crate::support::scenario;
use crate::support::world::World;

const PASSWORD: &str = "plum jam on oat rounds";

async fn reset_link(world: &World) -> String {
    caselot::accounts::command_line::reset_link(&world.system(), CLARA.email).await.expect("a reset link")
}

/// Gives Clara a password, by a reset link as an administrator would print it; that ends every session that she had.
async fn with_password(world: &World) -> Answered {
    let body = json!({"token": reset_link(world).await, "password": PASSWORD});
    world.nobody.post("/v1/password-resets/accept", body).await.expect(201)
}

async fn sign_in(world: &World, program: &str) -> Answered {
    let body = json!({"email": CLARA.email, "password": PASSWORD});
    world.nobody.post("/v1/sessions", body).header("user-agent", program).await.expect(201)
}

async fn refresh(world: &World, session: &Answered) -> Answered {
    world.nobody.post("/v1/sessions/refresh", json!({"refresh_token": session.text("/refresh_token")})).await
}

fn by(world: &World, session: &Answered) -> Caller {
    world.clara.with_token(session.text("/access_token"))
}

/// The ids of the sessions that somebody sees, as the list has them.
async fn seen(who: &Caller) -> Vec<Value> {
    let page = who.get("/v1/me/sessions").await.expect(200).at("/items");
    page.as_array().expect("sessions").iter().map(|one| one["session_id"].clone()).collect()
}

async fn end(who: &Caller, session: impl std::fmt::Display) -> Answered {
    who.post(&format!("/v1/me/sessions/{session}/end"), json!({})).await
}

#[test]
fn everybody_sees_the_own_sessions_and_which_is_this_one() {
    scenario(async |world| {
        let first = with_password(world).await;
        let phone = sign_in(world, "Phone/1.0 (pl\u{fc}m)").await;
        let list = by(world, &phone).get("/v1/me/sessions").await.expect(200);
        assert_eq!(list.at("/items/0/session_id"), phone.at("/session_id"), "the newest first");
        assert_eq!(list.at("/items/1/session_id"), first.at("/session_id"));
        assert_eq!(list.at("/items/2"), Value::Null, "the one that the new password ended is not there");
        assert_eq!((list.at("/items/0/current"), list.at("/items/1/current")), (json!(true), json!(false)));
        assert_eq!(list.at("/items/0/opened_from"), "127.0.0.1");
        assert_eq!(list.at("/items/1/opened_with"), Value::Null);
        assert_eq!(list.at("/items/0/opened_at"), list.at("/items/0/last_used_at"));

        let next = refresh(world, &first).await.expect(201);
        let again = by(world, &next).get("/v1/me/sessions?limit=1").await.expect(200);
        assert_eq!(again.at("/items/0/session_id"), phone.at("/session_id"));
        let cursor = again.text("/next_cursor");
        let rest = by(world, &next).get(&format!("/v1/me/sessions?limit=1&cursor={cursor}")).await.expect(200);
        assert_eq!((rest.at("/items/0/current"), rest.at("/next_cursor")), (json!(true), Value::Null));
        assert!(rest.text("/items/0/last_used_at") > list.text("/items/1/last_used_at"), "a refresh is a use");
        // Piotr sees his one session and nothing of hers.
        assert_eq!(seen(&world.piotr).await, [json!(PIOTR.session)]);
    });
}

/// A session that nobody renewed for seven days cannot go on, and one of thirty days is over: neither is shown.
#[test]
fn what_cannot_go_on_is_not_listed() {
    scenario(async |world| {
        let unused = with_password(world).await;
        let over = sign_in(world, "a").await;
        let phone = sign_in(world, "b").await;
        let mut owner = world.owner().await;
        let id = |session: &Answered| -> Uuid { session.text("/session_id").parse().expect("an id") };
        for (statement, session) in [
            ("update refresh_token set expires_at = issued_at where session_id = $1", &unused),
            ("update session set expires_at = created_at where session_id = $1", &over),
        ] {
            sqlx::query(statement).bind(id(session)).execute(&mut owner).await.expect("an old session");
        }
        assert_eq!(seen(&by(world, &phone)).await, [phone.at("/session_id")]);
        // Where a session was opened from is kept no longer than it lives.
        sign_in(world, "c").await;
        let kept: Vec<Option<String>> = sqlx::query_scalar(
            "select opened_with from session where account_id = $1 and (opened_from is not null) order by session_id",
        )
        .bind(CLARA.account)
        .fetch_all(&mut owner)
        .await
        .expect("the sessions");
        assert_eq!(kept, [None, Some("b".to_owned()), Some("c".to_owned())]);
    });
}

#[test]
fn a_lost_phone_is_signed_out_from_another_device_at_once() {
    scenario(async |world| {
        with_password(world).await;
        let (phone, tablet) = (sign_in(world, "phone").await, sign_in(world, "tablet").await);
        by(world, &phone).get("/v1/me").await.expect(200);
        end(&by(world, &tablet), phone.text("/session_id")).await.expect(200);
        by(world, &phone).get("/v1/me").await.expect_problem(401, "not_signed_in");
        refresh(world, &phone).await.expect_problem(401, "bad_refresh_token");
        by(world, &tablet).get("/v1/me").await.expect(200);
        end(&by(world, &tablet), phone.text("/session_id")).await.expect_problem(409, "already_ended");
        // One may end this one too; and nobody ends another's, who lives on.
        end(&by(world, &tablet), PIOTR.session).await.expect_problem(404, "not_found");
        end(&by(world, &tablet), NOTHING).await.expect_problem(404, "not_found");
        world.piotr.get("/v1/me").await.expect(200);
        end(&by(world, &tablet), tablet.text("/session_id")).await.expect(200);
        by(world, &tablet).get("/v1/me").await.expect_problem(401, "not_signed_in");
    });
}

#[test]
fn signing_out_everywhere_ends_sessions_and_links_and_leaves_keys_unless_they_are_named() {
    scenario(async |world| {
        with_password(world).await;
        let (phone, tablet) = (sign_in(world, "phone").await, sign_in(world, "tablet").await);
        let new = json!({"name": "wall display", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 9});
        let key = by(world, &tablet).post("/v1/keys", new).await.expect(201);
        let script = world.clara.with_key(&key.text("/key/key_id"), key.text("/secret"));
        let link = reset_link(world).await;

        let everywhere = |who: &Caller, body: Value| who.post("/v1/me/sessions/end-all", body);
        script.get("/v1/me/sessions").await.expect_problem(403, "key_may_not");
        everywhere(&script, json!({})).await.expect_problem(403, "key_may_not");

        let done = everywhere(&by(world, &tablet), json!({"keep_this": true})).await.expect(200);
        // The session of the reset link and the phone's.
        assert_eq!((done.at("/ended_sessions"), done.at("/revoked_keys")), (json!(2), json!(0)));
        assert_eq!(done.at("/this_goes_on"), true);
        by(world, &phone).get("/v1/me").await.expect_problem(401, "not_signed_in");
        refresh(world, &phone).await.expect_problem(401, "bad_refresh_token");
        by(world, &tablet).get("/v1/me").await.expect(200);
        let tablet = refresh(world, &tablet).await.expect(201);
        let body = json!({"token": link, "password": "seed crackers by the lake"});
        world.nobody.post("/v1/password-resets/accept", body).await.expect_problem(401, "bad_link");
        script.get("").await.expect(200);

        let done = everywhere(&by(world, &tablet), json!({"keys_too": true})).await.expect(200);
        assert_eq!((done.at("/ended_sessions"), done.at("/revoked_keys")), (json!(1), json!(1)));
        assert_eq!(done.at("/this_goes_on"), false);
        by(world, &tablet).get("/v1/me").await.expect_problem(401, "not_signed_in");
        refresh(world, &tablet).await.expect_problem(401, "bad_refresh_token");
        script.get("").await.expect_problem(401, "not_signed_in");
        // Nobody else was signed out, and she signs in again at once.
        world.piotr.get("/v1/me").await.expect(200);
        let anew = sign_in(world, "tablet").await;
        by(world, &anew).get("/v1/me").await.expect(200);
    });
}
