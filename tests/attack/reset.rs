//! A world that can be had anew, in a tenth of a second, so that every attack meets it as the first one did.

use sqlx::postgres::PgConnection;

use crate::prepared::{prepare, prepare_in};
use crate::support::built::built;
use crate::support::cluster::{Copy, Role};
use crate::support::world::World;

/// The world as it was before the attack: a database like the test's own, to which nobody else is connected.
pub struct Kept {
    copy: Copy,
    superuser: PgConnection,
    attacked: String,
}

fn name_of(copy: &Copy) -> String {
    copy.options(Role::Owner).get_database().expect("a database").to_owned()
}

impl Kept {
    /// Prepares the world, and another one like it.
    pub async fn of(world: &World) -> Self {
        prepare(world).await;
        let offset: i64 = sqlx::query_scalar("select offset_seconds from cluster_clock")
            .fetch_one(&mut world.owner().await)
            .await
            .expect("the clock");
        let copy = Copy::new().await;
        let mut superuser = copy.connect(Role::Superuser).await;
        prepare_in(&mut superuser).await;
        sqlx::query("update cluster_clock set offset_seconds = $1")
            .bind(offset)
            .execute(&mut superuser)
            .await
            .expect("the same clock");
        Self { superuser, attacked: name_of(&world.copy), copy }
    }

    /// Gives the world back as it was. The program's connections end, and it opens new ones.
    pub async fn restore(&mut self, world: &World) {
        let (attacked, kept) = (&self.attacked, name_of(&self.copy));
        for statement in [
            format!("drop database {attacked} with (force)"),
            format!("create database {attacked} owner caselot_owner template {kept}"),
            format!("revoke all on database {attacked} from public"),
            format!("grant connect on database {attacked} to caselot_runtime, caselot_backup"),
        ] {
            let done = sqlx::query(built(statement.clone())).execute(&mut self.superuser).await;
            done.unwrap_or_else(|error| panic!("{statement}: {error}"));
        }
        // What the log of the other one would have shown is gone with it.
        world.line.journal.take();
    }

    /// Takes the kept one away.
    pub async fn remove(self) {
        drop(self.superuser);
        self.copy.remove().await;
    }
}
