//! A link that signs in once without the password: for who answers for little, for fifteen minutes, and no proof of anything.

use futures_util::future::join_all;
use serde_json::{Value, json};

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{CLARA, MANAGER, OVERSEER, PIOTR, Somebody, UNIT};
use crate::support::scenario;
use crate::support::world::World;

const PASSWORD: &str = "plum jam on oat rounds";

async fn link_for(world: &World, who: &Somebody) -> String {
    caselot::accounts::command_line::sign_in_link(&world.system(), who.email).await.expect("a sign-in link")
}

async fn accept(world: &World, link: &str) -> Answered {
    world.nobody.post("/v1/sign-in-links/accept", json!({"token": link})).await
}

fn new_key() -> Value {
    json!({"name": "wall display", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 9})
}

#[test]
fn a_sign_in_link_opens_one_session_and_a_newer_one_voids_it() {
    scenario(async |world| {
        let older = link_for(world, &CLARA).await;
        let link = link_for(world, &CLARA).await;
        accept(world, &older).await.expect_problem(401, "bad_link");
        let answers = join_all((0..10).map(|_| accept(world, &link))).await;
        let mut statuses: Vec<u16> = answers.iter().map(|answer| answer.status).collect();
        statuses.sort_unstable();
        assert_eq!(statuses, [201, 401, 401, 401, 401, 401, 401, 401, 401, 401]);
        let session = answers.iter().find(|answer| answer.status == 201).expect("the one");
        let clara = world.clara.with_token(session.text("/access_token"));
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/email"), CLARA.email);
        clara.get("/my-steps").await.expect(200);
        // The session that she had goes on: the link is no new password.
        world.clara.get("/v1/me").await.expect(200);
        // It opens no other thing, and nothing else opens by it.
        let link = link_for(world, &CLARA).await;
        let body = json!({"token": link, "password": PASSWORD});
        world.nobody.post("/v1/password-resets/accept", body).await.expect_problem(401, "bad_link");
        accept(world, "wq0r8m2rM4n3eG0bT9yq7mQ3l1u0n0cJr8x2r2w3t4u").await.expect_problem(401, "bad_link");
        world
            .nobody
            .get(&format!("/v1/sign-in-links/accept?token={link}"))
            .await
            .expect_problem(405, "method_not_allowed");
        accept(world, &link).await.expect(201);
    });
}

#[test]
fn it_lasts_fifteen_minutes_and_no_longer_than_the_account_and_its_password() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        for (older, works) in [("14 minutes 50 seconds", true), ("15 minutes", false)] {
            let link = link_for(world, &CLARA).await;
            let back = "update sign_in_link set expires_at = expires_at - $1::text::interval where used_at is null";
            sqlx::query(back).bind(older).execute(&mut owner).await.expect("an older link");
            let answered = accept(world, &link).await;
            if works {
                answered.expect(201)
            } else {
                answered.expect_problem(401, "bad_link")
            };
        }
        let link = link_for(world, &CLARA).await;
        let reset = caselot::accounts::command_line::reset_link(&world.system(), CLARA.email).await.expect("a link");
        let body = json!({"token": reset, "password": PASSWORD});
        world.nobody.post("/v1/password-resets/accept", body).await.expect(201);
        accept(world, &link).await.expect_problem(401, "bad_link");

        let link = link_for(world, &CLARA).await;
        let disabled = "update account set disabled_at = now() where account_id = $1";
        sqlx::query(disabled).bind(CLARA.account).execute(&mut owner).await.expect("a disabled account");
        accept(world, &link).await.expect_problem(401, "bad_link");
        let refused = caselot::accounts::command_line::sign_in_link(&world.system(), CLARA.email).await;
        assert!(refused.is_err(), "nor is one made for it");
    });
}

#[test]
fn it_is_no_proof_for_what_asks_for_one_until_the_password_is_given() {
    scenario(async |world| {
        let reset = caselot::accounts::command_line::reset_link(&world.system(), CLARA.email).await.expect("a link");
        let body = json!({"token": reset, "password": PASSWORD});
        world.nobody.post("/v1/password-resets/accept", body).await.expect(201);
        let session = accept(world, &link_for(world, &CLARA).await).await.expect(201);
        let clara: Caller = world.clara.with_token(session.text("/access_token"));
        clara.post("/v1/keys", new_key()).await.expect_problem(403, "step_up_needed");
        let confirmed = clara.post("/v1/sessions/current/confirm", json!({"password": PASSWORD})).await;
        confirmed.expect(200);
        clara.post("/v1/keys", new_key()).await.expect(201);
    });
}

/// Made while the person answered for little, it does not open what the person has come to answer for since.
#[test]
fn it_is_not_for_those_who_answer_for_much() {
    scenario(async |world| {
        for who in [&MANAGER, &OVERSEER] {
            let refused = caselot::accounts::command_line::sign_in_link(&world.system(), who.email).await;
            assert_eq!(refused.expect_err("no link").to_string(), "conflict");
        }
        let link = link_for(world, &PIOTR).await;
        let mut owner = world.owner().await;
        let grant = "insert into role_grant (unit_id, grant_id, person_id, role, from_at, log_seq)
             select unit_id, gen_random_uuid(), person_id, 'overseer', now() - interval '400 days', 0
             from membership where account_id = $1";
        sqlx::query(grant).bind(PIOTR.account).execute(&mut owner).await.expect("a grant");
        accept(world, &link).await.expect_problem(401, "bad_link");
    });
}
