//! What happens when something inside goes wrong: the database, mostly.

use std::time::{Duration, Instant};

use crate::support::built::built;
use crate::support::fixture::UNIT;
use crate::support::scenario;
use crate::support::world::World;

async fn as_owner(world: &World, sql: &str) {
    sqlx::raw_sql(built(sql)).execute(&mut world.owner().await).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
}

/// Lets `enter`, which every request calls first, do this before its own work.
async fn planted(world: &World, statement: &str) {
    let sql = format!(
        "alter function enter(uuid, bytea, uuid, timestamptz, timestamptz) rename to enter_itself;
         create function enter(a uuid, b bytea, c uuid, d timestamptz, e timestamptz) returns text language plpgsql as
         $$ begin {statement}; return enter_itself(a, b, c, d, e); end $$;
         grant execute on function enter(uuid, bytea, uuid, timestamptz, timestamptz) to caselot_runtime"
    );
    as_owner(world, &sql).await;
}

async fn mended(world: &World) {
    as_owner(
        world,
        "drop function enter(uuid, bytea, uuid, timestamptz, timestamptz);
         alter function enter_itself(uuid, bytea, uuid, timestamptz, timestamptz) rename to enter",
    )
    .await;
}

#[test]
fn a_fault_of_the_database_is_an_opaque_500_and_the_next_request_is_served() {
    scenario(async |world| {
        planted(world, "raise exception 'secret of the inside: table person_contact'").await;
        let broken = world.clara.get("/v1/me").await.expect_problem(500, "internal");
        assert!(!String::from_utf8_lossy(&broken.body).contains("secret of the inside"), "{broken}");
        assert!(!broken.text("/request_id").is_empty());
        mended(world).await;
        world.clara.get("/v1/me").await.expect(200);
    });
}

#[test]
fn connections_that_the_database_ended_are_replaced_unseen() {
    scenario(async |world| {
        for _ in 0..3 {
            // Several connections lie in the pool.
            futures_util::future::join_all((0..8).map(|_| async { world.clara.get("/v1/me").await.expect(200) })).await;
            let ended: i64 = sqlx::query_scalar(
                "select count(pg_terminate_backend(pid)) from pg_stat_activity where usename = 'caselot_runtime' and datname = current_database()",
            )
            .fetch_one(&mut world.copy.connect(crate::support::cluster::Role::Superuser).await)
            .await
            .expect("connections ended");
            assert!(ended >= 1);
            for _ in 0..10 {
                world.clara.get("/v1/me").await.expect(200);
                world.nobody.get("/readyz").await.expect(200);
            }
        }
    });
}

#[test]
fn an_opening_that_hangs_is_let_go_within_a_second_and_answered_with_503() {
    scenario(async |world| {
        planted(world, "perform pg_sleep(30)").await;
        let began = Instant::now();
        world.clara.get("/v1/me").await.expect_problem(503, "unavailable");
        assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
        world.nobody.get("/livez").await.expect(200);
        mended(world).await;
        world.clara.get("/v1/me").await.expect(200);
    });
}

/// Makes every new season wait for so many seconds before it is written.
async fn seasons_wait(world: &World, seconds: u32) {
    let sql = format!(
        "create function waits() returns trigger language plpgsql as $$ begin perform pg_sleep({seconds}); return new; end $$;
         create trigger season_waits before insert on season for each row execute function waits()"
    );
    as_owner(world, &sql).await;
}

fn season() -> serde_json::Value {
    serde_json::json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31"})
}

#[test]
fn a_statement_that_hangs_is_ended_after_five_seconds_and_answered_with_503() {
    scenario(async |world| {
        seasons_wait(world, 30).await;
        let began = Instant::now();
        world.manager.post("/seasons", season()).key("tonight-1").await.expect_problem(503, "unavailable");
        let took = began.elapsed();
        assert!(took > Duration::from_secs(4) && took < Duration::from_secs(7), "{took:?}");
        world.nobody.get("/livez").await.expect(200);
        as_owner(world, "drop trigger season_waits on season").await;
        world.manager.post("/seasons", season()).key("tonight-1").await.expect(201);
    });
}

#[test]
fn who_waits_for_a_lock_gets_503_after_two_seconds_and_nothing_is_done() {
    scenario(async |world| {
        let mut holder = world.owner().await;
        sqlx::raw_sql("begin; select from unit_log_head for update").execute(&mut holder).await.expect("a lock");
        let began = Instant::now();
        let busy = world.manager.post("/seasons", season()).key("tonight-1").await.expect_problem(503, "busy");
        assert_eq!(busy.header("retry-after"), "1");
        let took = began.elapsed();
        assert!(took > Duration::from_millis(1_900) && took < Duration::from_secs(3), "{took:?}");
        sqlx::raw_sql("rollback").execute(&mut holder).await.expect("a rollback");
        world.manager.post("/seasons", season()).key("tonight-1").await.expect(201);
        let seasons: i64 = sqlx::query_scalar("select count(*) from season where unit_id = $1")
            .bind(UNIT)
            .fetch_one(&mut holder)
            .await
            .expect("the seasons");
        assert_eq!(seasons, 2);
    });
}

/// Sends a signal to every connection of the program that is in the database of this test.
async fn signal(world: &World, name: &str) -> usize {
    let found: Vec<i32> = sqlx::query_scalar(
        "select pid from pg_stat_activity where usename = 'caselot_runtime' and datname = current_database()",
    )
    .fetch_all(&mut world.copy.connect(crate::support::cluster::Role::Superuser).await)
    .await
    .expect("the connections");
    let ids: Vec<String> = found.iter().map(ToString::to_string).collect();
    let sent = std::process::Command::new("kill").arg(format!("-{name}")).args(&ids).status().expect("kill runs");
    assert!(sent.success(), "{name} to {ids:?}");
    ids.len()
}

/// R35: the sockets are open and nobody is behind them, as on a machine that hangs.
#[test]
fn a_frozen_database_is_answered_with_503_within_three_seconds_and_used_again_when_it_goes_on() {
    scenario(async |world| {
        world.clara.get("/v1/me").await.expect(200);
        assert!(signal(world, "STOP").await >= 1);
        let began = Instant::now();
        let frozen = world.clara.get("/v1/me").await.expect_problem(503, "unavailable");
        assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
        assert!(!frozen.header("retry-after").is_empty());
        world.nobody.get("/livez").await.expect(200);
        signal(world, "CONT").await;
        world.clara.get("/v1/me").await.expect(200);
    });
}

/// R30, R35: the database freezes in mid-handler. Nobody knows the outcome then, and the same key finds it out.
#[test]
fn a_handler_whose_database_froze_is_answered_and_its_effect_happens_once() {
    scenario(async |world| {
        seasons_wait(world, 1).await;
        let began = Instant::now();
        let freeze = async {
            tokio::time::sleep(Duration::from_millis(500)).await;
            signal(world, "STOP").await
        };
        let posted = async { world.manager.post("/seasons", season()).key("frozen-1").await };
        let (answer, frozen) = tokio::join!(posted, freeze);
        answer.expect_problem(503, "unavailable");
        assert!(frozen >= 1);
        let took = began.elapsed();
        assert!(took > Duration::from_secs(14) && took < Duration::from_secs(17), "{took:?}");
        signal(world, "CONT").await;
        let mut again = world.manager.post("/seasons", season()).key("frozen-1").await;
        for _ in 0..50 {
            if again.status == 201 {
                break;
            }
            assert!([409, 503].contains(&again.status), "{again}");
            tokio::time::sleep(Duration::from_millis(100)).await;
            again = world.manager.post("/seasons", season()).key("frozen-1").await;
        }
        again.expect(201);
        let seasons: i64 = sqlx::query_scalar("select count(*) from season where unit_id = $1 and label = '2041'")
            .bind(UNIT)
            .fetch_one(&mut world.owner().await)
            .await
            .expect("the seasons");
        assert_eq!(seasons, 1);
    });
}

/// R11: what only reads runs READ ONLY, so that a read that would write fails instead.
#[test]
fn a_read_cannot_write_whatever_it_calls() {
    scenario(async |world| {
        planted(world, "update unit set name = 'overwritten'").await;
        world.clara.get("/v1/me").await.expect_problem(500, "internal");
        mended(world).await;
        let unit = world.clara.get(&format!("/v1/units/{UNIT}")).await.expect(200);
        assert_eq!(unit.at("/name"), "Juniper Ridge");
    });
}

/// R33: clients that go away at any moment leave no transaction open and no half effect.
#[test]
fn clients_that_go_away_leave_nothing_behind() {
    scenario(async |world| {
        for number in 0..100_u64 {
            let body =
                serde_json::json!({"name": "gone", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 9});
            let asked = async { world.clara.post("/v1/keys", body).await };
            drop(tokio::time::timeout(Duration::from_micros(number * 50), asked).await);
        }
        world.clara.get("/v1/me").await.expect(200);
        let (keys, rows): (i64, i64) = sqlx::query_as(
            "select (select count(*) from access_key), (select count(*) from server_log where action = 'make_key')",
        )
        .fetch_one(&mut world.owner().await)
        .await
        .expect("the counts");
        assert_eq!(keys, rows, "each key that was made has its row in the log");
    });
}
