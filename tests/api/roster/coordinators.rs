//! Who coordinates which troop: named, proposed, confirmed, declined.

use serde_json::json;
use uuid::Uuid;

use super::{each, person, places};
use crate::support::fixture::{self, Somebody};
use crate::support::world::World;
use crate::support::{days, scenario};

#[test]
fn naming_a_coordinator_gives_the_troop_and_one_troop_has_one_lead() {
    scenario(async |world| {
        let name = |troop: Uuid, who: Uuid, lead: bool| json!({"troop_id": troop, "person_id": who, "lead": lead});
        let vacant = format!("/troops/{}", fixture::VACANT_TROOP);
        world.clara.get(&vacant).await.expect_problem(404, "not_found");
        let clara = person(&fixture::CLARA);
        let made = world.manager.post("/assignments", name(fixture::VACANT_TROOP, clara, true)).await.expect(201);
        assert!(made.at("/confirmed_at").is_string() && made.at("/proposed_at").is_null(), "{made}");
        world.clara.get(&vacant).await.expect(200);
        let refused = world.manager.post("/assignments", name(fixture::VACANT_TROOP, clara, false)).await;
        refused.expect_problem(409, "already_assigned");
        let refused = world.manager.post("/assignments", name(fixture::VACANT_TROOP, fixture::DOV, true)).await;
        refused.expect_problem(409, "lead_taken");
        let unknown = name(fixture::AWAY_TROOP, person(&fixture::STRANGER), true);
        let refused = world.manager.post("/assignments", unknown).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/troop_id", "/person_id"]);
        let own = world.clara.get("/assignments").await.expect(200);
        assert_eq!(own.at("/items").as_array().map(Vec::len), Some(3), "clara, piotr, and clara again: {own}");
        let of_yesenia = format!("/assignments?person={}", person(&fixture::YESENIA));
        assert_eq!(each(&world.clara.get(&of_yesenia).await.expect(200), "person_id"), [""; 0]);
        world.viewer.get("/assignments").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn a_vacant_troop_is_vacant_until_somebody_is_named() {
    scenario(async |world| {
        let standing = format!("/standings/{}", fixture::VACANT_TROOP);
        let state = async || world.overseer.get(&standing).await.expect(200).at("/standing/state");
        assert_eq!(state().await, "vacant");
        let id = proposal(world, fixture::VACANT_TROOP, &fixture::YESENIA, true).await;
        assert_eq!(state().await, "vacant");
        world.manager.post(&format!("/assignments/{id}/decline"), json!({})).await.expect(200);
        assert_eq!(state().await, "vacant");
        let named = json!({"troop_id": fixture::VACANT_TROOP, "person_id": fixture::DOV, "lead": true});
        world.manager.post("/assignments", named).await.expect(201);
        assert_eq!(state().await, "gathering");
    });
}

#[test]
fn a_deputys_time_runs_out_and_makes_room() {
    scenario(async |world| {
        let vacant = format!("/troops/{}", fixture::VACANT_TROOP);
        let deputy = json!({"troop_id": fixture::VACANT_TROOP, "person_id": person(&fixture::CLARA), "lead": true, "until_at": "2040-01-12T00:00:00Z"});
        world.manager.post("/assignments", deputy.clone()).await.expect(201);
        let after = json!({"troop_id": fixture::VACANT_TROOP, "person_id": person(&fixture::PIOTR), "lead": true});
        world.manager.post("/assignments", after.clone()).await.expect_problem(409, "lead_taken");
        world.forward(days(3)).await;
        world.clara.get(&vacant).await.expect_problem(404, "not_found");
        world.manager.post("/assignments", deputy).await.expect_problem(422, "invalid");
        world.manager.post("/assignments", after).await.expect(201);
        let listed = world.manager.get(&format!("/assignments?troop={}", fixture::VACANT_TROOP)).await.expect(200);
        assert_eq!(listed.at("/items/0/ended_at"), json!("2040-01-12T00:00:00Z"));
        assert_eq!(listed.at("/items/1/ended_at"), json!(null));
    });
}

/// What a list does: it proposes.
async fn proposal(world: &World, troop: Uuid, who: &Somebody, lead: bool) -> Uuid {
    let id = Uuid::now_v7();
    sqlx::query(
        "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, proposed_at, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, '2040-01-09T00:00:00Z', '2040-01-09T00:00:00Z', 1, 0)",
    )
    .bind(fixture::UNIT)
    .bind(id)
    .bind(troop)
    .bind(fixture::SEASON)
    .bind(person(who))
    .bind(lead)
    .execute(&mut world.owner().await)
    .await
    .expect("a proposal");
    id
}

#[test]
fn a_proposal_gives_nothing_until_a_person_confirms_it() {
    scenario(async |world| {
        let id = proposal(world, fixture::VACANT_TROOP, &fixture::YESENIA, true).await;
        let vacant = format!("/troops/{}", fixture::VACANT_TROOP);
        world.yesenia.get(&vacant).await.expect_problem(404, "not_found");
        let waiting = world.overseer.get("/assignments?proposed=true").await.expect(200);
        assert_eq!(each(&waiting, "assignment_id"), [id.to_string()]);
        world.yesenia.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect_problem(403, "forbidden");
        let confirmed = world.manager.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect(200);
        assert_eq!((confirmed.at("/lead"), confirmed.etag()), (json!(true), "\"v2\"".to_owned()));
        world.yesenia.get(&vacant).await.expect(200);
        world.manager.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect_problem(409, "wrong_state");
        world.manager.post(&format!("/assignments/{id}/decline"), json!({})).await.expect_problem(409, "wrong_state");
        let nothing = format!("/assignments/{}/confirm", fixture::AWAY_ASSIGNMENT);
        world.manager.post(&nothing, json!({})).await.expect_problem(404, "not_found");
    });
}

#[test]
fn a_person_decides_who_leads_and_what_is_declined_stays_declined() {
    scenario(async |world| {
        let id = proposal(world, fixture::TROOP, &fixture::YESENIA, true).await;
        let confirm = format!("/assignments/{id}/confirm");
        world.manager.post(&confirm, json!({})).await.expect_problem(409, "lead_taken");
        let confirmed = world.manager.post(&confirm, json!({"lead": false})).await.expect(200);
        assert_eq!(confirmed.at("/lead"), json!(false));
        let other = proposal(world, fixture::OTHER_TROOP, &fixture::CLARA, false).await;
        let declined = world.manager.post(&format!("/assignments/{other}/decline"), json!({})).await.expect(200);
        assert!(declined.at("/declined_at").is_string(), "{declined}");
        world.clara.get(&format!("/troops/{}", fixture::OTHER_TROOP)).await.expect_problem(404, "not_found");
        world
            .manager
            .post(&format!("/assignments/{other}/confirm"), json!({}))
            .await
            .expect_problem(409, "wrong_state");
        assert_eq!(each(&world.manager.get("/assignments?proposed=true").await.expect(200), "assignment_id"), [""; 0]);
    });
}

#[test]
fn who_begins_later_is_told_by_the_vacant_troops_standing_and_by_the_queue() {
    scenario(async |world| {
        let later = json!({"troop_id": fixture::VACANT_TROOP, "person_id": fixture::DOV, "lead": true,
            "from_at": "2040-02-01T06:00:00Z"});
        let made = world.manager.post("/assignments", later).await.expect(201);
        let path = format!("/standings/{}", fixture::VACANT_TROOP);
        let standing = world.overseer.get(&path).await.expect(200);
        assert_eq!(standing.at("/standing/state"), "vacant", "nobody counts before the day");
        assert_eq!(
            standing.at("/standing/begins"),
            json!([{"assignment_id": made.at("/assignment_id"), "person_id": fixture::DOV, "lead": true,
                "from_at": "2040-02-01T06:00:00Z"}])
        );
        assert_eq!(standing.at("/people"), json!([{"person_id": fixture::DOV, "name": "Dov Achterberg"}]));
        assert_eq!(standing.at("/standing/changes_at"), "2040-01-27T06:00:00Z", "a gate shuts before that");
        let seen = world.viewer.get(&path).await.expect(200);
        assert_eq!((seen.at("/standing/begins"), seen.at("/people")), (json!([]), json!([])));
        let queue = world.manager.get("/needs").await.expect(200).at("/items");
        let items = queue.as_array().expect("items").iter();
        let find = items.clone().find(|item| item["kind"] == "find_coordinator").expect("the vacant troop");
        assert_eq!(
            find["what"],
            "Nobody coordinates troop 0103 until 2040-02-01, when Dov Achterberg begins: find somebody for that time if it cannot wait."
        );
        world.set_clock("2040-02-01T06:00:01Z".parse().expect("an instant")).await;
        let standing = world.overseer.get(&path).await.expect(200);
        assert_eq!((standing.at("/standing/state"), standing.at("/standing/begins")), (json!("gathering"), json!([])));
        // Before anybody knew of it, nobody was to begin.
        let then = world.overseer.get(&format!("{path}?as_of=2040-01-10T12:00:00Z")).await.expect(200);
        assert_eq!(then.at("/standing/begins"), json!([]));
    });
}
