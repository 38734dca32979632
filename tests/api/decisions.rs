//! Decisions: appoint, suspend, restore, stand down, sit out, rejoin; and the gates that acts pass.

use caselot::auth::{Db, System};
use caselot::common::ids::{TroopId, UnitId};
use caselot::seasons::policy::GateName;
use caselot::standings;
use serde_json::json;

use crate::standings::{clara_is_ready, met, person, screening};
use crate::support::cluster::Role;
use crate::support::{fixture, scenario};

#[test]
fn appointing_with_an_open_requirement_names_what_is_open() {
    scenario(async |world| {
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        screening(world, &fixture::CLARA, "met", Some("2041-01-31")).await;
        for requirement in ["membership", "registration", "yearly_training"] {
            met(world, &fixture::CLARA, requirement).await;
        }
        let refused = world.manager.post(&appoint, json!({})).await.expect_problem(409, "requirements_open");
        let errors = refused.at("/errors");
        let open: Vec<_> = errors.as_array().expect("errors").iter().map(|error| error["code"].clone()).collect();
        assert_eq!(open, ["agreement", "bank_details"]);
        clara_is_ready(world).await;
        let taken = world.manager.post(&appoint, json!({"reason": "All is in order."})).await.expect(200);
        assert_eq!(taken.at("/decision"), "appoint");
        assert_eq!(taken.at("/troop/standing/state"), "appointed");
        assert_eq!(
            taken.at("/troop/standing/gates/2"),
            json!({
                "gate": "earn", "open": true, "reasons": [], "ahead": [], "let_through": [], "overridden_by": null,
                "changes_at": "2040-09-01T05:00:00Z"
            })
        );
        world.manager.post(&appoint, json!({})).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn a_decision_is_taken_once_however_often_it_is_sent() {
    scenario(async |world| {
        let suspend = format!("/assignments/{}/suspend", fixture::CLARAS_ASSIGNMENT);
        world
            .manager
            .post(&suspend, json!({"reason": "Asked to."}))
            .without_key()
            .await
            .expect_problem(400, "idempotency_key_missing");
        let first = world.manager.post(&suspend, json!({"reason": "Asked to."})).key("suspend-clara").await.expect(200);
        let second =
            world.manager.post(&suspend, json!({"reason": "Asked to."})).key("suspend-clara").await.expect(200);
        assert_eq!(first.json(), second.json());
        world.manager.post(&suspend, json!({"reason": "Asked to."})).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn who_is_suspended_is_restored_once_nothing_is_open() {
    scenario(async |world| {
        let act = |what: &str| format!("/assignments/{}/{what}", fixture::CLARAS_ASSIGNMENT);
        clara_is_ready(world).await;
        world.manager.post(&act("appoint"), json!({})).await.expect(200);
        let agreement = async |outcome: &str| {
            let fact = json!({
                "requirement": "agreement", "person_id": fixture::CLARA.place.expect("a place").person, "outcome": outcome
            });
            world.manager.post("/evidence", fact).await.expect(201).text("/evidence_id")
        };
        let open = agreement("not_met").await;
        let suspended = world.manager.post(&act("suspend"), json!({"reason": "No form by the day."})).await.expect(200);
        assert_eq!(suspended.at("/troop/standing/state"), "suspended");
        world.manager.post(&act("appoint"), json!({})).await.expect_problem(409, "wrong_state");
        world.manager.post(&act("restore"), json!({})).await.expect_problem(409, "requirements_open");
        world.manager.post(&format!("/evidence/{open}/withdraw"), json!({})).await.expect(200);
        let restored = world.manager.post(&act("restore"), json!({})).await.expect(200);
        assert_eq!(restored.at("/troop/standing/state"), "appointed");
        world.manager.post(&act("restore"), json!({})).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn standing_down_ends_the_assignment_and_its_reach() {
    scenario(async |world| {
        world.clara.get("/my-steps").await.expect(200);
        let stand_down = format!("/assignments/{}/stand-down", fixture::CLARAS_ASSIGNMENT);
        let taken = world.manager.post(&stand_down, json!({"reason": "Moved away."})).await.expect(200);
        assert_eq!(taken.at("/troop/standing/state"), "vacant", "piotr is there, but nobody leads");
        assert_eq!(taken.at("/troop/standing/next_step/code"), "name_lead");
        world.clara.get("/my-steps").await.expect_problem(404, "not_found");
        world.manager.post(&stand_down, json!({"reason": "Asked to."})).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn a_troop_sits_out_and_rejoins_where_it_was() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let act = |what: &str| format!("/troops/{}/{what}", fixture::TROOP);
        world.manager.post(&act("rejoin"), json!({})).await.expect_problem(409, "wrong_state");
        let out = world.manager.post(&act("sit-out"), json!({"reason": "Camp that month."})).await.expect(200);
        assert_eq!(out.at("/troop/standing/state"), "sitting_out");
        assert_eq!(out.at("/troop/standing/next_step"), json!(null));
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect_problem(409, "wrong_state");
        let back = world.manager.post(&act("rejoin"), json!({})).await.expect(200);
        assert_eq!(back.at("/troop/standing/state"), "ready");
    });
}

#[test]
fn decisions_are_the_managers_and_reach_no_other_unit() {
    scenario(async |world| {
        let act = |id: &str, what: &str| format!("/assignments/{id}/{what}");
        let (claras, away) = (fixture::CLARAS_ASSIGNMENT.to_string(), fixture::AWAY_ASSIGNMENT.to_string());
        for what in ["appoint", "suspend", "restore", "stand-down"] {
            for other in [&world.overseer, &world.materials, &world.distributor, &world.viewer, &world.clara] {
                other.post(&act(&claras, what), json!({})).await.expect_problem(403, "forbidden");
            }
            world
                .manager
                .post(&act(&away, what), json!({"reason": "Asked to."}))
                .await
                .expect_problem(404, "not_found");
            world
                .stranger
                .post(&act(&claras, what), json!({"reason": "Asked to."}))
                .await
                .expect_problem(404, "not_found");
        }
        for what in ["sit-out", "rejoin"] {
            let path = format!("/troops/{}/{what}", fixture::AWAY_TROOP);
            world.manager.post(&path, json!({"reason": "Asked to."})).await.expect_problem(404, "not_found");
        }
    });
}

#[test]
fn a_person_of_two_troops_moves_both() {
    scenario(async |world| {
        sqlx::query(
            "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, confirmed_at, version, log_seq)
             values ($1, $2, $3, $4, $5, true, '2039-10-01', '2039-10-01', 1, 0)",
        )
        .bind(fixture::UNIT)
        .bind(uuid::Uuid::now_v7())
        .bind(fixture::VACANT_TROOP)
        .bind(fixture::SEASON)
        .bind(person(&fixture::CLARA))
        .execute(&mut world.owner().await)
        .await
        .expect("a second troop");
        clara_is_ready(world).await;
        let list = world.manager.get("/standings").await.expect(200);
        // The bank details form is each troop's own.
        assert_eq!(list.at("/items/0/open_requirements"), 0);
        assert_eq!(list.at("/items/2/open_requirements"), 1);
        assert_eq!(list.at("/items/2/next_step/requirement"), "bank_details");
    });
}

/// No act of this slice is gated; this is one that only the test knows.
#[test]
fn a_gated_act_is_let_through_only_while_its_gate_is_open() {
    scenario(async |world| {
        let collect = async || {
            let db = Db::new(world.copy.options(Role::Runtime), 1);
            let unit = UnitId(fixture::UNIT);
            let mut tx = System::new(db.clone()).open(Some(unit), "test_collect").await.expect("a transaction");
            let season = caselot::seasons::current(&mut tx, unit).await.expect("a season");
            let troop = TroopId(fixture::TROOP);
            let through = standings::require(&mut tx, unit, &season, troop, GateName::Collect).await;
            drop(tx);
            db.close().await;
            through
        };
        let refused = collect().await.expect_err("screening and bank details are missing");
        let caselot::error::ApiError::Fault(fault) = refused else { panic!("{refused:?}") };
        let named: Vec<&str> = fault.errors.iter().map(|error| error.code.as_str()).collect();
        assert_eq!((fault.code.name(), named), ("gate_closed", vec!["screening", "bank_details"]));
        clara_is_ready(world).await;
        collect().await.expect("the gate is open");
        assert!(caselot::GATED_ACTS.is_empty(), "an act is gated now: close its gate here and try it over HTTP");
    });
}
