//! Tokens that are not, not yet or no longer good; and that rights are read anew for every request.

use std::collections::BTreeSet;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use caselot::common::clock;
use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};

use crate::support::built::built;
use crate::support::fixture::{self, CLARA};
use crate::support::scenario;
use crate::support::world::World;

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

/// Header and claims as they stand, rightly signed.
fn forged(header: &str, claims: &str) -> String {
    let message = format!("{}.{}", URL_SAFE_NO_PAD.encode(header), URL_SAFE_NO_PAD.encode(claims));
    let signature = jsonwebtoken::crypto::sign(message.as_bytes(), &EncodingKey::from_secret(&KEY), Algorithm::HS256);
    format!("{message}.{}", signature.expect("a signature"))
}

const HEADER: &str = r#"{"alg":"HS256","typ":"at+jwt","kid":"test"}"#;

/// Tokens with another header, every one of them rightly signed where that can be.
fn with_hostile_headers(good: &str) -> Vec<(&'static str, String)> {
    let rest = good.split_once('.').expect("a token").1;
    let unsigned =
        |header: &str| format!("{}.{}.", URL_SAFE_NO_PAD.encode(header), rest.split('.').next().expect("claims"));
    let headed = |header: &str| forged(header, &claims(&[]).to_string());
    vec![
        ("alg none", unsigned(r#"{"alg":"none","typ":"at+jwt","kid":"test"}"#)),
        ("alg None", unsigned(r#"{"alg":"None","typ":"at+jwt","kid":"test"}"#)),
        ("no signature", unsigned(HEADER)),
        ("alg in small letters", headed(r#"{"alg":"hs256","typ":"at+jwt","kid":"test"}"#)),
        ("a list of algs", headed(r#"{"alg":["HS256"],"typ":"at+jwt","kid":"test"}"#)),
        ("two algs", headed(r#"{"alg":"none","alg":"HS256","typ":"at+jwt","kid":"test"}"#)),
        ("no alg", headed(r#"{"typ":"at+jwt","kid":"test"}"#)),
        ("a key pair's alg", headed(r#"{"alg":"RS256","typ":"at+jwt","kid":"test"}"#)),
        ("another algorithm", signed(&Header { alg: Algorithm::HS384, ..header() }, &claims(&[]), &KEY)),
        ("another type", signed(&Header { typ: Some("JWT".to_owned()), ..header() }, &claims(&[]), &KEY)),
        ("no type", headed(r#"{"alg":"HS256","kid":"test"}"#)),
        ("an unknown key's name", signed(&Header { kid: Some("old".to_owned()), ..header() }, &claims(&[]), &KEY)),
        ("no key's name", headed(r#"{"alg":"HS256","typ":"at+jwt"}"#)),
        ("an empty key's name", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":""}"#)),
        ("a file for a key's name", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"../../dev/null"}"#)),
        ("a query for a key's name", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"' or 'test'='test"}"#)),
        ("what must be understood", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"test","crit":["exp"],"exp":1}"#)),
        (
            "where to fetch a key",
            headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"test","jku":"https://keys.example.org"}"#),
        ),
        ("a key of its own", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"test","jwk":{"kty":"oct","k":"dHR0"}}"#)),
        ("a certificate", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"test","x5u":"https://keys.example.org"}"#)),
        ("packed", headed(r#"{"alg":"HS256","typ":"at+jwt","kid":"test","zip":"DEF"}"#)),
        ("a list for a header", headed(r#"["HS256","at+jwt","test"]"#)),
        ("a header that is no JSON", headed("rubbish")),
    ]
}

/// Tokens that say something else, every one of them rightly signed.
fn with_hostile_claims() -> Vec<(String, String)> {
    let now = clock::real_now().timestamp();
    let with = |change: &[(&str, Value)]| signed(&header(), &claims(change), &KEY);
    let mut all: Vec<(String, String)> = ["iss", "aud", "sub", "sid", "jti", "iat", "nbf", "exp"]
        .into_iter()
        .map(|name| {
            let mut left = claims(&[]);
            left.as_object_mut().expect("claims").remove(name);
            (format!("without {name}"), signed(&header(), &left, &KEY))
        })
        .collect();
    let changed = [
        ("run out", vec![("iat", json!(now - 700)), ("nbf", json!(now - 700)), ("exp", json!(now - 100))]),
        (
            "run out six seconds ago",
            vec![("iat", json!(now - 606)), ("nbf", json!(now - 606)), ("exp", json!(now - 6))],
        ),
        ("not yet", vec![("nbf", json!(now + 60))]),
        ("made in future", vec![("iat", json!(now + 60)), ("exp", json!(now + 600))]),
        ("too long a life", vec![("exp", json!(now + 601))]),
        ("the year 9999", vec![("exp", json!(253_402_300_799_i64))]),
        ("the end of numbers", vec![("iat", json!(i64::MIN)), ("exp", json!(i64::MAX))]),
        ("ended before it began", vec![("exp", json!(now - 1)), ("iat", json!(now))]),
        ("text for a time", vec![("exp", json!((now + 600).to_string()))]),
        ("half a second", vec![("exp", json!(1.5))]),
        ("no time", vec![("exp", Value::Null)]),
        ("a list of times", vec![("exp", json!([now + 600]))]),
        ("another issuer", vec![("iss", json!("other"))]),
        ("a number for an issuer", vec![("iss", json!(1))]),
        ("a list of issuers", vec![("iss", json!(["caselot"]))]),
        ("another audience", vec![("aud", json!("other"))]),
        ("a number for an audience", vec![("aud", json!(1))]),
        ("an object for an audience", vec![("aud", json!({"caselot-api": true}))]),
        ("a list of audiences", vec![("aud", json!(["caselot-api"]))]),
        ("no account's id", vec![("sub", json!("clara"))]),
        ("no session of this server", vec![("sid", json!(fixture::NOTHING))]),
        ("a person for a session", vec![("sid", json!(CLARA.place.expect("a place").person))]),
        ("a claim too many", vec![("role", json!("unit_manager"))]),
        ("an administrator by its own word", vec![("administrator", json!(true))]),
    ];
    all.extend(changed.iter().map(|(what, change)| ((*what).to_owned(), with(change))));
    let doubled = claims(&[]).to_string().replacen('{', &format!("{{\"sub\":\"{}\",", fixture::MANAGER.account), 1);
    all.push(("two accounts".to_owned(), forged(HEADER, &doubled)));
    all.push(("a list for claims".to_owned(), forged(HEADER, "[]")));
    all.push(("claims that are no JSON".to_owned(), forged(HEADER, "rubbish")));
    all
}

/// A good token, and what is nearly one.
fn nearly(good: &str) -> Vec<(&'static str, String)> {
    let parts: Vec<&str> = good.split('.').collect();
    let (message, signature) = good.rsplit_once('.').expect("a signature");
    let other = signed(&header(), &claims(&[("jti", json!(CLARA.account))]), &KEY);
    vec![
        ("nothing", String::new()),
        ("rubbish", "rubbish".to_owned()),
        ("dots", "..".to_owned()),
        ("another key", signed(&header(), &claims(&[]), &[b'x'; 32])),
        ("an empty key", signed(&header(), &claims(&[]), &[])),
        ("a short key", signed(&header(), &claims(&[]), b"t")),
        ("another token's signature", format!("{message}.{}", other.rsplit_once('.').expect("a signature").1)),
        ("a cut one", good[..good.len() - 1].to_owned()),
        ("a cut signature", format!("{message}.{}", &signature[..20])),
        ("two parts", message.to_owned()),
        ("four parts", format!("{good}.{signature}")),
        ("five parts, as if sealed", format!("{}..{}.{}.{}", parts[0], parts[1], parts[1], parts[2])),
        ("padded", format!("{good}=")),
        ("padded inside", format!("{}=.{}.{}", parts[0], parts[1], parts[2])),
        ("a space inside", format!("{} .{}.{}", parts[0], parts[1], parts[2])),
        ("a quoted one", format!("\"{good}\"")),
        ("four kibibytes and more", format!("{good}{}", "x".repeat(4_097))),
        ("a megabyte", format!("{good}{}", "x".repeat(100_000))),
    ]
}

/// Secrets of this server that open something else.
async fn for_something_else(world: &World) -> Vec<(&'static str, String)> {
    let dov = format!("/people/{}", fixture::DOV);
    let contact = world.manager.get(&format!("{dov}/contact")).await.expect(200);
    let address = json!({"email": "dov.achterberg@example.org"});
    world.manager.patch(&format!("{dov}/contact"), &contact.etag(), address).await.expect(200);
    let invited = world.manager.post(&format!("{dov}/invite"), json!({})).await.expect(201);
    let invitation = invited.text("/invitation_link").rsplit_once('#').expect("a secret in the link").1.to_owned();
    let reset = || async {
        let link = caselot::accounts::command_line::reset_link(&world.system(), fixture::PIOTR.email).await;
        let link = link.expect("a reset link");
        link.rsplit_once('#').map_or(link.clone(), |(_, secret)| secret.to_owned())
    };
    let body = json!({"token": reset().await, "password": "plum jam on oat rounds"});
    let session = world.nobody.post("/v1/password-resets/accept", body).await.expect(201);
    let new = json!({"name": "a script", "unit_id": fixture::UNIT, "permissions": ["units.read"], "lasts_days": 1});
    let key = world.manager.post("/v1/keys", new).await.expect(201).text("/secret");
    let sign_in = caselot::accounts::command_line::sign_in_link(&world.system(), fixture::PIOTR.email).await;
    let sign_in = sign_in.expect("a sign-in link");
    let mistyped = format!("{}{}", &key[..key.len() - 1], if key.ends_with('0') { '1' } else { '0' });
    vec![
        ("a refresh token", session.text("/refresh_token")),
        ("an invitation", invitation),
        ("a reset link", reset().await),
        ("a sign-in link", sign_in),
        ("a mistyped key", mistyped),
        ("a key without its beginning", key.trim_start_matches("cslk_").to_owned()),
        ("the beginning of a key", key[..11].to_owned()),
        ("a session's id", CLARA.session.to_string()),
    ]
}

/// R06. That each forged token fails for its own reason is shown beside the rule (api/auth/token.rs); here, that the front
/// door uses that rule.
#[test]
fn hostile_tokens_are_refused_at_the_door() {
    scenario(async |world| {
        let good = signed(&header(), &claims(&[]), &KEY);
        world.clara.with_token(good.clone()).get("/v1/me").await.expect(200);
        world.clara.with_token(forged(HEADER, &claims(&[]).to_string())).get("/v1/me").await.expect(200);
        let mut hostile: Vec<(String, String)> = with_hostile_claims();
        for (what, token) in [with_hostile_headers(&good), nearly(&good), for_something_else(world).await].concat() {
            hostile.push((what.to_owned(), token));
        }
        let names: BTreeSet<&String> = hostile.iter().map(|(what, _)| what).collect();
        assert!(names.len() == hostile.len() && names.len() >= 80, "{} tokens, {} names", hostile.len(), names.len());
        for (what, token) in &hostile {
            let answer = world.clara.with_token(token.clone()).get("/v1/me").await;
            let too_large = what == "a megabyte" && answer.status == 431;
            assert!(answer.status == 401 || too_large, "{what}: {answer}");
        }
        for scheme in [format!("Basic {good}"), good.clone(), format!("Bearer  {good}"), format!("Bearer {good} x")] {
            world.nobody.get("/v1/me").header("authorization", &scheme).await.expect_problem(401, "not_signed_in");
        }
        world.nobody.get(&format!("/v1/me?token={good}")).await.expect_problem(401, "not_signed_in");
        world.nobody.get(&format!("/v1/me?access_token={good}")).await.expect_problem(401, "not_signed_in");
        world
            .nobody
            .get("/v1/me")
            .header("cookie", &format!("token={good}"))
            .await
            .expect_problem(401, "not_signed_in");
        // The one that is good is good all the while.
        world.clara.with_token(good).get("/v1/me").await.expect(200);
        println!("{} hostile tokens refused", hostile.len());
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
