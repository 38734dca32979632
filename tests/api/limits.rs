//! What is too much, of the wrong kind or not known (R14, R18, R19): at the limit it works, one beyond it is refused.

use caselot::common::clock;
use caselot::common::ids::{AccountId, SessionId};
use serde_json::{Value, json};

use crate::support::fixture::{CLARA, SEASON, UNIT};
use crate::support::scenario;
use reqwest::Method;

fn new_key() -> Value {
    json!({"name": "wall display", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 90})
}

/// The same JSON, grown to so many bytes by spaces, which mean nothing.
fn padded(body: &Value, length: usize) -> Vec<u8> {
    let mut text = body.to_string().into_bytes();
    text.resize(length, b' ');
    text
}

#[test]
fn a_json_body_has_256_kib_and_not_one_byte_more() {
    scenario(async |world| {
        let send =
            |length| world.clara.post("/v1/keys", json!({})).bytes("application/json", padded(&new_key(), length));
        send(256 * 1024).await.expect(201);
        send(256 * 1024 + 1).await.expect_problem(413, "too_large");
    });
}

#[test]
fn an_address_has_8_kib_and_not_one_byte_more() {
    scenario(async |world| {
        let address = |length: usize| {
            let lead = "/v1/keys?cursor=";
            format!("{lead}{}", "x".repeat(length - lead.len()))
        };
        world.clara.get(&address(8 * 1024)).await.expect_problem(422, "invalid");
        world.clara.get(&address(8 * 1024 + 1)).await.expect_problem(414, "uri_too_long");
    });
}

#[test]
fn a_header_field_has_8_kib_and_not_one_byte_more() {
    scenario(async |world| {
        let poll = |length: usize| world.clara.get("/v1/keys").header("if-none-match", &"x".repeat(length));
        poll(8 * 1024).await.expect(200);
        poll(8 * 1024 + 1).await.expect_problem(431, "headers_too_large");
    });
}

#[test]
fn a_page_has_200_rows_and_parameters_are_known_or_refused() {
    scenario(async |world| {
        for (query, status, code) in [
            ("limit=0", 422, "invalid"),
            ("limit=201", 422, "invalid"),
            ("limit=-1", 400, "bad_parameter"),
            ("limit=many", 400, "bad_parameter"),
            ("limit=1&limit=2", 400, "bad_parameter"),
            ("cursor=rubbish", 400, "bad_cursor"),
            ("cursor=%00", 400, "bad_cursor"),
            ("limits=1", 400, "bad_parameter"),
            ("Limit=1", 400, "bad_parameter"),
            ("limit=", 400, "bad_parameter"),
            ("limit", 400, "bad_parameter"),
        ] {
            world.clara.get(&format!("/v1/keys?{query}")).await.expect_problem(status, code);
        }
        // An empty variable in a script must not list everything; an empty cursor is the first page.
        for name in ["search", "account", "membership_number"] {
            let refused = world.manager.get(&format!("/people?{name}=")).await.expect_problem(400, "bad_parameter");
            assert_eq!(
                (refused.at("/errors/0/parameter"), refused.at("/errors/0/code")),
                (json!(name), json!("empty"))
            );
        }
        world.clara.get("/v1/keys?cursor=").await.expect(200);
        for limit in [1, 200] {
            world.clara.get(&format!("/v1/keys?limit={limit}")).await.expect(200);
        }
        let unknown = world.clara.get("/v1/keys?colour=red").await.expect_problem(400, "bad_parameter");
        assert_eq!(unknown.at("/errors/0/parameter"), "colour");
        for path in ["assignments?troop=", "people?search=", "assignments?troop", "needs?season=&days_ahead=3"] {
            let empty = world.manager.get(&format!("/{path}")).await.expect_problem(400, "bad_parameter");
            assert_eq!(empty.at("/errors/0/code"), "empty", "{path}: else it would be taken for one that was left out");
        }
        world.clara.get(&format!("/v1/units/{UNIT}?season=x")).await.expect_problem(400, "bad_parameter");
    });
}

#[test]
fn what_a_body_does_not_name_is_refused_with_its_place() {
    scenario(async |world| {
        for name in ["other", "key_id", "account_id", "created_at", "secret", "revoked_at"] {
            let mut body = new_key();
            body[name] = json!("x");
            let refused = world.clara.post("/v1/keys", body).await.expect_problem(422, "invalid");
            let errors = refused.at("/errors").to_string();
            assert!(errors.contains(name), "{refused}");
        }
        assert_eq!(world.clara.get("/v1/keys").await.expect(200).at("/items"), json!([]));
    });
}

#[test]
fn what_is_no_json_or_cannot_be_kept_is_told_by_its_place() {
    scenario(async |world| {
        let send = |text: &str| world.clara.post("/v1/keys", json!({})).bytes("application/json", text);
        let good = new_key().to_string();
        let named = |name: &str| good.replace("wall display", name);
        for (text, status, code, place) in [
            (String::new(), 400, "bad_json", Value::Null),
            ("{".to_owned(), 400, "bad_json", Value::Null),
            (format!("{good} x"), 400, "bad_json", Value::Null),
            (named("\\ud800"), 400, "bad_json", Value::Null),
            (named("\\u0000"), 422, "invalid", json!("/name")),
            (named(""), 422, "invalid", json!("/name")),
            (named(&"x".repeat(81)), 422, "invalid", json!("/name")),
            (good.replacen('{', "{\"name\":\"twice\",", 1), 422, "invalid", json!("")),
            (good.replace("90", "\"90\""), 422, "invalid", json!("/lasts_days")),
            (good.replace("90", "1e308"), 422, "invalid", json!("/lasts_days")),
            (good.replace("90", "9223372036854775808"), 422, "invalid", json!("/lasts_days")),
            (good.replace("90", "366"), 422, "invalid", json!("/lasts_days")),
            (good.replace("90", "NaN"), 400, "bad_json", Value::Null),
            (good.replace(&UNIT.to_string(), "rubbish"), 422, "invalid", json!("/unit_id")),
            ("[]".to_owned(), 422, "invalid", json!("")),
            ("null".to_owned(), 422, "invalid", json!("")),
            (format!("{}{}", "[".repeat(33), "]".repeat(33)), 422, "invalid", json!(format!("{}", "/0".repeat(32)))),
        ] {
            let refused = send(&text).await.expect_problem(status, code);
            assert_eq!(refused.at("/errors/0/pointer"), place, "{text}: {refused}");
        }
        for odd in ["\u{202e}\u{200b}\u{feff}", "Ω≈ç√∫", "👩‍👩‍👧", "\u{10ffff}"] {
            send(&named(odd)).await.expect(201);
        }
        send(&named(&"é".repeat(80))).await.expect(201);
    });
}

#[test]
fn a_list_in_a_body_has_a_thousand_elements_at_most() {
    scenario(async |world| {
        let mut body = new_key();
        body["permissions"] = json!(vec!["units.read"; 1_000]);
        let refused = world.clara.post("/v1/keys", body.clone()).await.expect_problem(422, "invalid");
        assert_eq!(refused.at("/errors/0/code"), "not_valid", "this list has its own limit: {refused}");
        body["permissions"] = json!(vec!["units.read"; 1_001]);
        let refused = world.clara.post("/v1/keys", body).await.expect_problem(422, "invalid");
        assert_eq!(refused.at("/errors/0/code"), "too_many", "{refused}");
    });
}

#[test]
fn another_type_of_content_is_refused() {
    scenario(async |world| {
        for kind in
            ["", "text/plain", "application/xml", "application/x-www-form-urlencoded", "application/merge-patch+json"]
        {
            let asked = world.clara.post("/v1/keys", json!({})).bytes(kind, new_key().to_string());
            asked.await.expect_problem(415, "wrong_content_type");
        }
        let asked =
            world.clara.post("/v1/keys", json!({})).bytes("Application/JSON; charset=utf-8", new_key().to_string());
        asked.await.expect(201);
        let path = format!("/seasons/{SEASON}");
        for kind in ["application/merge-patch+json", "application/json"] {
            let etag = world.manager.get(&path).await.expect(200).etag();
            let asked = world.manager.patch(&path, &etag, json!({})).bytes(kind, json!({"label": kind}).to_string());
            asked.await.expect(200);
        }
    });
}

#[test]
fn a_path_names_its_methods_and_answers_head_and_options() {
    scenario(async |world| {
        for (path, allow) in [
            ("/v1/keys", "GET, HEAD, OPTIONS, POST"),
            ("/v1/me", "GET, HEAD, OPTIONS"),
            ("/v1/sessions", "OPTIONS, POST"),
        ] {
            for method in [Method::DELETE, Method::PUT, Method::PATCH] {
                let refused = world.clara.ask(method, path).await.expect_problem(405, "method_not_allowed");
                assert_eq!(refused.header("allow"), allow);
            }
            let options = world.nobody.ask(Method::OPTIONS, path).await.expect(204);
            assert_eq!((options.header("allow"), options.body.len()), (allow, 0));
        }
        // "renumber" and "dates" stand where a troop's and a milestone's id may stand too, which have other methods.
        for path in ["/troops/renumber".to_owned(), format!("/seasons/{SEASON}/milestones/dates")] {
            for method in [Method::PATCH, Method::DELETE, Method::GET] {
                let refused = world.manager.ask(method, &path).await.expect_problem(405, "method_not_allowed");
                assert_eq!(refused.header("allow"), "OPTIONS, POST", "{path}");
            }
        }
        let get = world.clara.get("/v1/me").await.expect(200);
        let head = world.clara.ask(Method::HEAD, "/v1/me").await.expect(200);
        assert_eq!(
            (head.header("etag"), head.header("content-length"), head.body.len()),
            (get.header("etag"), get.body.len().to_string().as_str(), 0)
        );
        world.nobody.ask(Method::HEAD, "/v1/me").await.expect(401);
        world.nobody.get("/nowhere").await.expect_problem(404, "not_found");
        world.nobody.get("/v1/keys/").await.expect_problem(404, "not_found");
    });
}

#[test]
fn every_answer_says_how_many_requests_are_left_and_one_too_many_waits() {
    let few = |mut options: caselot::server::run::Options| {
        options.requests_per_minute = std::num::NonZeroU32::new(5).expect("five");
        options
    };
    crate::support::world::scenario_with(few, async |world| {
        for left in [4, 3, 2, 1, 0] {
            let answer = world.clara.get("/v1/me").await.expect(200);
            assert_eq!(answer.header("ratelimit-policy"), "\"default\";q=5;w=60");
            assert_eq!(answer.header("ratelimit"), format!("\"default\";r={left};t=60"));
        }
        let waits = world.clara.get("/v1/me").await.expect_problem(429, "too_many_requests");
        assert_eq!(waits.header("ratelimit").split(';').nth(1), Some("r=0"));
        let seconds: u32 = waits.header("retry-after").parse().expect("seconds");
        assert!((1..=13).contains(&seconds), "one every twelve seconds, not {seconds}");
        world.piotr.get("/v1/me").await.expect(200);
    });
}

#[test]
fn a_second_sign_in_brings_no_second_measure_of_requests() {
    let few = |mut options: caselot::server::run::Options| {
        options.requests_per_minute = std::num::NonZeroU32::new(5).expect("five");
        options
    };
    crate::support::world::scenario_with(few, async |world| {
        let mut phones = Vec::new();
        for _ in 0..2 {
            let session = uuid::Uuid::now_v7();
            let opened = "insert into session (session_id, account_id, created_at, expires_at, proved_at)
                          select $1, account_id, created_at, expires_at, proved_at from session where session_id = $2";
            let opened = sqlx::query(opened).bind(session).bind(CLARA.session);
            opened.execute(&mut world.owner().await).await.expect("a session");
            let keys = crate::support::server::signing_keys();
            let token = keys.issue(AccountId(CLARA.account), SessionId(session), clock::real_now());
            phones.push(world.clara.with_token(token.expect("a token")));
        }
        for left in [4, 3, 2, 1, 0] {
            let answer = phones[left % 2].get("/v1/me").await.expect(200);
            assert_eq!(answer.header("ratelimit"), format!("\"default\";r={left};t=60"));
        }
        for phone in &phones {
            phone.get("/v1/me").await.expect_problem(429, "too_many_requests");
        }
        world.piotr.get("/v1/me").await.expect(200);
    });
}
