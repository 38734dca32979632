//! The world of one test: a unit in the middle of its season, another unit, and everybody who asks.

use std::panic::{AssertUnwindSafe, resume_unwind};
use std::rc::Rc;

use caselot::auth::{Db, System};
use caselot::common::clock;
use chrono::{DateTime, TimeDelta, Utc};
use futures_util::FutureExt as _;
use sqlx::Connection as _;
use sqlx::postgres::PgConnection;

use super::client::{Caller, Line};
use super::cluster::{Copy, Role};
use super::server::{self, Server};
use super::{after, fixture};

/// Everything a test has.
pub struct World {
    /// Unit manager of Juniper Ridge.
    pub manager: Caller,
    /// Its overseer.
    pub overseer: Caller,
    /// Its materials coordinator.
    pub materials: Caller,
    /// Its distributor.
    pub distributor: Caller,
    /// Its viewer.
    pub viewer: Caller,
    /// Lead coordinator of troop 0101.
    pub clara: Caller,
    /// Co-coordinator of troop 0101.
    pub piotr: Caller,
    /// Lead coordinator of troop 0102.
    pub yesenia: Caller,
    /// Unit manager of another unit.
    pub stranger: Caller,
    /// Coordinator in that other unit.
    pub away_coordinator: Caller,
    /// Administers the server and has no place in any unit.
    pub administrator: Caller,
    /// Not signed in.
    pub nobody: Caller,
    /// The test's own database.
    pub copy: Copy,
    /// The line to the server, over which everybody asks.
    pub line: Rc<Line>,
    server: Server,
}

/// So many days.
pub fn days(days: i64) -> TimeDelta {
    TimeDelta::days(days)
}

/// Runs a test in a world of its own, and checks after it, whatever happened, what must hold after every test.
pub fn scenario(test: impl AsyncFnOnce(&World)) {
    scenario_with(|options| options, test);
}

/// As [`scenario`], with other options of the server.
pub fn scenario_with(
    change: impl FnOnce(caselot::server::run::Options) -> caselot::server::run::Options,
    test: impl AsyncFnOnce(&World),
) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let world = World::new(change).await;
        let outcome = AssertUnwindSafe(test(&world)).catch_unwind().await;
        let after = AssertUnwindSafe(after::check(&world)).catch_unwind().await;
        let World { server, copy, .. } = world;
        server.stop().await;
        copy.remove().await;
        if let Err(panic) = outcome.and(after) {
            resume_unwind(panic);
        }
    });
}

impl World {
    async fn new(change: impl FnOnce(caselot::server::run::Options) -> caselot::server::run::Options) -> Self {
        let copy = Copy::new().await;
        let server = Server::start(change(server::options(&copy)));
        let line = Rc::new(Line::new(&server.base));
        let caller = |who: &fixture::Somebody| Caller::of(&line, who);
        let world = Self {
            manager: caller(&fixture::MANAGER),
            overseer: caller(&fixture::OVERSEER),
            materials: caller(&fixture::MATERIALS),
            distributor: caller(&fixture::DISTRIBUTOR),
            viewer: caller(&fixture::VIEWER),
            clara: caller(&fixture::CLARA),
            piotr: caller(&fixture::PIOTR),
            yesenia: caller(&fixture::YESENIA),
            stranger: caller(&fixture::STRANGER),
            away_coordinator: caller(&fixture::AWAY_COORDINATOR),
            administrator: caller(&fixture::ADMINISTRATOR),
            nobody: Caller::nobody(&line),
            copy,
            line,
            server,
        };
        world.set_clock(fixture::start()).await;
        world
    }

    /// The address of the server.
    pub fn base(&self) -> &str {
        &self.server.base
    }

    /// A connection that may do anything to this test's database.
    pub async fn owner(&self) -> PgConnection {
        self.copy.connect(Role::Owner).await
    }

    /// As if the last failed sign-in had been this very moment, however long its answer took on a busy machine.
    pub async fn failed_just_now(&self) {
        sqlx::query("update sign_in_delay set last_failed_at = $1")
            .bind(clock::real_now())
            .execute(&mut self.owner().await)
            .await
            .expect("a failure just now");
    }

    /// Moves the season's clock forwards. Tokens and sign-ins follow the real clock and do not notice.
    pub async fn forward(&self, by: TimeDelta) {
        let mut owner = self.owner().await;
        sqlx::query("update cluster_clock set offset_seconds = offset_seconds + $1")
            .bind(by.num_seconds())
            .execute(&mut owner)
            .await
            .expect("a clock that moves");
        owner.close().await.expect("closing");
    }

    /// Sets the season's clock to an instant.
    pub async fn set_clock(&self, to: DateTime<Utc>) {
        let mut owner = self.owner().await;
        let offset = to.signed_duration_since(clock::real_now()).num_seconds();
        sqlx::query("update cluster_clock set offset_seconds = $1")
            .bind(offset)
            .execute(&mut owner)
            .await
            .expect("a clock");
        owner.close().await.expect("closing");
    }

    /// The program itself, as the ticker and the command line are it.
    pub fn system(&self) -> System {
        System::new(Db::new(self.copy.options(Role::Runtime), 2))
    }

    /// One round of the ticker.
    pub async fn tick(&self) {
        caselot::jobs::tick(&self.system()).await.expect("a round of the ticker");
    }
}
