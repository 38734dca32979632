//! Exceptions: waivers of requirements and overrides of gates, by one person or by two. The shipped policy says: the
//! agreement may be waived by the manager, the yearly training by two people, membership by nobody; the order gate may be
//! overridden by the manager until orders are due (26 January), by two people after that, the collect gate by nobody.

use serde_json::{Value, json};

use crate::standings::{clara_is_ready, met, person, screening};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

fn waiver(requirement: &str, until: &str) -> Value {
    json!({
        "requirement": requirement, "person_id": person(&fixture::CLARA), "reason": "The copy is in the post.",
        "until_on": until
    })
}

fn pass(gate: &str, until: &str) -> Value {
    json!({"gate": gate, "troop_id": fixture::TROOP, "reason": "Agreed on the phone.", "until_on": until})
}

async fn standing(world: &World) -> Answered {
    world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200)
}

/// The row of a requirement of clara's in a standing.
fn row(standing: &Answered, requirement: &str) -> Value {
    let rows = standing.at("/standing/coordinators/0/requirements");
    rows.as_array().expect("rows").iter().find(|row| row["requirement"] == requirement).cloned().expect("a row")
}

/// Makes the unit manager an overseer too, so that only the rule about two people stands between.
async fn manager_oversees_too(world: &World) {
    let role = json!({"person_id": fixture::MANAGER.place.expect("a place").person, "role": "overseer"});
    world.manager.post("/grants", role).await.expect(201);
}

#[test]
fn a_waiver_closes_a_requirement_until_its_last_day_and_never_reads_as_met() {
    scenario(async |world| {
        screening(world, &fixture::CLARA, "met", Some("2041-01-31")).await;
        for requirement in ["membership", "registration", "yearly_training"] {
            met(world, &fixture::CLARA, requirement).await;
        }
        let form = json!({"requirement": "bank_details", "troop_id": fixture::TROOP, "outcome": "met"});
        world.manager.post("/evidence", form).await.expect(201);
        let made = world.manager.post("/waivers", waiver("agreement", "2040-01-20")).await.expect(201);
        assert_eq!((made.at("/state"), made.at("/needs_two_people")), (json!("in_force"), json!(false)));
        let id = made.text("/waiver_id");
        assert_eq!(made.header("location"), format!("/v1/units/{}/waivers/{id}", fixture::UNIT));
        let seen = standing(world).await;
        assert_eq!(seen.at("/standing/state"), "ready");
        let agreement = row(&seen, "agreement");
        assert_eq!(
            (&agreement["outcome"], &agreement["closed"], &agreement["valid_until_on"], &agreement["waiver_id"]),
            (&json!("waived"), &json!(true), &json!("2040-01-20"), &json!(id))
        );
        assert_eq!(
            seen.at("/exceptions"),
            json!([{"waiver_id": id, "override_id": null, "reason": "The copy is in the post.", "until_on": "2040-01-20"}])
        );
        assert_eq!(seen.at("/standing/lapses/0/cause"), "waiver_ends");
        let claras = world.clara.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(
            (row(&claras, "agreement")["outcome"].clone(), claras.at("/exceptions")),
            (json!("waived"), json!([]))
        );
        assert!(!String::from_utf8_lossy(&claras.body).contains("in the post"), "{claras}");
        world.set_clock("2040-01-21T05:59:00Z".parse().expect("an instant")).await;
        assert_eq!(standing(world).await.at("/standing/state"), "ready");
        // The end of 20 January in Chicago.
        world.set_clock("2040-01-21T06:00:01Z".parse().expect("an instant")).await;
        let after = standing(world).await;
        assert_eq!((after.at("/standing/state"), after.at("/exceptions")), (json!("gathering"), json!([])));
        let over = world.overseer.get("/waivers?state=over").await.expect(200);
        assert_eq!(over.at("/items/0/waiver_id"), json!(id));
        world.manager.post(&format!("/waivers/{id}/end"), json!({})).await.expect_problem(409, "already_ended");
    });
}

#[test]
fn what_the_policy_lets_nobody_waive_is_refused_by_name() {
    scenario(async |world| {
        for never in ["membership", "screening", "registration"] {
            let refused = world.manager.post("/waivers", waiver(never, "2040-01-20")).await;
            let refused = refused.expect_problem(409, "nobody_may");
            assert_eq!(refused.at("/errors/0/code"), never);
            assert!(refused.text("/detail").contains("waived by nobody"), "{refused}");
        }
        assert_eq!(world.manager.get("/waivers").await.expect(200).at("/items"), json!([]));
    });
}

#[test]
fn everything_that_is_wrong_with_a_waiver_is_told() {
    scenario(async |world| {
        let faulty = |change: (&str, Value)| {
            let mut body = waiver("agreement", "2040-01-20");
            body[change.0] = change.1;
            body
        };
        for (change, status, code, pointer) in [
            (("requirement", json!("moon")), 422, "invalid", "/requirement"),
            (("requirement", json!("bank_details")), 422, "invalid", "/person_id"),
            (("troop_id", json!(fixture::TROOP)), 422, "invalid", "/person_id"),
            (("person_id", json!(fixture::NOTHING)), 422, "unknown_reference", "/person_id"),
            (("person_id", json!(person(&fixture::AWAY_COORDINATOR))), 422, "unknown_reference", "/person_id"),
            (("person_id", json!(person(&fixture::VIEWER))), 422, "unknown_reference", "/person_id"),
            (("reason", json!("  ")), 422, "invalid", "/reason"),
            (("until_on", json!("2040-01-09")), 422, "invalid", "/until_on"),
            (("until_on", json!("2040-06-01")), 422, "invalid", "/until_on"),
        ] {
            let refused = world.manager.post("/waivers", faulty(change.clone())).await.expect_problem(status, code);
            assert_eq!(refused.at("/errors/0/pointer"), pointer, "{change:?}");
        }
        let whole = world.manager.post("/waivers", faulty(("until_on", json!(null)))).await.expect(201);
        assert_eq!(whole.at("/until_on"), "2040-05-31", "without a day it ends with the season");
        world.manager.post(&format!("/waivers/{}/end", whole.text("/waiver_id")), json!({})).await.expect(200);
        world.manager.post("/waivers", faulty(("until_on", json!("2040-01-10")))).await.expect(201);
        let second = world.manager.post("/waivers", waiver("agreement", "2040-01-20")).await;
        assert!(second.expect_problem(409, "wrong_state").text("/detail").contains("is in force, until 2040-01-10"));
        world.overseer.post("/waivers", waiver("agreement", "2040-01-20")).await.expect_problem(403, "forbidden");
        world.clara.get("/waivers").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn a_waiver_by_two_people_waits_for_another_person() {
    scenario(async |world| {
        let made = world.manager.post("/waivers", waiver("yearly_training", "2040-01-20")).await.expect(201);
        assert_eq!((made.at("/state"), made.at("/granted_at")), (json!("waiting"), json!(null)));
        let path = format!("/waivers/{}", made.text("/waiver_id"));
        assert_eq!(row(&standing(world).await, "yearly_training")["outcome"], "missing");
        let second = world.manager.post("/waivers", waiver("yearly_training", "2040-01-25")).await;
        assert!(second.expect_problem(409, "wrong_state").text("/detail").contains("waits for a second person"));
        let approve = format!("{path}/approve");
        world.manager.post(&approve, json!({})).await.expect_problem(403, "forbidden");
        manager_oversees_too(world).await;
        world.manager.post(&approve, json!({})).await.expect_problem(409, "second_person_needed");
        let agreed = world.overseer.post(&approve, json!({})).await.expect(200);
        assert_eq!(agreed.at("/state"), "in_force");
        assert_ne!(agreed.at("/granted_by"), agreed.at("/asked_by"));
        assert_eq!(row(&standing(world).await, "yearly_training")["outcome"], "waived");
        world.overseer.post(&approve, json!({})).await.expect_problem(409, "wrong_state");
        let ended = world.manager.post(&format!("{path}/end"), json!({})).await.expect(200);
        assert_eq!(ended.at("/state"), "taken_back");
        assert_eq!(row(&standing(world).await, "yearly_training")["outcome"], "missing");
        world.overseer.post(&approve, json!({})).await.expect_problem(409, "already_ended");
        world.manager.post(&format!("{path}/end"), json!({})).await.expect_problem(409, "already_ended");
        assert_eq!(world.overseer.get(&path).await.expect(200).at("/state"), "taken_back");
    });
}

#[test]
fn a_waiver_that_waits_is_not_granted_once_the_policy_says_never() {
    scenario(async |world| {
        let made = world.manager.post("/waivers", waiver("yearly_training", "2040-01-20")).await.expect(201);
        let path = format!("/seasons/{}/policy", fixture::SEASON);
        let mut policy = world.manager.get(&path).await.expect(200).at("/policy");
        policy["requirements"][4]["waivable_by"] = json!("never");
        world.manager.put(&path, "\"v1\"", policy).await.expect(200);
        let approve = format!("/waivers/{}/approve", made.text("/waiver_id"));
        world.overseer.post(&approve, json!({})).await.expect_problem(409, "nobody_may");
    });
}

#[test]
fn an_override_lets_one_troop_through_and_ends() {
    scenario(async |world| {
        let before = standing(world).await;
        assert_eq!(before.at("/standing/gates/0/open"), false);
        let made = world.manager.post("/overrides", pass("order", "2040-01-20")).await.expect(201);
        assert_eq!((made.at("/state"), made.at("/needs_two_people")), (json!("in_force"), json!(false)));
        let seen = standing(world).await;
        let gate = seen.at("/standing/gates/0");
        assert_eq!((&gate["open"], &gate["reasons"]), (&json!(true), &json!([])));
        let let_through: Vec<_> = gate["let_through"]
            .as_array()
            .expect("reasons")
            .iter()
            .map(|reason| reason["requirement"].clone())
            .collect();
        assert_eq!(let_through, ["membership", "registration"]);
        assert_eq!(
            gate["overridden_by"],
            json!({
                "override_id": made.at("/override_id"), "two_people": false, "until_on": "2040-01-20",
                "ends_at": "2040-01-21T06:00:00Z"
            })
        );
        assert_eq!(gate["changes_at"], "2040-01-21T06:00:00Z");
        assert_eq!(seen.at("/exceptions/0/reason"), "Agreed on the phone.");
        assert_eq!(seen.at("/standing/state"), "gathering", "an override changes no state");
        let other = world.manager.get(&format!("/standings/{}", fixture::OTHER_TROOP)).await.expect(200);
        assert_eq!(other.at("/standing/gates/0/open"), false, "it is for one troop");
        for who in [&world.clara, &world.distributor, &world.viewer] {
            let seen = who.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
            assert_eq!(seen.at("/standing/gates/0/overridden_by/until_on"), "2040-01-20", "{}", who.name);
            assert!(!String::from_utf8_lossy(&seen.body).contains("on the phone"), "{}", who.name);
        }
        world.set_clock("2040-01-21T06:00:01Z".parse().expect("an instant")).await;
        assert_eq!(standing(world).await.at("/standing/gates/0/open"), false);
    });
}

#[test]
fn after_the_deadline_an_override_of_the_order_gate_takes_two_people() {
    scenario(async |world| {
        // Everything is met; only the appointment is missing, which matters from the end of 26 January on.
        clara_is_ready(world).await;
        let asked = world.manager.post("/overrides", pass("order", "2040-02-10")).await.expect(201);
        assert_eq!((asked.at("/state"), asked.at("/needs_two_people")), (json!("waiting"), json!(true)));
        let path = format!("/overrides/{}", asked.text("/override_id"));
        world.set_clock("2040-01-27T18:00:00Z".parse().expect("an instant")).await;
        assert_eq!(standing(world).await.at("/standing/gates/0/open"), false, "one person is not enough");
        manager_oversees_too(world).await;
        world.manager.post(&format!("{path}/approve"), json!({})).await.expect_problem(409, "second_person_needed");
        world.overseer.post(&format!("{path}/approve"), json!({})).await.expect(200);
        let gate = standing(world).await.at("/standing/gates/0");
        assert_eq!((&gate["open"], &gate["let_through"][0]["code"]), (&json!(true), &json!("not_appointed")));
        let second = world.manager.post("/overrides", pass("order", "2040-02-20")).await;
        assert!(second.expect_problem(409, "wrong_state").text("/detail").contains("until 2040-02-10"));
        world.manager.post(&format!("{path}/end"), json!({})).await.expect(200);
        assert_eq!(standing(world).await.at("/standing/gates/0/open"), false);
        let list = world.overseer.get("/overrides?state=taken_back&gate=order").await.expect(200);
        assert_eq!(list.at("/items").as_array().expect("items").len(), 1);
        assert_eq!(world.overseer.get("/overrides?gate=earn").await.expect(200).at("/items"), json!([]));
    });
}

#[test]
fn what_nobody_may_override_is_refused_naming_what_must_be_met() {
    scenario(async |world| {
        let refused = world.manager.post("/overrides", pass("collect", "2040-01-20")).await;
        let refused = refused.expect_problem(409, "nobody_may");
        let errors = refused.at("/errors");
        let named: Vec<_> = errors.as_array().expect("errors").iter().map(|error| error["code"].clone()).collect();
        assert_eq!(named, ["screening", "bank_details"]);
        clara_is_ready(world).await;
        let open = world.manager.post("/overrides", pass("collect", "2040-01-20")).await;
        open.expect_problem(409, "wrong_state");
        let mut away = pass("order", "2040-01-20");
        away["troop_id"] = json!(fixture::AWAY_TROOP);
        world.manager.post("/overrides", away).await.expect_problem(422, "unknown_reference");
        world.manager.post("/overrides", pass("order", "2040-06-01")).await.expect_problem(422, "invalid");
        world.overseer.post("/overrides", pass("order", "2040-01-20")).await.expect_problem(403, "forbidden");
        world.viewer.get("/overrides").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn an_override_is_known_only_from_the_instant_at_which_it_was_given() {
    scenario(async |world| {
        let before = standing(world).await.text("/stands_at");
        world.forward(chrono::TimeDelta::hours(1)).await;
        world.manager.post("/overrides", pass("order", "2040-01-20")).await.expect(201);
        let then = world.manager.get(&format!("/standings/{}?as_of={before}", fixture::TROOP)).await.expect(200);
        assert_eq!(then.at("/standing/gates/0/open"), false);
        assert_eq!(standing(world).await.at("/standing/gates/0/open"), true);
    });
}

#[test]
fn nobody_gives_the_second_word_for_themselves_or_for_their_own_troop() {
    scenario(async |world| {
        clara_is_ready(world).await;
        for who in [&fixture::CLARA, &fixture::PIOTR] {
            let role = json!({"person_id": person(who), "role": "overseer"});
            world.manager.post("/grants", role).await.expect(201);
        }
        let trained =
            json!({"requirement": "yearly_training", "person_id": person(&fixture::CLARA), "outcome": "not_met"});
        world.manager.post("/evidence", trained).await.expect(201);
        let waiver = world.manager.post("/waivers", waiver("yearly_training", "2040-01-20")).await.expect(201);
        let waiver = format!("/waivers/{}/approve", waiver.text("/waiver_id"));
        let own = world.clara.post(&waiver, json!({})).await.expect_problem(409, "second_person_needed");
        assert!(own.text("/detail").contains("This is about you"), "{own}");
        world.piotr.post(&waiver, json!({})).await.expect(200);
        let pass = world.manager.post("/overrides", pass("order", "2040-02-10")).await.expect(201);
        let pass = format!("/overrides/{}/approve", pass.text("/override_id"));
        for who in [&world.clara, &world.piotr] {
            who.post(&pass, json!({})).await.expect_problem(409, "second_person_needed");
        }
        world.overseer.post(&pass, json!({})).await.expect(200);
    });
}
