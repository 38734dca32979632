//! What the database undoes since two transactions stood in each other's way is done again before anybody hears of it.

use serde_json::{Value, json};

use crate::support::built::built;
use crate::support::scenario;
use crate::support::world::World;

/// Lets the database undo, as in a deadlock, the first so many tries to write a season. A sequence does not go back with
/// what is undone, so it counts the tries.
async fn seasons_meet(world: &World, times: u32, state: &str) {
    let sql = format!(
        "create sequence tries; grant usage on sequence tries to caselot_runtime;
         create function meets() returns trigger language plpgsql as
         $$ begin if nextval('tries') <= {times} then raise exception 'in the way' using errcode = '{state}'; end if; return new; end $$;
         create trigger season_meets before insert on season for each row execute function meets()"
    );
    sqlx::raw_sql(built(&sql)).execute(&mut world.owner().await).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
}

async fn tries(world: &World) -> i64 {
    let mut owner = world.owner().await;
    sqlx::query_scalar("select last_value from tries").fetch_one(&mut owner).await.expect("the tries")
}

fn season() -> Value {
    json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31"})
}

async fn labels(world: &World) -> Vec<String> {
    let seasons = world.manager.get("/seasons").await.expect(200).at("/items");
    seasons.as_array().expect("items").iter().map(|one| one["label"].as_str().expect("a label").to_owned()).collect()
}

#[test]
fn a_deadlock_is_tried_again_and_leaves_one_effect_and_one_row_in_the_log() {
    for state in ["40P01", "40001"] {
        scenario(async |world| {
            seasons_meet(world, 3, state).await;
            let made = world.manager.post("/seasons", season()).key("one-season").await.expect(201);
            assert_eq!(tries(world).await, 4, "three were undone");
            assert_eq!(labels(world).await, ["2041", "2040"]);
            let log = world.overseer.get("/log").await.expect(200).at("/items");
            assert_eq!(log.as_array().expect("rows").len(), 1, "{log}");
            let again = world.manager.post("/seasons", season()).key("one-season").await.expect(201);
            assert_eq!((again.at("/season_id"), again.header("idempotency-replayed")), (made.at("/season_id"), "true"));
            // Who asks is looked at anew each time: somebody else is served as before.
            world.clara.get("/v1/me").await.expect(200);
        });
    }
}

#[test]
fn what_stays_in_the_way_is_told_after_three_more_tries_and_nothing_is_done() {
    scenario(async |world| {
        seasons_meet(world, 1_000, "40P01").await;
        let refused = world.manager.post("/seasons", season()).await.expect_problem(503, "busy");
        assert_eq!(refused.header("retry-after"), "1");
        assert_eq!(tries(world).await, 4, "once, and three times more");
        assert_eq!(labels(world).await, ["2040"]);
    });
}

/// Two requests that lock the same two rows in opposite order: one of them is undone by the database and done again.
#[test]
fn two_who_lock_in_opposite_order_both_succeed() {
    scenario(async |world| {
        // Each writing of a person holds that one and then the other of the two.
        let add = async |name: &str| {
            let new = json!({"first_name": name, "last_name": "Marlow"});
            world.manager.post("/people", new).await.expect(201).text("/person_id")
        };
        let (first, second) = (add("Ilse").await, add("Edda").await);
        let sql = format!(
            "create function crosses() returns trigger language plpgsql as
             $$ begin
                perform pg_sleep(0.3);
                perform from person where unit_id = new.unit_id
                  and person_id in ('{first}', '{second}') and person_id <> new.person_id for update;
                return new;
             end $$;
             create trigger person_crosses before update on person for each row execute function crosses()"
        );
        sqlx::raw_sql(built(&sql)).execute(&mut world.owner().await).await.expect("a trigger");
        let change = async |who: &str| {
            world.manager.patch(&format!("/people/{who}"), "\"v1\"", json!({"last_name": "Oyelaran"})).await.status
        };
        let both = futures_util::future::join(change(&first), change(&second)).await;
        assert_eq!(both, (200, 200));
        let people = world.manager.get("/people?search=Oyelaran").await.expect(200).at("/items");
        assert_eq!(people.as_array().expect("people").len(), 2);
    });
}
