//! Tokens that are not, not yet or no longer good; and that rights are read anew for every request.

use caselot::common::clock;
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};

use crate::support::built::built;
use crate::support::fixture::{self, CLARA};
use crate::support::scenario;

/// The harness's key (`support/server.rs`).
const KEY: [u8; 32] = [b't'; 32];

fn signed(header: &Header, claims: &Value, key: &[u8]) -> String {
    jsonwebtoken::encode(header, claims, &EncodingKey::from_secret(key)).expect("a token")
}

fn header() -> Header {
    Header { typ: Some("at+jwt".to_owned()), kid: Some("test".to_owned()), ..Header::new(Algorithm::HS256) }
}

fn claims(change: &[(&str, Value)]) -> Value {
    let now = clock::real_now().timestamp();
    let mut claims = json!({"iss": "caselot", "aud": "caselot-api", "sub": CLARA.account, "sid": CLARA.session,
        "jti": fixture::NOTHING, "iat": now, "nbf": now, "exp": now + 600});
    for (name, value) in change {
        claims[*name] = value.clone();
    }
    claims
}

/// R06. That each forged token fails for its own reason is shown beside the rule (api/auth/token.rs); here, that the front
/// door uses that rule.
#[test]
fn hostile_tokens_are_refused_at_the_door() {
    scenario(async |world| {
        let good = signed(&header(), &claims(&[]), &KEY);
        world.clara.with_token(good.clone()).get("/v1/me").await.expect(200);
        let now = clock::real_now().timestamp();
        let unsigned = format!(
            "{}.{}.",
            "eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0Iiwia2lkIjoidGVzdCJ9",
            good.split('.').nth(1).expect("claims")
        );
        let hostile = [
            ("nothing", String::new()),
            ("rubbish", "rubbish".to_owned()),
            ("alg none", unsigned),
            ("another key", signed(&header(), &claims(&[]), &[b'x'; 32])),
            ("another algorithm", signed(&Header { alg: Algorithm::HS384, ..header() }, &claims(&[]), &KEY)),
            ("another type", signed(&Header { typ: Some("JWT".to_owned()), ..header() }, &claims(&[]), &KEY)),
            ("an unknown key's name", signed(&Header { kid: Some("old".to_owned()), ..header() }, &claims(&[]), &KEY)),
            (
                "run out",
                signed(
                    &header(),
                    &claims(&[("iat", json!(now - 700)), ("nbf", json!(now - 700)), ("exp", json!(now - 100))]),
                    &KEY,
                ),
            ),
            ("too long a life", signed(&header(), &claims(&[("exp", json!(now + 601))]), &KEY)),
            ("the year 9999", signed(&header(), &claims(&[("exp", json!(253_402_300_799_i64))]), &KEY)),
            ("text for a time", signed(&header(), &claims(&[("exp", json!((now + 600).to_string()))]), &KEY)),
            ("another audience", signed(&header(), &claims(&[("aud", json!("other"))]), &KEY)),
            ("a list of audiences", signed(&header(), &claims(&[("aud", json!(["caselot-api"]))]), &KEY)),
            ("no session of this server", signed(&header(), &claims(&[("sid", json!(fixture::NOTHING))]), &KEY)),
            ("a claim too many", signed(&header(), &claims(&[("role", json!("unit_manager"))]), &KEY)),
            ("a megabyte", format!("{good}{}", "x".repeat(100_000))),
            ("a cut one", good[..good.len() - 1].to_owned()),
        ];
        for (what, token) in hostile {
            let answer = world.clara.with_token(token).get("/v1/me").await;
            assert!(answer.status == 401 || (what == "a megabyte" && answer.status == 431), "{what}: {answer}");
        }
        for scheme in [format!("Basic {good}"), good.clone(), format!("Bearer  {good}"), format!("Bearer {good} x")] {
            world.nobody.get("/v1/me").header("authorization", &scheme).await.expect_problem(401, "not_signed_in");
        }
        world.nobody.get(&format!("/v1/me?token={good}")).await.expect_problem(401, "not_signed_in");
    });
}

/// A session whose account is another's is none: the database says whose it is.
#[test]
fn the_account_in_a_token_is_not_taken_at_its_word() {
    scenario(async |world| {
        let mixed = claims(&[("sub", json!(fixture::MANAGER.account))]);
        let token = signed(&header(), &mixed, &KEY);
        let answer = world.clara.with_token(token).get("/v1/me").await;
        assert!(answer.status == 401 || answer.at("/account_id") == json!(CLARA.account), "{answer}");
    });
}

/// R07: each change bites on the next request, with the same token.
#[test]
fn the_same_token_stops_working_when_its_ground_is_taken_away() {
    let changes: [(&str, &str, u16); 6] = [
        ("update assignment set ended_at = from_at where person_id = $1", "the assignment ended", 404),
        ("update assignment set until_at = '2040-01-10T00:00:00Z' where person_id = $1", "the assignment ran out", 404),
        ("delete from membership where person_id = $1", "the membership ended", 404),
        (
            "update account set disabled_at = created_at where account_id = (select account_id from membership where person_id = $1)",
            "the account was disabled",
            401,
        ),
        (
            "update session set ended_at = created_at, ended_because = 'administrator' where account_id = (select account_id from membership where person_id = $1)",
            "the session was ended",
            401,
        ),
        (
            "update account set tokens_since = '2100-01-01' where account_id = (select account_id from membership where person_id = $1)",
            "all tokens were called in",
            401,
        ),
    ];
    scenario(async |world| {
        let unit = format!("/v1/units/{}", fixture::UNIT);
        for (number, (change, what, status)) in changes.into_iter().enumerate() {
            let person = CLARA.place.expect("a place").person;
            world.clara.get(&unit).await.expect(200);
            let mut owner = world.owner().await;
            // Taken back after each, by keeping what was there.
            for table in ["assignment", "membership", "account", "session"] {
                let keep = format!("create table kept_{number}_{table} as select * from {table}");
                sqlx::raw_sql(built(keep)).execute(&mut owner).await.expect("a copy");
            }
            sqlx::query(change).bind(person).execute(&mut owner).await.expect("a change");
            let answer = world.clara.get(&unit).await;
            assert_eq!(answer.status, status, "{what}: {answer}");
            restore(&mut owner, number).await;
        }
        world.clara.get(&unit).await.expect(200);
    });
}

async fn restore(owner: &mut sqlx::postgres::PgConnection, number: usize) {
    let columns = [
        ("assignment", "assignment_id", "ended_at = k.ended_at, until_at = k.until_at"),
        ("account", "account_id", "disabled_at = k.disabled_at, tokens_since = k.tokens_since"),
        ("session", "session_id", "ended_at = k.ended_at, ended_because = k.ended_because"),
    ];
    for (table, key, set) in columns {
        let back = format!("update {table} t set {set} from kept_{number}_{table} k where t.{key} = k.{key}");
        sqlx::raw_sql(built(back)).execute(&mut *owner).await.expect("taken back");
    }
    let back = format!("insert into membership select * from kept_{number}_membership on conflict do nothing");
    sqlx::raw_sql(built(back)).execute(&mut *owner).await.expect("taken back");
    for table in ["assignment", "membership", "account", "session"] {
        let away = format!("drop table kept_{number}_{table}");
        sqlx::raw_sql(built(away)).execute(&mut *owner).await.expect("tidied up");
    }
}
