//! The second factor: set up, asked for, taken away; who must have one; and the day on which the phone is lost (R05).

use std::collections::BTreeSet;

use caselot::common::clock;
use futures_util::future::join_all;
use serde_json::{Value, json};
use totp_rs::{Builder, Secret};

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{CLARA, MANAGER, Somebody, UNIT};
use crate::support::world::{World, scenario_with};
use crate::support::{fixture, scenario};

const PASSWORD: &str = "plum jam on oat rounds";

/// The app on somebody's phone. That it is right is shown by the published codes of RFC 6238 (api/accounts/codes.rs).
struct Phone {
    seed: Vec<u8>,
}

impl Phone {
    fn of(begun: &Answered) -> Self {
        let seed = Secret::try_from_base32(begun.text("/secret")).expect("a secret in base 32");
        assert_eq!(seed.as_ref().len(), 20, "160 bits");
        Self { seed: seed.as_ref().to_vec() }
    }

    /// What it shows in so many half minutes from now.
    fn code(&self, half_minutes: i64) -> String {
        let at = clock::real_now().timestamp() + 30 * half_minutes;
        let totp = Builder::new().with_secret(&*self.seed).build().expect("a clock and a seed");
        totp.generate(u64::try_from(at).expect("after 1970")).to_string()
    }

    /// Six figures that it shows neither now nor a half minute before or after.
    fn wrong(&self) -> String {
        let right: BTreeSet<String> = (-2..=2).map(|step| self.code(step)).collect();
        (0..100).map(|number| format!("{number:06}")).find(|code| !right.contains(code)).expect("a wrong one")
    }
}

async fn reset_link(world: &World, who: &Somebody) -> String {
    caselot::accounts::command_line::reset_link(&world.system(), who.email).await.expect("a reset link")
}

async fn accept_reset(world: &World, link: &str, code: Option<&str>) -> Answered {
    let mut body = json!({"token": link, "password": PASSWORD});
    if let Some(code) = code {
        body["code"] = json!(code);
    }
    world.nobody.post("/v1/password-resets/accept", body).await
}

/// Somebody with a password, by a new session.
async fn with_password(world: &World, caller: &Caller, who: &Somebody) -> Caller {
    let session = accept_reset(world, &reset_link(world, who).await, None).await.expect(201);
    caller.with_token(session.text("/access_token"))
}

async fn sign_in(world: &World, who: &Somebody, password: &str, code: Option<&str>) -> Answered {
    let mut body = json!({"email": who.email, "password": password});
    if let Some(code) = code {
        body["code"] = json!(code);
    }
    world.nobody.post("/v1/sessions", body).await
}

/// As if the last tries and codes lay so many minutes back.
async fn later(world: &World, minutes: i32) {
    let mut owner = world.owner().await;
    for back in [
        "update sign_in_delay set last_failed_at = last_failed_at - make_interval(mins => $1), window_began_at = window_began_at - make_interval(mins => $1)",
        "update second_factor set last_failed_at = last_failed_at - make_interval(mins => $1), last_step = last_step - 2 * $1",
    ] {
        sqlx::query(back).bind(minutes).execute(&mut owner).await.expect("older tries");
    }
}

async fn begin(who: &Caller) -> Answered {
    who.post("/v1/me/second-factor", json!({"password": PASSWORD})).await
}

async fn give(who: &Caller, to: &str, code: &str) -> Answered {
    who.post(&format!("/v1/me/second-factor/{to}"), json!({"code": code})).await
}

fn recovery_codes(answer: &Answered) -> Vec<String> {
    let codes = answer.at("/recovery_codes");
    codes.as_array().expect("codes").iter().map(|code| code.as_str().expect("text").to_owned()).collect()
}

/// Sets it up; the world stands a minute later, so that the phone's present code was not taken yet.
async fn set_up(world: &World, who: &Caller) -> (Phone, Vec<String>) {
    let phone = Phone::of(&begin(who).await.expect(201));
    let codes = recovery_codes(&give(who, "confirm", &phone.code(0)).await.expect(200));
    later(world, 1).await;
    (phone, codes)
}

#[test]
fn once_it_is_confirmed_every_sign_in_asks_for_a_code_and_takes_each_once() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let other = sign_in(world, &CLARA, PASSWORD, None).await.expect(201);
        let begun = begin(&clara).await.expect(201);
        let uri = begun.text("/otpauth_uri");
        assert!(uri.starts_with("otpauth://totp/Caselot:clara.fd%40example.org?"), "{uri}");
        assert!(uri.contains(&format!("secret={}", begun.text("/secret"))), "{uri}");
        // Until the first code was given nobody is asked for one.
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/second_factor"), false);
        sign_in(world, &CLARA, PASSWORD, None).await.expect(201);

        let phone = Phone::of(&begun);
        give(&clara, "confirm", &phone.wrong()).await.expect_problem(403, "proof_wrong");
        let codes = recovery_codes(&give(&clara, "confirm", &phone.code(0)).await.expect(200));
        later(world, 1).await;
        assert_eq!(codes.iter().collect::<BTreeSet<_>>().len(), 10);
        assert!(codes.iter().all(|code| code.len() == 31), "{codes:?}");
        let me = clara.get("/v1/me").await.expect(200);
        assert_eq!((me.at("/second_factor"), me.at("/recovery_codes_left")), (json!(true), json!(10)));
        let other = world.clara.with_token(other.text("/access_token"));
        other.get("/v1/me").await.expect_problem(401, "not_signed_in");

        // The password alone is not enough, and the code may follow at once.
        sign_in(world, &CLARA, PASSWORD, None).await.expect_problem(401, "second_factor_needed");
        let code = phone.code(0);
        sign_in(world, &CLARA, PASSWORD, Some(&code)).await.expect(201);
        sign_in(world, &CLARA, PASSWORD, Some(&code)).await.expect_problem(401, "code_wrong");
        sign_in(world, &CLARA, PASSWORD, Some(&phone.code(-1))).await.expect_problem(401, "code_wrong");
        sign_in(world, &CLARA, PASSWORD, Some(&phone.code(1))).await.expect(201);
    });
}

/// Nothing about a second factor is told before the password was right.
#[test]
fn a_wrong_password_is_answered_alike_with_and_without_a_second_factor() {
    fn bare(answer: &Answered) -> (u16, Value) {
        let mut body = answer.json();
        body["request_id"] = Value::Null;
        body["instance"] = Value::Null;
        (answer.status, body)
    }
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let before = sign_in(world, &CLARA, "not her password at all", None).await;
        later(world, 1).await;
        let (phone, codes) = set_up(world, &clara).await;
        for code in [None, Some(phone.code(0)), Some(phone.wrong()), Some(codes[0].clone())] {
            later(world, 1).await;
            let after = sign_in(world, &CLARA, "not her password at all", code.as_deref()).await;
            assert_eq!(bare(&after), bare(&before));
        }
        // None of them was taken by that.
        later(world, 1).await;
        sign_in(world, &CLARA, PASSWORD, Some(&codes[0])).await.expect(201);
        sign_in(world, &CLARA, PASSWORD, Some(&phone.code(0))).await.expect(201);
    });
}

#[test]
fn after_five_wrong_codes_a_quarter_of_an_hour_passes_before_the_next_is_looked_at() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let (phone, codes) = set_up(world, &clara).await;
        for _ in 0..3 {
            sign_in(world, &CLARA, PASSWORD, Some(&phone.wrong())).await.expect_problem(401, "code_wrong");
        }
        // The same count, wherever a code is asked for.
        for _ in 0..2 {
            give(&clara, "recovery-codes", &phone.wrong()).await.expect_problem(403, "proof_wrong");
        }
        for code in [phone.code(0), codes[0].clone()] {
            let waits = sign_in(world, &CLARA, PASSWORD, Some(&code)).await.expect_problem(429, "sign_in_delayed");
            let seconds: u32 = waits.header("retry-after").parse().expect("seconds");
            assert!((880..=900).contains(&seconds), "{seconds}");
            give(&clara, "remove", &code).await.expect_problem(429, "sign_in_delayed");
            sqlx::query("delete from sign_in_delay").execute(&mut world.owner().await).await.expect("no delay");
        }
        later(world, 15).await;
        sign_in(world, &CLARA, PASSWORD, Some(&phone.code(0))).await.expect(201);
        sign_in(world, &CLARA, PASSWORD, Some(&phone.wrong())).await.expect_problem(401, "code_wrong");
    });
}

#[test]
fn of_many_who_send_the_same_code_at_once_one_is_let_in() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let (phone, _) = set_up(world, &clara).await;
        let code = phone.code(0);
        let answers = join_all((0..8).map(|_| give(&clara, "recovery-codes", &code))).await;
        assert_eq!(answers.iter().filter(|answer| answer.status == 200).count(), 1);
        assert!(answers.iter().all(|answer| matches!(answer.status, 200 | 403 | 429)));
    });
}

#[test]
fn a_recovery_code_opens_once_however_it_is_typed_and_new_ones_void_the_old() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let (phone, codes) = set_up(world, &clara).await;
        let typed = format!(" {} ", codes[0].to_lowercase().replace('-', " "));
        sign_in(world, &CLARA, PASSWORD, Some(&typed)).await.expect(201);
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/recovery_codes_left"), 9);
        sign_in(world, &CLARA, PASSWORD, Some(&codes[0])).await.expect_problem(401, "code_wrong");
        let new = recovery_codes(&give(&clara, "recovery-codes", &phone.code(0)).await.expect(200));
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/recovery_codes_left"), 10);
        sign_in(world, &CLARA, PASSWORD, Some(&codes[1])).await.expect_problem(401, "code_wrong");
        sign_in(world, &CLARA, PASSWORD, Some(&new[1])).await.expect(201);
    });
}

#[test]
fn it_is_taken_away_with_a_last_code_and_every_other_session_ends() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        give(&clara, "remove", "287082").await.expect_problem(409, "wrong_state");
        give(&clara, "confirm", "287082").await.expect_problem(409, "wrong_state");
        let wrong = json!({"password": "not her password at all"});
        clara.post("/v1/me/second-factor", wrong).await.expect_problem(403, "proof_wrong");
        later(world, 1).await;
        // Begun twice, the newer secret counts.
        let older = Phone::of(&begin(&clara).await.expect(201));
        let (phone, codes) = set_up(world, &clara).await;
        assert_ne!(older.seed, phone.seed);
        begin(&clara).await.expect_problem(409, "second_factor_on");
        give(&clara, "confirm", &phone.code(0)).await.expect_problem(409, "second_factor_on");
        let other = sign_in(world, &CLARA, PASSWORD, Some(&codes[0])).await.expect(201);

        give(&clara, "remove", &phone.wrong()).await.expect_problem(403, "proof_wrong");
        let removed = give(&clara, "remove", &phone.code(0)).await.expect(200);
        assert_eq!(removed.at("/ended_sessions"), 1);
        let other = world.clara.with_token(other.text("/access_token"));
        other.get("/v1/me").await.expect_problem(401, "not_signed_in");
        let me = clara.get("/v1/me").await.expect(200);
        assert_eq!((me.at("/second_factor"), me.at("/recovery_codes_left")), (json!(false), json!(0)));
        sign_in(world, &CLARA, PASSWORD, None).await.expect(201);
        // A code that nobody asks for does no harm.
        sign_in(world, &CLARA, PASSWORD, Some("287082")).await.expect(201);
    });
}

/// A reset link stands for the password, not for the phone.
#[test]
fn a_reset_link_asks_for_the_code_and_is_used_up_with_it_only() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let (phone, _) = set_up(world, &clara).await;
        let link = reset_link(world, &CLARA).await;
        accept_reset(world, &link, None).await.expect_problem(401, "second_factor_needed");
        accept_reset(world, &link, Some(&phone.wrong())).await.expect_problem(401, "code_wrong");
        clara.get("/v1/me").await.expect(200);
        let new = accept_reset(world, &link, Some(&phone.code(0))).await.expect(201);
        clara.get("/v1/me").await.expect_problem(401, "not_signed_in");
        world.clara.with_token(new.text("/access_token")).get("/v1/me").await.expect(200);
        later(world, 1).await;
        accept_reset(world, &link, Some(&phone.code(0))).await.expect_problem(401, "bad_link");
    });
}

#[test]
fn when_phone_and_codes_are_lost_the_command_line_helps_and_ends_every_session() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        set_up(world, &clara).await;
        caselot::accounts::command_line::remove_second_factor(&world.system(), CLARA.email).await.expect("removed");
        clara.get("/v1/me").await.expect_problem(401, "not_signed_in");
        sign_in(world, &CLARA, PASSWORD, None).await.expect(201);
        let nobody = caselot::accounts::command_line::remove_second_factor(&world.system(), "no@example.org").await;
        assert!(nobody.is_err());
    });
}

/// A copy of the database alone makes no codes and holds no recovery code; with another sealing key only those open.
#[test]
fn what_is_kept_of_it_opens_nothing_by_itself() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let (phone, codes) = set_up(world, &clara).await;
        let mut owner = world.owner().await;
        let sealed: Vec<u8> =
            sqlx::query_scalar("select secret_sealed from second_factor").fetch_one(&mut owner).await.expect("it");
        assert!(!sealed.windows(phone.seed.len()).any(|part| part == phone.seed));
        for code in &codes {
            let found: bool = sqlx::query_scalar(
                "select exists (select from recovery_code, unnest($1::text[]) as written
                     where position(convert_to(written, 'UTF8') in code_sha256) > 0)",
            )
            .bind(vec![code.clone(), code.replace('-', "")])
            .fetch_one(&mut owner)
            .await
            .expect("the codes");
            assert!(!found);
        }
        sqlx::query(
            "update second_factor set secret_sealed = set_byte(secret_sealed, 0, get_byte(secret_sealed, 0) # 1)",
        )
        .execute(&mut owner)
        .await
        .expect("another seal");
        sign_in(world, &CLARA, PASSWORD, Some(&phone.code(0))).await.expect_problem(401, "code_wrong");
        sign_in(world, &CLARA, PASSWORD, Some(&codes[0])).await.expect(201);
    });
}

#[test]
fn whoever_answers_for_much_sets_one_up_before_anything_else() {
    scenario_with(
        |options| caselot::server::run::Options { second_factor_required: true, ..options },
        async |world| {
            let refused = world.manager.get("/standings").await.expect_problem(403, "second_factor_missing");
            assert!(refused.text("/detail").contains("begin_second_factor"), "{refused}");
            let new = json!({"name": "x", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 1});
            for who in [&world.manager, &world.overseer, &world.administrator] {
                who.post("/v1/keys", new.clone()).await.expect_problem(403, "second_factor_missing");
                who.get("/v1/units").await.expect_problem(403, "second_factor_missing");
                who.get("/v1/me").await.expect(200);
                who.get("/v1/me/sessions").await.expect(200);
            }
            let unit = json!({"name": "Alder Bend", "manager": {"first_name": "Ilse", "last_name": "Mbeki", "email": "i@example.org"}});
            world.administrator.post("/v1/units", unit).await.expect_problem(403, "second_factor_missing");
            // Who has no place there learns nothing but that.
            world.manager.in_unit(fixture::AWAY_UNIT).get("/standings").await.expect_problem(404, "not_found");
            for who in [&world.viewer, &world.materials, &world.distributor, &world.clara] {
                who.get("").await.expect(200);
                who.get("/v1/units").await.expect(200);
            }

            let manager = with_password(world, &world.manager, &MANAGER).await;
            let (phone, _) = set_up(world, &manager).await;
            manager.get("/standings").await.expect(200);
            let key = manager.post("/v1/keys", new).await.expect(201);
            let script = manager.with_key(&key.text("/key/key_id"), key.text("/secret"));
            script.get("").await.expect(200);
            script.get("/v1/keys").await.expect(200);
            // Taken away, neither the manager nor a script of theirs goes on.
            give(&manager, "remove", &phone.code(0)).await.expect(200);
            manager.get("/standings").await.expect_problem(403, "second_factor_missing");
            script.get("").await.expect_problem(403, "second_factor_missing");
            script.get("/v1/keys").await.expect_problem(403, "second_factor_missing");
            manager.post("/v1/sessions/current/end", json!({})).await.expect(200);
        },
    );
}

#[test]
fn a_script_has_no_phone() {
    scenario(async |world| {
        let clara = with_password(world, &world.clara, &CLARA).await;
        let new = json!({"name": "x", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 1});
        let key = clara.post("/v1/keys", new).await.expect(201);
        let script = clara.with_key(&key.text("/key/key_id"), key.text("/secret"));
        begin(&script).await.expect_problem(403, "key_may_not");
        for to in ["confirm", "remove", "recovery-codes"] {
            give(&script, to, "287082").await.expect_problem(403, "key_may_not");
        }
    });
}
