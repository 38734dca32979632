//! The statements about the cluster itself: its roles, its settings, what a role may do. No table of any feature.

use secrecy::{ExposeSecret, SecretString};
use sqlx::PgConnection;

/// The three roles, in the order in which [`create_roles`] takes their passwords.
pub(super) const ROLES: [&str; 3] = ["caselot_owner", "caselot_runtime", "caselot_backup"];

/// True if the roles and the database are there.
pub(super) async fn is_set_up(connection: &mut PgConnection) -> sqlx::Result<bool> {
    let row = sqlx::query!(
        r#"select (select count(*) = 3 from pg_roles where rolname in ('caselot_owner', 'caselot_runtime', 'caselot_backup'))
                  and exists (select from pg_database where datname = 'caselot') as "done!""#
    )
    .fetch_one(connection)
    .await?;
    Ok(row.done)
}

/// Makes the roles, or gives them these passwords if they exist. `create role` takes no parameters, so the passwords
/// travel as transaction-local settings and are quoted by the server's own `format`.
pub(super) async fn create_roles(connection: &mut PgConnection, passwords: [&SecretString; 3]) -> sqlx::Result<()> {
    let [owner, runtime, backup] = passwords;
    let mut tx = sqlx::Connection::begin(connection).await?;
    sqlx::query!(
        "select set_config('setup.owner', $1, true) as a, set_config('setup.runtime', $2, true) as b, set_config('setup.backup', $3, true) as c",
        owner.expose_secret(),
        runtime.expose_secret(),
        backup.expose_secret()
    )
    .fetch_one(&mut *tx)
    .await?;
    sqlx::raw_sql(
        "do $$
         declare part text;
         begin
             foreach part in array array['owner', 'runtime', 'backup'] loop
                 if not exists (select from pg_roles where rolname = 'caselot_' || part) then
                     execute format('create role %I', 'caselot_' || part);
                 end if;
                 execute format('alter role %I login nosuperuser nocreatedb nocreaterole noreplication %s password %L', 'caselot_' || part,
                     case part when 'backup' then 'bypassrls' else 'nobypassrls' end, current_setting('setup.' || part));
             end loop;
             alter role caselot_backup set default_transaction_read_only = on;
             grant pg_read_all_data to caselot_backup;
         end $$",
    )
    .execute(&mut *tx)
    .await?;
    tx.commit().await
}

/// Makes the database, owned by the owner role; true if it was not there.
pub(super) async fn create_database(connection: &mut PgConnection) -> sqlx::Result<bool> {
    let exists = sqlx::query!(r#"select exists (select from pg_database where datname = 'caselot') as "exists!""#)
        .fetch_one(&mut *connection)
        .await?
        .exists;
    if !exists {
        sqlx::raw_sql("create database caselot owner caselot_owner").execute(&mut *connection).await?;
    }
    sqlx::raw_sql(
        "revoke all on database caselot from public;
         grant connect on database caselot to caselot_runtime, caselot_backup;
         revoke connect on database postgres, template1 from public",
    )
    .execute(&mut *connection)
    .await?;
    Ok(!exists)
}

/// Marks a cluster that was just made as one whose clock may be moved.
pub(super) async fn mark_as_demo(owner: &mut PgConnection) -> sqlx::Result<()> {
    sqlx::query!("insert into cluster_clock (offset_seconds) values (0) on conflict do nothing")
        .execute(owner)
        .await
        .map(|_| ())
}

/// What a start-up check needs to know about the database and the role that asks.
pub(super) struct Facts {
    pub(super) version: i32,
    pub(super) fsync: String,
    pub(super) full_page_writes: String,
    pub(super) synchronous_commit: String,
    pub(super) role: String,
    pub(super) superuser: bool,
    pub(super) bypasses_row_security: bool,
    pub(super) manages_roles_or_databases: bool,
    pub(super) owns: i64,
    pub(super) creates_in: i64,
    pub(super) truncates: i64,
    pub(super) unfenced: i64,
}

/// Reads the facts, as whoever is signed in.
pub(super) async fn facts(connection: &mut PgConnection) -> sqlx::Result<Facts> {
    sqlx::query_as!(
        Facts,
        r#"select current_setting('server_version_num')::int as "version!", current_setting('fsync') as "fsync!",
                  current_setting('full_page_writes') as "full_page_writes!", current_setting('synchronous_commit') as "synchronous_commit!",
                  current_user::text as "role!",
                  (select bool_or(rolsuper) from pg_roles r where pg_has_role(current_user, r.oid, 'member')) as "superuser!",
                  (select bool_or(rolbypassrls) from pg_roles r where pg_has_role(current_user, r.oid, 'member')) as "bypasses_row_security!",
                  (select bool_or(rolcreatedb or rolcreaterole or rolreplication) from pg_roles r where pg_has_role(current_user, r.oid, 'member'))
                      as "manages_roles_or_databases!",
                  (select count(*) from pg_class c where c.relkind in ('r', 'p', 'v', 'm', 'S', 'f') and c.relnamespace = 'public'::regnamespace
                      and pg_has_role(current_user, c.relowner, 'member')) as "owns!",
                  (select count(*) from pg_namespace n where n.nspname !~ '^pg_' and n.nspname <> 'information_schema'
                      and has_schema_privilege(current_user, n.oid, 'create'))
                      + has_database_privilege(current_user, current_database(), 'create')::int as "creates_in!",
                  (select count(*) from pg_class c where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace
                      and has_table_privilege(current_user, c.oid, 'truncate')) as "truncates!",
                  (select count(*) from pg_class c where c.relkind in ('r', 'p') and c.relnamespace = 'public'::regnamespace
                      and c.relrowsecurity and not c.relforcerowsecurity) as "unfenced!""#
    )
    .fetch_one(connection)
    .await
}

/// True if migrations ever ran here.
pub(super) async fn has_migrations(connection: &mut PgConnection) -> sqlx::Result<bool> {
    let row = sqlx::query!(r#"select to_regclass('public._sqlx_migrations') is not null as "there!""#)
        .fetch_one(connection)
        .await?;
    Ok(row.there)
}

/// Moves the clock of a demo or test cluster forwards and returns how far ahead it is now; none on any other database.
pub(crate) async fn move_clock(owner: &mut PgConnection, seconds: i64) -> sqlx::Result<Option<i64>> {
    let row =
        sqlx::query!("update cluster_clock set offset_seconds = offset_seconds + $1 returning offset_seconds", seconds)
            .fetch_optional(owner)
            .await?;
    Ok(row.map(|row| row.offset_seconds))
}

/// Every unit, for the commands that look at all of them.
pub(crate) async fn unit_ids(connection: &mut PgConnection) -> sqlx::Result<Vec<uuid::Uuid>> {
    sqlx::query_scalar!("select unit_id from unit order by unit_id").fetch_all(connection).await
}

/// The permissions that the database knows.
pub(super) async fn permissions(connection: &mut PgConnection) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!("select permission from permission").fetch_all(connection).await
}
