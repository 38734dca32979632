//! Keys for scripts: they read, within what their owner may see at that moment.

use serde_json::json;

use crate::support::client::{Answered, Caller};
use crate::support::fixture::{CLARA, CLARAS_ASSIGNMENT, UNIT, VIEWER};
use crate::support::scenario;

fn new_key(permissions: &[&str]) -> serde_json::Value {
    json!({"name": "wall display", "unit_id": UNIT, "permissions": permissions, "lasts_days": 90})
}

fn script(owner: &Caller, made: &Answered) -> Caller {
    owner.with_key(&made.text("/key/key_id"), made.text("/secret"))
}

#[test]
fn a_key_reads_what_it_was_given_and_nothing_else() {
    scenario(async |world| {
        let made = world.manager.post("/v1/keys", new_key(&["units.read"])).await.expect(201);
        assert!(made.text("/secret").starts_with(&made.text("/key/shown_prefix")));
        let script = script(&world.manager, &made);
        script.get(&format!("/v1/units/{UNIT}")).await.expect(200);
        script.get("/log").await.expect_problem(403, "forbidden");
        script.in_unit(crate::support::fixture::AWAY_UNIT).get("/log").await.expect_problem(404, "not_found");
        script.post("/v1/keys", new_key(&["units.read"])).await.expect_problem(403, "key_may_not");
        script.post("/v1/sessions/current/end", json!({})).await.expect_problem(403, "key_may_not");
        let listed = world.manager.get("/v1/keys").await.expect(200);
        assert!(listed.at("/items/0").get("secret").is_none(), "a secret is shown once");
        assert_eq!(listed.at("/items/0/key_id"), made.at("/key/key_id"));
        let mut owner = world.owner().await;
        let kept: i64 = sqlx::query_scalar(
            "select count(*) from access_key where token_sha256::text like '%' || $1 || '%' or shown_prefix = $1",
        )
        .bind(made.text("/secret"))
        .fetch_one(&mut owner)
        .await
        .expect("the keys");
        assert_eq!(kept, 0, "only the digest is kept");
    });
}

#[test]
fn a_key_that_could_change_something_is_not_made() {
    scenario(async |world| {
        let refused = world.manager.post("/v1/keys", new_key(&["units.read", "policy.change", "no.such"])).await;
        let refused = refused.expect_problem(422, "invalid");
        let at = |place: &str| {
            (refused.at(&format!("/errors/{place}/pointer")), refused.at(&format!("/errors/{place}/code")))
        };
        assert_eq!(at("0"), (json!("/permissions/1"), json!("changes_something")));
        assert_eq!(at("1"), (json!("/permissions/2"), json!("unknown")));
    });
}

/// A script that loads lists: it may do that by name, acts under its own name in the log, and decides nothing.
#[test]
fn a_key_changes_what_it_was_given_by_name_and_decides_nothing() {
    scenario(async |world| {
        let given = ["intakes.read", "intakes.upload", "evidence.record", "standings.read"];
        let made = world.manager.post("/v1/keys", new_key(&given)).await.expect(201);
        let script = script(&world.manager, &made);
        let fact =
            json!({"requirement": "agreement", "person_id": CLARA.place.expect("a place").person, "outcome": "met"});
        script.post("/evidence", fact).await.expect(201);
        let log = world.overseer.get("/log?limit=200").await.expect(200).at("/items");
        let newest = log.as_array().expect("rows").last().expect("a row").clone();
        assert_eq!(
            (&newest["action"], &newest["actor"]),
            (&json!("record_evidence"), &json!(format!("key:{}", made.text("/key/key_id"))))
        );
        let list = "Troop,Received on\n0101,2040-01-03\n";
        let intake = crate::intake::read(&script, "bank_details", "2040-01-09", list).await;
        let refused = crate::intake::apply(&script, &intake).await.expect_problem(403, "forbidden");
        assert!(refused.text("/detail").contains("intakes.apply"), "{refused}");
        let appoint = format!("/assignments/{CLARAS_ASSIGNMENT}/appoint");
        script.post(&appoint, json!({})).await.expect_problem(403, "key_may_not");
        script.post("/v1/keys", new_key(&["units.read"])).await.expect_problem(403, "key_may_not");
    });
}

/// Each name on the list of what a key may change is one that changes something and asks for no fresh sign-in.
#[test]
fn what_a_key_may_change_is_never_what_asks_for_a_fresh_sign_in() {
    use caselot::auth::permission::{KEY_MAY_CHANGE, is_server, steps_up, writes};
    for name in KEY_MAY_CHANGE {
        assert!(writes(name) && !steps_up(name) && !is_server(name), "{name}");
        assert!(!["decisions.take", "returns.file", "policy.change", "grants.change"].contains(name), "{name}");
    }
}

#[test]
fn a_key_ends_with_its_owners_role_on_the_next_request() {
    scenario(async |world| {
        let made = world.viewer.post("/v1/keys", new_key(&["units.read"])).await.expect(201);
        let script = script(&world.viewer, &made);
        script.get(&format!("/v1/units/{UNIT}")).await.expect(200);
        sqlx::query("update role_grant set ended_at = from_at where person_id = $1")
            .bind(VIEWER.place.expect("a place").person)
            .execute(&mut world.owner().await)
            .await
            .expect("an ended role");
        script.get(&format!("/v1/units/{UNIT}")).await.expect_problem(404, "not_found");
    });
}

#[test]
fn a_revoked_an_expired_and_a_mistyped_key_are_no_keys() {
    scenario(async |world| {
        let made = world.viewer.post("/v1/keys", new_key(&["units.read"])).await.expect(201);
        let script = script(&world.viewer, &made);
        let mut mistyped = made.text("/secret");
        mistyped.pop();
        world.viewer.with_token(mistyped).get("/v1/me").await.expect_problem(401, "not_signed_in");
        let path = format!("/v1/keys/{}/revoke", made.text("/key/key_id"));
        world.manager.post(&path, json!({})).await.expect_problem(404, "not_found");
        let revoked = world.viewer.post(&path, json!({})).await.expect(200);
        assert_ne!(revoked.at("/revoked_at"), json!(null));
        script.get("/v1/me").await.expect_problem(401, "not_signed_in");
        world.viewer.post(&path, json!({})).await.expect_problem(409, "already_ended");

        let second = world.viewer.post("/v1/keys", new_key(&["units.read"])).await.expect(201);
        sqlx::query("update access_key set expires_at = created_at")
            .execute(&mut world.owner().await)
            .await
            .expect("old keys");
        world.viewer.with_token(second.text("/secret")).get("/v1/me").await.expect_problem(401, "not_signed_in");
    });
}

#[test]
fn keys_are_ones_own_and_a_page_follows_another() {
    scenario(async |world| {
        for _ in 0..3 {
            world.clara.post("/v1/keys", new_key(&["units.read"])).await.expect(201);
        }
        world.piotr.post("/v1/keys", new_key(&["units.read"])).await.expect(201);
        let first = world.clara.get("/v1/keys?limit=2").await.expect(200);
        let cursor = first.text("/next_cursor");
        assert_eq!(first.header("link"), format!("</v1/keys?limit=2&cursor={cursor}>; rel=\"next\""));
        let second = world.clara.get(&format!("/v1/keys?limit=2&cursor={cursor}")).await.expect(200);
        assert_eq!(second.at("/next_cursor"), json!(null));
        let ids = |page: &Answered| {
            page.at("/items").as_array().expect("items").iter().map(|key| key["key_id"].clone()).collect::<Vec<_>>()
        };
        let (first, second) = (ids(&first), ids(&second));
        assert_eq!((first.len(), second.len()), (2, 1));
        assert!(!first.contains(&second[0]));
        world.clara.get(&format!("/v1/units?cursor={cursor}")).await.expect_problem(400, "bad_cursor");
    });
}
