//! From an invitation to the end of a sign-in, as people go through it.

use futures_util::future::join_all;
use serde_json::json;

use crate::support::client::Answered;
use crate::support::fixture;
use crate::support::scenario;
use crate::support::world::World;

const PASSWORD: &str = "plum jam on oat rounds";

/// Makes a unit and gives the secret of its manager's invitation.
async fn invitation(world: &World, email: &str) -> String {
    let manager = json!({"first_name": "Ilse", "last_name": "Mbeki", "email": email});
    let made =
        world.administrator.post("/v1/units", json!({"name": "Alder Bend", "manager": manager})).await.expect(201);
    let link = made.text("/invitation_link");
    link.split_once('#').expect("a secret behind #").1.to_owned()
}

async fn accept(world: &World, token: &str) -> Answered {
    world.nobody.post("/v1/invitations/accept", json!({"token": token, "password": PASSWORD})).await
}

async fn sign_in(world: &World, email: &str, password: &str) -> Answered {
    world.nobody.post("/v1/sessions", json!({"email": email, "password": password})).await
}

async fn refresh(world: &World, token: &str) -> Answered {
    world.nobody.post("/v1/sessions/refresh", json!({"refresh_token": token})).await
}

#[test]
fn an_invited_manager_accepts_signs_in_goes_on_and_signs_out() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let first = accept(world, &secret).await.expect(201);
        assert_eq!(first.at("/access_expires_in"), 600);
        accept(world, &secret).await.expect_problem(401, "bad_link");

        let session = sign_in(world, " Ilse.Mbeki@example.org", PASSWORD).await.expect(201);
        let ilse = world.nobody.with_token(session.text("/access_token"));
        let me = ilse.get("/v1/me").await.expect(200);
        assert_eq!(me.at("/email"), "ilse.mbeki@example.org");
        assert_eq!(me.at("/administrator"), false);
        assert_eq!(me.at("/units/0/unit_name"), "Alder Bend");

        let next = refresh(world, &session.text("/refresh_token")).await.expect(201);
        assert_eq!(next.text("/session_id"), session.text("/session_id"));
        let ilse = ilse.with_token(next.text("/access_token")).acting_as(&me.text("/account_id"));
        ilse.post("/v1/sessions/current/end", json!({})).await.expect(200);
        ilse.get("/v1/me").await.expect_problem(401, "not_signed_in");
        refresh(world, &next.text("/refresh_token")).await.expect_problem(401, "bad_refresh_token");
        // The sign-in that came with the invitation is another one and goes on.
        ilse.with_token(first.text("/access_token")).get("/v1/me").await.expect(200);
    });
}

#[test]
fn of_many_who_accept_at_once_one_gets_in() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let answers = join_all((0..10).map(|_| accept(world, &secret))).await;
        let mut statuses: Vec<u16> = answers.iter().map(|answer| answer.status).collect();
        statuses.sort_unstable();
        assert_eq!(statuses, [201, 401, 401, 401, 401, 401, 401, 401, 401, 401]);
    });
}

#[test]
fn an_invitation_ends_after_72_hours_and_when_a_newer_one_is_made() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let mut owner = world.owner().await;
        let lasts: String = sqlx::query_scalar("select (expires_at - created_at)::text from invitation")
            .fetch_one(&mut owner)
            .await
            .expect("the invitation");
        assert_eq!(lasts, "3 days");
        let old = "update invitation set created_at = created_at - interval '72 hours', expires_at = expires_at - interval '72 hours'";
        sqlx::query(old).execute(&mut owner).await.expect("an old invitation");
        accept(world, &secret).await.expect_problem(401, "bad_link");
    });
}

#[test]
fn a_weak_password_is_refused_with_its_reason_and_the_link_still_works() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        for weak in ["short", "fourteen chars", "ilse.mbeki@example.org", "aaaaaaaaaaaaaaaaaaaa"] {
            let body = json!({"token": secret, "password": weak});
            let refused = world.nobody.post("/v1/invitations/accept", body).await.expect_problem(422, "password_weak");
            assert_eq!(refused.at("/errors/0/pointer"), "/password", "{weak}");
        }
        accept(world, &secret).await.expect(201);
    });
}

#[test]
fn an_account_that_exists_joins_a_second_unit_signed_in() {
    scenario(async |world| {
        let secret = invitation(world, fixture::CLARA.email).await;
        accept(world, &secret).await.expect_problem(409, "email_taken");
        let joined = world.clara.post("/v1/me/invitations/accept", json!({"token": secret})).await.expect(200);
        let me = world.clara.get("/v1/me").await.expect(200);
        let names: Vec<_> =
            me.at("/units").as_array().expect("units").iter().map(|unit| unit["unit_name"].clone()).collect();
        assert_eq!(names, ["Alder Bend", "Juniper Ridge"]);
        let unit = world.clara.get(&format!("/v1/units/{}", joined.text("/unit_id"))).await.expect(200);
        assert_eq!(unit.at("/your_roles"), json!(["unit_manager"]));
        world.clara.post("/v1/me/invitations/accept", json!({"token": secret})).await.expect_problem(401, "bad_link");
    });
}

#[test]
fn an_invitation_to_another_address_is_taken_only_by_whoever_says_that_it_is_the_own() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let join = |body: serde_json::Value| world.clara.post("/v1/me/invitations/accept", body);
        let refused = join(json!({"token": secret})).await.expect_problem(409, "another_address");
        assert!(refused.text("/detail").contains("my_other_address"), "{refused}");
        join(json!({"token": secret, "my_other_address": false})).await.expect_problem(409, "another_address");
        // It was not used up by that: whom it was meant for still takes it.
        join(json!({"token": secret, "my_other_address": true})).await.expect(200);
        accept(world, &secret).await.expect_problem(401, "bad_link");
    });
}

#[test]
fn a_refresh_token_that_comes_twice_ends_the_session() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let first = accept(world, &secret).await.expect(201);
        let second = refresh(world, &first.text("/refresh_token")).await.expect(201);
        let third = refresh(world, &second.text("/refresh_token")).await.expect(201);
        world.nobody.with_token(third.text("/access_token")).get("/v1/me").await.expect(200);
        refresh(world, &first.text("/refresh_token")).await.expect_problem(401, "bad_refresh_token");
        for session in [&first, &second, &third] {
            let ilse = world.nobody.with_token(session.text("/access_token"));
            ilse.get("/v1/me").await.expect_problem(401, "not_signed_in");
        }
        refresh(world, &third.text("/refresh_token")).await.expect_problem(401, "bad_refresh_token");
    });
}

#[test]
fn when_the_answer_was_lost_the_same_refresh_token_works_again_within_thirty_seconds() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let first = accept(world, &secret).await.expect(201);
        let lost = refresh(world, &first.text("/refresh_token")).await.expect(201);
        let again = refresh(world, &first.text("/refresh_token")).await.expect(201);
        assert_ne!(lost.text("/refresh_token"), again.text("/refresh_token"));
        // Whoever has the answer that was thought lost is not the one who asked again.
        refresh(world, &lost.text("/refresh_token")).await.expect_problem(401, "bad_refresh_token");
        refresh(world, &again.text("/refresh_token")).await.expect_problem(401, "bad_refresh_token");
    });
}

#[test]
fn of_many_refreshes_at_once_one_line_of_tokens_lives_on() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let first = accept(world, &secret).await.expect(201).text("/refresh_token");
        let answers = join_all((0..20).map(|_| refresh(world, &first))).await;
        let tokens = answers.iter().filter(|answer| answer.status == 201).map(|answer| answer.text("/refresh_token"));
        assert!(answers.iter().all(|answer| matches!(answer.status, 201 | 401)));
        assert!(tokens.count() >= 1);
        let mut owner = world.owner().await;
        let tips: i64 =
            sqlx::query_scalar("select count(*) from refresh_token where used_at is null and voided_at is null")
                .fetch_one(&mut owner)
                .await
                .expect("the tokens");
        assert_eq!(tips, 1);
    });
}

#[test]
fn a_reset_link_ends_every_session_and_works_once() {
    scenario(async |world| {
        let secret = invitation(world, "ilse.mbeki@example.org").await;
        let old = accept(world, &secret).await.expect(201);
        let link = caselot::accounts::command_line::reset_link(&world.system(), "ilse.mbeki@example.org").await;
        let link = link.expect("a reset link");
        let reset = |token: String, password: &str| {
            world.nobody.post("/v1/password-resets/accept", json!({"token": token, "password": password}))
        };
        reset(link.clone(), "short").await.expect_problem(422, "password_weak");
        let new = reset(link.clone(), "seed crackers by the lake").await.expect(201);
        reset(link, "seed crackers by the lake").await.expect_problem(401, "bad_link");

        world.nobody.with_token(old.text("/access_token")).get("/v1/me").await.expect_problem(401, "not_signed_in");
        refresh(world, &old.text("/refresh_token")).await.expect_problem(401, "bad_refresh_token");
        world.nobody.with_token(new.text("/access_token")).get("/v1/me").await.expect(200);
        sign_in(world, "ilse.mbeki@example.org", PASSWORD).await.expect_problem(401, "bad_credentials");
    });
}

/// R10: a fresh install has no login, and one administrator is made once, by the command line.
#[test]
fn there_is_no_account_that_nobody_made() {
    scenario(async |world| {
        let taken = caselot::accounts::command_line::first_administrator(&world.system(), "second@example.org").await;
        assert!(taken.is_err(), "there is an administrator already");
        let mut owner = world.owner().await;
        let with_password: i64 = sqlx::query_scalar("select count(*) from account where password_phc is not null")
            .fetch_one(&mut owner)
            .await
            .expect("the accounts");
        assert_eq!(with_password, 0);
    });
}

/// A lost first link must not lose the unit; once somebody signs in there, the command line makes no more of them.
#[test]
fn the_managers_first_link_can_be_made_again_until_somebody_signs_in() {
    use caselot::common::ids::UnitId;
    scenario(async |world| {
        let manager = json!({"first_name": "Oriel", "last_name": "Sandoval", "email": "oriel@example.org"});
        let made =
            world.administrator.post("/v1/units", json!({"name": "Teal Bend", "manager": manager})).await.expect(201);
        let unit = UnitId(made.text("/unit_id").parse().expect("an id"));
        let again = caselot::accounts::command_line::unit_manager(&world.system(), unit).await.expect("a link");
        let lost = made.text("/invitation_link").rsplit('#').next().expect("a secret").to_owned();
        let accept = async |token: String| {
            world.nobody.post("/v1/invitations/accept", json!({"token": token, "password": PASSWORD})).await
        };
        accept(lost).await.expect_problem(401, "bad_link");
        accept(again).await.expect(201);
        assert!(caselot::accounts::command_line::unit_manager(&world.system(), unit).await.is_err());
        let nowhere = UnitId(fixture::NOTHING);
        assert!(caselot::accounts::command_line::unit_manager(&world.system(), nowhere).await.is_err());
    });
}
