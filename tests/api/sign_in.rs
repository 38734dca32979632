//! Delays after failures, and that nobody learns which accounts exist.

use futures_util::future;
use serde_json::{Value, json};
use sqlx::Connection as _;

use crate::support::client::Answered;
use crate::support::fixture::CLARA;
use crate::support::scenario;
use crate::support::world::World;

const PASSWORD: &str = "plum jam on oat rounds";

/// Gives Clara a password, by a reset link as an administrator would print it.
async fn with_password(world: &World) {
    let link = caselot::accounts::command_line::reset_link(&world.system(), CLARA.email).await.expect("a reset link");
    world.nobody.post("/v1/password-resets/accept", json!({"token": link, "password": PASSWORD})).await.expect(201);
}

async fn attempt(world: &World, email: &str, password: &str) -> Answered {
    world.nobody.post("/v1/sessions", json!({"email": email, "password": password})).await
}

/// As if the last failures lay so many seconds back.
async fn later(world: &World, seconds: i32) {
    sqlx::query("update sign_in_delay set last_failed_at = last_failed_at - make_interval(secs => $1), window_began_at = window_began_at - make_interval(secs => $1)")
        .bind(f64::from(seconds))
        .execute(&mut world.owner().await)
        .await
        .expect("older failures");
}

async fn set_failures(world: &World, failures: i32) {
    sqlx::query("update sign_in_delay set failures = $1 where subject like 'account:%'")
        .bind(failures)
        .execute(&mut world.owner().await)
        .await
        .expect("so many failures");
}

/// An answer without what differs between any two requests.
fn bare(answer: &Answered) -> (u16, Value) {
    let mut body = answer.json();
    body["request_id"] = Value::Null;
    body["instance"] = Value::Null;
    (answer.status, body)
}

#[test]
fn an_unknown_a_disabled_and_a_wrongly_tried_account_answer_alike() {
    scenario(async |world| {
        with_password(world).await;
        let wrong = attempt(world, CLARA.email, "not her password at all").await.expect_problem(401, "bad_credentials");
        let unknown = attempt(world, "nobody.at.all@example.org", PASSWORD).await;
        assert_eq!(bare(&wrong), bare(&unknown));
        let without_password = attempt(world, "noor.halvorsen@example.org", PASSWORD).await;
        assert_eq!(bare(&wrong), bare(&without_password));
        sqlx::query("update account set disabled_at = created_at where account_id = $1")
            .bind(CLARA.account)
            .execute(&mut world.owner().await)
            .await
            .expect("a disabled account");
        later(world, 60).await;
        let disabled = attempt(world, CLARA.email, PASSWORD).await;
        assert_eq!(bare(&wrong), bare(&disabled));
        // The delay behaves alike too.
        for email in [CLARA.email, "nobody.at.all@example.org"] {
            later(world, 60).await;
            attempt(world, email, "wrong").await.expect_problem(401, "bad_credentials");
            world.failed_just_now().await;
            attempt(world, email, "wrong").await.expect_problem(429, "sign_in_delayed");
        }
    });
}

/// R04: 1, 3, 5, 10 seconds below 3, 9, 25, 100 failures.
#[test]
fn the_delay_grows_with_the_failures_and_a_right_password_clears_it() {
    scenario(async |world| {
        with_password(world).await;
        attempt(world, CLARA.email, "wrong").await.expect_problem(401, "bad_credentials");
        for (failures, seconds) in [(1, 1), (2, 1), (3, 3), (8, 3), (9, 5), (24, 5), (25, 10), (99, 10)] {
            later(world, 300).await;
            set_failures(world, failures - 1).await;
            attempt(world, CLARA.email, "wrong").await.expect_problem(401, "bad_credentials");
            world.failed_just_now().await;
            let delayed = attempt(world, CLARA.email, PASSWORD).await.expect_problem(429, "sign_in_delayed");
            assert_eq!(delayed.header("retry-after"), seconds.to_string(), "after {failures} failures");
        }
        later(world, 300).await;
        set_failures(world, 98).await;
        attempt(world, CLARA.email, PASSWORD).await.expect(201);
        attempt(world, CLARA.email, "wrong").await.expect_problem(401, "bad_credentials");
        world.failed_just_now().await;
        assert_eq!(attempt(world, CLARA.email, PASSWORD).await.header("retry-after"), "1");
    });
}

#[test]
fn after_a_hundred_failures_only_a_reset_link_helps_until_the_day_is_over() {
    scenario(async |world| {
        with_password(world).await;
        attempt(world, CLARA.email, "wrong").await.expect_problem(401, "bad_credentials");
        later(world, 3_600).await;
        set_failures(world, 100).await;
        let locked = attempt(world, CLARA.email, PASSWORD).await.expect_problem(429, "sign_in_delayed");
        let wait: u32 = locked.header("retry-after").parse().expect("seconds");
        assert!((82_000..=82_800).contains(&wait), "the rest of 24 hours, not {wait}");
        with_password(world).await;
        later(world, 82_800).await;
        attempt(world, CLARA.email, PASSWORD).await.expect(201);
    });
}

#[test]
fn one_address_may_fail_ten_times_in_a_row_whoever_it_tries() {
    scenario(async |world| {
        for number in 0..10 {
            let email = format!("guess{number}@example.org");
            attempt(world, &email, "wrong").await.expect_problem(401, "bad_credentials");
        }
        let delayed = attempt(world, "guess11@example.org", "wrong").await.expect_problem(429, "sign_in_delayed");
        let wait: u32 = delayed.header("retry-after").parse().expect("seconds");
        assert!((1..=20).contains(&wait), "one more every twenty seconds, not {wait}");
        // What an untrusted sender says about its address changes nothing (R47).
        let body = json!({"email": "guess12@example.org", "password": "wrong"});
        let spoofed = world.nobody.post("/v1/sessions", body).header("x-forwarded-for", "203.0.113.9").await;
        spoofed.expect_problem(429, "sign_in_delayed");
        later(world, 20).await;
        attempt(world, "guess11@example.org", "wrong").await.expect_problem(401, "bad_credentials");
    });
}

/// Whoever knows the old password can keep a try on its way all the time: it must not end in a session that outlives the change.
#[test]
fn a_password_that_is_changed_while_it_is_looked_at_opens_nothing() {
    scenario(async |world| {
        with_password(world).await;
        let open = "select count(*) from session where account_id = $1 and ended_at is null";
        let mut owner = world.owner().await;
        let before: i64 = sqlx::query_scalar(open).bind(CLARA.account).fetch_one(&mut owner).await.expect("sessions");
        let mut other = world.owner().await;
        let mut change = other.begin().await.expect("a change");
        let held = sqlx::query("select from account where account_id = $1 for update").bind(CLARA.account);
        held.execute(&mut *change).await.expect("the account, held");
        let changed = async {
            let waits = "select exists (select from pg_locks l join pg_stat_activity a using (pid)
                                        where not l.granted and a.datname = current_database())";
            while !sqlx::query_scalar::<_, bool>(waits).fetch_one(&mut owner).await.expect("who waits") {
                tokio::time::sleep(std::time::Duration::from_millis(10)).await;
            }
            let new =
                sqlx::query("update account set password_phc = 'another' where account_id = $1").bind(CLARA.account);
            new.execute(&mut *change).await.expect("another password");
            change.commit().await.expect("the change");
        };
        let (tried, ()) = future::join(attempt(world, CLARA.email, PASSWORD), changed).await;
        tried.expect_problem(401, "bad_credentials");
        let after: i64 =
            sqlx::query_scalar(open).bind(CLARA.account).fetch_one(&mut world.owner().await).await.expect("sessions");
        assert_eq!(after, before);
    });
}

#[test]
fn many_first_guesses_at_once_are_counted_each() {
    scenario(async |world| {
        let guesses = (0..8).map(|number| attempt(world, "nobody.at.all@example.org", ["plum", "oat"][number % 2]));
        let answers = future::join_all(guesses).await;
        let looked_at = answers.iter().filter(|answer| answer.status == 401).count();
        let counted: i32 = sqlx::query_scalar("select failures from sign_in_delay where subject like 'account:%'")
            .fetch_one(&mut world.owner().await)
            .await
            .expect("what was counted");
        assert_eq!(usize::try_from(counted).expect("a count"), looked_at);
        assert!(answers.iter().all(|answer| matches!(answer.status, 401 | 429)) && looked_at >= 1);
    });
}
