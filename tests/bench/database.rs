//! The database that the figures are measured over.

use std::path::{Path, PathBuf};

use caselot::auth::{Db, System};
use sqlx::postgres::PgConnection;
use sqlx::{AssertSqlSafe, Connection as _};

use super::SIZE;

/// A migrated and filled database in the cluster of `caselot cluster --throwaway`.
#[derive(Debug)]
pub struct Database {
    /// The superuser's address of it.
    pub superuser: String,
    /// The runtime role's address.
    pub runtime: String,
    /// The cluster's first process.
    pub postmaster: u32,
    /// The cluster's log.
    pub log: PathBuf,
    /// PostgreSQL's version.
    pub version: String,
    /// Whether a commit waits for the disk.
    pub fsync: String,
    /// What kind of file system the data lies on.
    pub disk: String,
}

fn address(name: &str) -> String {
    std::env::var(name).unwrap_or_else(|_| panic!("{name} is not set: run deploy/bench"))
}

async fn run(db: &mut PgConnection, sql: &str) {
    #[expect(clippy::disallowed_methods, reason = "statements of this tool's own making, over a database of its own")]
    let sql = AssertSqlSafe(sql.to_owned());
    sqlx::raw_sql(sql).execute(db).await.expect("a statement that runs");
}

async fn show(db: &mut PgConnection, setting: &str) -> String {
    sqlx::query_scalar("select current_setting($1)").bind(setting).fetch_one(db).await.expect("a setting")
}

impl Database {
    /// Migrates and fills the cluster's database, standings included.
    pub async fn filled() -> Self {
        let owner = address("CASELOT_TEST_OWNER");
        let runtime = address("CASELOT_TEST_RUNTIME");
        caselot::migrate::run(&owner.clone().into()).await.expect("a migrated database");
        let mut db = PgConnection::connect(&owner).await.expect("the owner's connection");
        let policy = include_str!("../../api/seasons/policy/shipped.json").replace('\'', "''");
        let sql = include_str!("data.sql")
            .replace("$UNITS", &SIZE.0.to_string())
            .replace("$TROOPS", &SIZE.1.to_string())
            .replace("$POLICY", &format!("'{policy}'::jsonb"));
        run(&mut db, &sql).await;
        // Every standing is computed and kept by the program itself.
        let pool = Db::new(runtime.parse().expect("an address"), 4);
        caselot::jobs::tick(&System::new(pool.clone())).await.expect("a round of the ticker");
        pool.close().await;
        run(&mut db, "analyze").await;
        let kept: i64 = sqlx::query_scalar("select count(*) from standing").fetch_one(&mut db).await.expect("a count");
        assert_eq!(kept, i64::from(SIZE.0 * SIZE.1), "every troop's standing is kept");
        db.close().await.expect("closing");
        let superuser = address("CASELOT_TEST_CLUSTER");
        let (before, after) = superuser.rsplit_once("/postgres").expect("the address of the database postgres");
        let superuser = format!("{before}/caselot{after}");
        let mut db = PgConnection::connect(&superuser).await.expect("the superuser's connection");
        run(&mut db, "vacuum").await;
        run(&mut db, "checkpoint").await;
        let folder = PathBuf::from(show(&mut db, "data_directory").await);
        let version = show(&mut db, "server_version").await;
        let fsync = show(&mut db, "fsync").await;
        let text = std::fs::read_to_string(folder.join("postmaster.pid")).expect("the cluster's process");
        let postmaster = text.lines().next().and_then(|line| line.trim().parse().ok()).expect("a process id");
        let log = folder.parent().expect("the cluster's folder").join("cluster.log");
        let disk = if folder.starts_with("/dev/shm") { "memory (/dev/shm)".to_owned() } else { file_system(&folder) };
        Self { superuser, runtime, postmaster, log, version, fsync, disk }
    }

    /// Adds rows as the owner of the tables.
    pub async fn add(&self, sql: &str) {
        let mut db = PgConnection::connect(&address("CASELOT_TEST_OWNER")).await.expect("the owner's connection");
        run(&mut db, "begin").await;
        run(&mut db, sql).await;
        run(&mut db, "commit").await;
        run(&mut db, "analyze").await;
        db.close().await.expect("closing");
    }

    /// Lets the cluster log the runtime role's statements with their values, or stops it. For new connections.
    pub async fn log_statements(&self, all: bool) {
        let mut db = PgConnection::connect(&self.superuser).await.expect("the superuser's connection");
        if all {
            run(&mut db, "alter role caselot_runtime in database caselot set log_statement = 'all'").await;
            run(&mut db, "alter role caselot_runtime in database caselot set log_error_verbosity = 'default'").await;
        } else {
            run(&mut db, "alter role caselot_runtime in database caselot reset all").await;
        }
        db.close().await.expect("closing");
    }

    /// How long the cluster's log is.
    pub fn log_length(&self) -> u64 {
        std::fs::metadata(&self.log).map_or(0, |meta| meta.len())
    }
}

fn file_system(folder: &Path) -> String {
    let mounts = std::fs::read_to_string("/proc/mounts").unwrap_or_default();
    let all = mounts.lines().filter_map(|line| {
        let parts: Vec<&str> = line.split(' ').collect();
        folder.starts_with(parts.get(1)?).then(|| (parts[1].len(), parts[2].to_owned()))
    });
    all.max().map_or_else(|| "a disk".to_owned(), |(_, kind)| format!("a disk ({kind})"))
}
