//! What will lapse before which milestone, over all troops. Orders are due on 26 January, delivery is on 18 February.

use serde_json::{Value, json};
use uuid::Uuid;

use crate::standings::{clara_is_ready, person, screening};
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

async fn membership(world: &World, who: &fixture::Somebody, until: &str) {
    let fact = json!({
        "requirement": "membership", "person_id": person(who), "outcome": "met", "observed_on": "2040-01-08",
        "valid_until_on": until
    });
    world.manager.post("/evidence", fact).await.expect(201);
}

/// Clara coordinates troop 0103 too.
async fn clara_has_two_troops(world: &World) {
    sqlx::query(
        "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, confirmed_at, version, log_seq)
         values ($1, $2, $3, $4, $5, true, '2039-10-01', '2039-10-01', 1, 0)",
    )
    .bind(fixture::UNIT)
    .bind(Uuid::now_v7())
    .bind(fixture::VACANT_TROOP)
    .bind(fixture::SEASON)
    .bind(person(&fixture::CLARA))
    .execute(&mut world.owner().await)
    .await
    .expect("a second troop");
}

fn lines(page: &Value) -> Vec<(String, String, String, Vec<String>)> {
    let text = |row: &Value, pointer: &str| row.pointer(pointer).and_then(Value::as_str).unwrap_or("-").to_owned();
    let rows = page["items"].as_array().expect("rows").iter();
    rows.map(|row| {
        let troops = row["troops"].as_array().expect("troops").iter().map(|troop| text(troop, "/number")).collect();
        (text(row, "/requirement"), text(row, "/name"), text(row, "/before/milestone"), troops)
    })
    .collect()
}

fn line(requirement: &str, name: &str, before: &str, troops: &[&str]) -> (String, String, String, Vec<String>) {
    let troops = troops.iter().map(|number| (*number).to_owned()).collect();
    (requirement.to_owned(), name.to_owned(), before.to_owned(), troops)
}

#[test]
fn each_persons_lapse_stands_once_with_all_their_troops_the_soonest_first() {
    scenario(async |world| {
        clara_has_two_troops(world).await;
        screening(world, &fixture::CLARA, "met", Some("2040-02-10")).await;
        membership(world, &fixture::CLARA, "2040-01-20").await;
        membership(world, &fixture::YESENIA, "2040-02-01").await;
        let all = world.manager.get("/lapses-ahead").await.expect(200);
        assert_eq!(
            lines(&all.json()),
            [
                line("membership", "Clara Fontaine-Diallo", "opening_orders_due", &["0101", "0103"]),
                line("membership", "Yesenia Bergqvist", "delivery_day", &["0102"]),
                line("screening", "Clara Fontaine-Diallo", "delivery_day", &["0101", "0103"]),
            ]
        );
        assert_eq!(all.at("/items/0/lapses_at"), "2040-01-21T06:00:00Z", "the end of 20 January in Chicago");
        assert_eq!(
            (all.at("/items/0/title"), all.at("/items/0/cause")),
            (json!("Current membership"), json!("expires"))
        );
        for (milestone, count) in [("return_due", 0), ("opening_orders_due", 1), ("delivery_day", 3), ("kits_out", 0)] {
            let due = world.overseer.get(&format!("/lapses-ahead?before={milestone}")).await.expect(200);
            assert_eq!(lines(&due.json()).len(), count, "{milestone}");
        }
        let own = world.yesenia.get("/lapses-ahead").await.expect(200);
        assert_eq!(lines(&own.json()), [line("membership", "Yesenia Bergqvist", "delivery_day", &["0102"])]);
        world.viewer.get("/lapses-ahead").await.expect_problem(403, "forbidden");
        let first = world.manager.get("/lapses-ahead?limit=2").await.expect(200);
        let rest = world.manager.get(&format!("/lapses-ahead?limit=2&cursor={}", first.text("/next_cursor"))).await;
        assert_eq!(
            lines(&rest.expect(200).json()),
            [line("screening", "Clara Fontaine-Diallo", "delivery_day", &["0101", "0103"])]
        );
        world.forward(days(12)).await;
        let later = world.manager.get("/lapses-ahead").await.expect(200);
        assert_eq!(lines(&later.json()).len(), 2, "what has lapsed is no longer ahead");
    });
}

#[test]
fn a_waiver_that_ends_is_ahead_too_and_what_reaches_every_milestone_is_not() {
    scenario(async |world| {
        clara_is_ready(world).await;
        assert_eq!(world.manager.get("/lapses-ahead").await.expect(200).at("/items"), json!([]));
        let waiver = json!({"requirement": "agreement", "person_id": person(&fixture::YESENIA), "reason": "In the post.", "until_on": "2040-01-15"});
        world.manager.post("/waivers", waiver).await.expect(201);
        let ahead = world.manager.get("/lapses-ahead").await.expect(200);
        assert_eq!(lines(&ahead.json()), [line("agreement", "Yesenia Bergqvist", "return_due", &["0102"])]);
        assert_eq!(ahead.at("/items/0/cause"), "waiver_ends");
    });
}

#[test]
fn with_nothing_lapsing_the_list_is_empty_and_says_so_page_by_page() {
    scenario(async |world| {
        for who in [&world.manager, &world.overseer, &world.clara] {
            let ahead = who.get("/lapses-ahead?limit=1").await.expect(200);
            assert_eq!((ahead.at("/items"), ahead.at("/next_cursor")), (json!([]), Value::Null));
        }
        let next = json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31"});
        let next = world.manager.post("/seasons", next).await.expect(201).text("/season_id");
        let ahead = world.manager.get(&format!("/lapses-ahead?season={next}")).await.expect(200);
        assert_eq!(ahead.at("/items"), json!([]), "a season without troops");
    });
}

#[test]
fn a_milestone_that_is_unknown_or_undated_is_told_with_those_that_are_dated() {
    scenario(async |world| {
        for wrong in ["harvest", "close_out_due"] {
            let refused = world.manager.get(&format!("/lapses-ahead?before={wrong}")).await;
            let refused = refused.expect_problem(422, "invalid");
            assert_eq!(
                (refused.at("/errors/0/parameter"), refused.at("/errors/0/code")),
                (json!("before"), json!("no_such_date"))
            );
            assert!(
                refused
                    .text("/errors/0/detail")
                    .ends_with("kits_out, return_due, opening_orders_due, delivery_day, sale_opens, sale_closes"),
                "{refused}"
            );
        }
        world.manager.get("/lapses-ahead?befor=delivery_day").await.expect_problem(400, "bad_parameter");
        world.manager.get("/lapses-ahead?cursor=x").await.expect_problem(400, "bad_cursor");
        let other = format!("/lapses-ahead?season={}", fixture::AWAY_SEASON);
        world.manager.get(&other).await.expect_problem(422, "unknown_reference");
        world.stranger.in_unit(fixture::UNIT).get("/lapses-ahead").await.expect_problem(404, "not_found");
    });
}

#[test]
fn a_troop_that_takes_no_part_has_nothing_to_renew() {
    scenario(async |world| {
        membership(world, &fixture::CLARA, "2040-01-20").await;
        assert_eq!(lines(&world.manager.get("/lapses-ahead").await.expect(200).json()).len(), 1);
        world
            .manager
            .post(&format!("/troops/{}/sit-out", fixture::TROOP), json!({"reason": "Asked to."}))
            .await
            .expect(200);
        assert_eq!(world.manager.get("/lapses-ahead").await.expect(200).at("/items"), json!([]));
    });
}

#[test]
fn a_date_that_is_added_or_moved_changes_what_is_ahead() {
    scenario(async |world| {
        membership(world, &fixture::CLARA, "2040-04-10").await;
        assert_eq!(world.manager.get("/lapses-ahead").await.expect(200).at("/items"), json!([]), "after every date");
        let party = json!({"code": "closing_party", "title": "Closing party", "on_day": "2040-04-20"});
        world.manager.post(&format!("/seasons/{}/milestones", fixture::SEASON), party).await.expect(201);
        let ahead = world.manager.get("/lapses-ahead").await.expect(200);
        assert_eq!(lines(&ahead.json()), [line("membership", "Clara Fontaine-Diallo", "closing_party", &["0101"])]);
    });
}
