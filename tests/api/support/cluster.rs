//! The throwaway cluster: one template a run, migrated by the owner and filled with the fixture, and a copy of it a test.

use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::str::FromStr as _;
use std::sync::atomic::{AtomicU32, Ordering};

use secrecy::SecretString;
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{ConnectOptions as _, Connection as _};

use super::built::built;
use super::fixture;

/// As whom to connect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// May do anything in the cluster.
    Superuser,
    /// Owns the tables; row security lets it through.
    Owner,
    /// What the program is.
    Runtime,
    /// Reads everything.
    Backup,
}

impl Role {
    fn options(self) -> PgConnectOptions {
        let name = match self {
            Self::Superuser => "CASELOT_TEST_CLUSTER",
            Self::Owner => "CASELOT_TEST_OWNER",
            Self::Runtime => "CASELOT_TEST_RUNTIME",
            Self::Backup => "CASELOT_TEST_BACKUP",
        };
        let url = std::env::var(name).unwrap_or_else(|_| {
            panic!(
                "{name} is not set: these tests need a database cluster of their own. Run deploy/test, or \
                 `cargo run -- cluster --throwaway -- cargo test`."
            )
        });
        PgConnectOptions::from_str(&url).unwrap_or_else(|error| panic!("{name} is no address: {error}"))
    }
}

/// Runs one statement of our own making; names of databases cannot be parameters.
async fn run(connection: &mut PgConnection, statement: String) {
    let outcome = sqlx::raw_sql(built(statement.clone())).execute(connection).await;
    outcome.unwrap_or_else(|error| panic!("{statement}: {error}"));
}

async fn superuser() -> PgConnection {
    PgConnection::connect_with(&Role::Superuser.options()).await.expect("the cluster of CASELOT_TEST_CLUSTER")
}

/// One test's own database.
#[derive(Clone, Debug)]
pub struct Copy {
    name: String,
}

impl Copy {
    /// A fresh copy of the template.
    pub async fn new() -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        let name = format!("test_{}_{number}", std::process::id());
        let mut cluster = superuser().await;
        let template = template(&mut cluster).await;
        create(&mut cluster, &name, &format!("template {template}")).await;
        cluster.close().await.expect("closing");
        Self { name }
    }

    /// How to connect to it.
    pub fn options(&self, role: Role) -> PgConnectOptions {
        role.options().database(&self.name)
    }

    /// A connection to it.
    pub async fn connect(&self, role: Role) -> PgConnection {
        let options = self.options(role).options([("timezone", "UTC")]);
        PgConnection::connect_with(&options).await.unwrap_or_else(|error| panic!("{}: {error}", self.name))
    }

    /// Removes it, whoever is still connected.
    pub async fn remove(self) {
        run(&mut superuser().await, format!("drop database {} with (force)", self.name)).await;
    }
}

/// A database whose rights are those of a real one (`api/postgres/sql.rs`).
async fn create(cluster: &mut PgConnection, name: &str, how: &str) {
    run(cluster, format!("create database {name} owner caselot_owner {how}")).await;
    run(
        cluster,
        format!(
            "revoke all on database {name} from public; \
             grant connect on database {name} to caselot_runtime, caselot_backup"
        ),
    )
    .await;
}

/// The template's name; made by whichever test binary comes first. Its name says what it was made of.
async fn template(cluster: &mut PgConnection) -> String {
    let mut hasher = DefaultHasher::new();
    caselot::migrate::known().hash(&mut hasher);
    fixture::SOURCE.hash(&mut hasher);
    let name = format!("template_{:016x}", hasher.finish());
    sqlx::query("select pg_advisory_lock(7421)").execute(&mut *cluster).await.expect("the template's lock");
    let exists: bool = sqlx::query_scalar("select exists (select from pg_database where datname = $1)")
        .bind(&name)
        .fetch_one(&mut *cluster)
        .await
        .expect("the list of databases");
    if !exists {
        let making = format!("{name}_making");
        run(cluster, format!("drop database if exists {making} with (force)")).await;
        create(cluster, &making, "").await;
        let owner = Role::Owner.options().database(&making);
        caselot::migrate::run(&SecretString::from(owner.to_url_lossy().to_string())).await.expect("migrations run");
        let mut connection = PgConnection::connect_with(&owner).await.expect("the template as its owner");
        fixture::fill(&mut connection).await;
        connection.close().await.expect("closing");
        run(cluster, format!("alter database {making} rename to {name}")).await;
    }
    sqlx::query("select pg_advisory_unlock(7421)").execute(&mut *cluster).await.expect("the template's lock");
    name
}
