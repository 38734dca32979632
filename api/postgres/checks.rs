//! What a database must be before this program trusts it with anything.

use secrecy::SecretString;
use sqlx::migrate::{AppliedMigration, Migrate, MigrateError};
use sqlx::{Connection, PgConnection};

use super::roles::connect;
use super::sql::{self, Facts};
use crate::start::StartError;

/// The lowest minor version of each major version that is accepted: 15.18, on which this release was tested, and the
/// releases of the same day (from memory). All hold the fix of the last known way around row security, CVE-2025-8713.
const FLOORS: [(i32, i32); 4] = [(15, 18), (16, 14), (17, 10), (18, 4)];

/// Checks the database behind the runtime role's address: settings that keep data safe, a role without too much power,
/// migrations that fit. Every fault is listed, not only the first.
///
/// # Errors
/// [`StartError::Database`] with one line a fault; [`StartError::Sql`] if it does not answer.
pub async fn check(runtime: &SecretString) -> Result<(), StartError> {
    let doing = "checking the database";
    let mut connection = connect(runtime).await?;
    let facts = sql::facts(&mut connection).await.map_err(StartError::sql(doing))?;
    let mut faults = faults(&facts);
    if sql::has_migrations(&mut connection).await.map_err(StartError::sql(doing))? {
        let compared = migration_faults(&mut connection).await;
        let behind = compared.unwrap_or_else(|error| vec![format!("reading the list of migrations: {error}")]);
        if behind.is_empty() {
            let known = sql::permissions(&mut connection).await.map_err(StartError::sql(doing))?;
            faults.extend(missing(crate::auth::permission::ALL, &known));
        }
        faults.extend(behind);
    } else {
        faults.push("it is empty; run `caselot migrate`".to_owned());
    }
    connection.close().await.map_err(StartError::sql(doing))?;
    if faults.is_empty() { Ok(()) } else { Err(StartError::Database(faults)) }
}

fn faults(facts: &Facts) -> Vec<String> {
    let mut found = Vec::new();
    let (major, minor) = (facts.version / 10_000, facts.version % 10_000);
    match FLOORS.iter().find(|(known, _)| *known == major) {
        Some((_, floor)) if minor < *floor => {
            found.push(format!(
                "PostgreSQL {major}.{minor} has known security holes; update it to {major}.{floor} or later"
            ));
        }
        None if major < 15 => found.push(format!("PostgreSQL {major} is too old; 15 or later is needed")),
        _ => {}
    }
    for (name, value) in [
        ("fsync", &facts.fsync),
        ("full_page_writes", &facts.full_page_writes),
        ("synchronous_commit", &facts.synchronous_commit),
    ] {
        if value == "off" {
            found.push(format!("{name} is off: a power cut could lose or break what people entered; switch it on"));
        }
    }
    let role = &facts.role;
    let mut refuse = |is: bool, what: &str| {
        if is {
            found.push(format!("the role {role} {what}; sign in as caselot_runtime, made as in deploy/roles.sql"));
        }
    };
    refuse(facts.superuser, "is a superuser");
    refuse(facts.bypasses_row_security, "may bypass row security");
    refuse(facts.manages_roles_or_databases, "may create databases or roles, or replicate");
    refuse(facts.owns > 0, "owns tables");
    refuse(facts.creates_in > 0, "may create tables or schemas");
    refuse(facts.truncates > 0, "may truncate tables");
    if facts.unfenced > 0 {
        found.push(format!(
            "{} tables have row security that is not forced; run `caselot migrate` of this release",
            facts.unfenced
        ));
    }
    found
}

/// What the code asks for and the database has never heard of could be given to nobody, or to everybody by mistake.
fn missing(asked_for: &[&str], known: &[String]) -> Vec<String> {
    asked_for
        .iter()
        .filter(|name| !known.iter().any(|k| k == *name))
        .map(|name| {
            format!("the permission {name} is not in its table `permission`; run `caselot migrate` of this release")
        })
        .collect()
}

async fn migration_faults(connection: &mut PgConnection) -> Result<Vec<String>, MigrateError> {
    let table = &crate::migrate::MIGRATOR.table_name;
    let applied = connection.list_applied_migrations(table).await?;
    let unfinished = connection.dirty_version(table).await?;
    let mut found = compare(&crate::migrate::known(), &applied);
    found.extend(unfinished.map(|version| format!("migration {version} failed half-way; run `caselot migrate`")));
    Ok(found)
}

/// A newer database is fine (migrations only add), an older or a different one is not.
fn compare(known: &[(i64, Vec<u8>)], applied: &[AppliedMigration]) -> Vec<String> {
    let mut found = Vec::new();
    for (version, checksum) in known {
        match applied.iter().find(|a| a.version == *version) {
            None => found.push(format!("migration {version} has not run; run `caselot migrate`")),
            Some(a) if a.checksum.as_ref() != checksum.as_slice() => {
                found.push(format!("migration {version} was a different one there; this program and that database do not belong together"));
            }
            Some(_) => {}
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn good() -> Facts {
        Facts {
            version: 150_018,
            fsync: "on".into(),
            full_page_writes: "on".into(),
            synchronous_commit: "on".into(),
            role: "caselot_runtime".into(),
            superuser: false,
            bypasses_row_security: false,
            manages_roles_or_databases: false,
            owns: 0,
            creates_in: 0,
            truncates: 0,
            unfenced: 0,
        }
    }

    #[test]
    fn a_well_kept_database_has_no_faults() {
        assert!(faults(&good()).is_empty());
        assert!(faults(&Facts { version: 190_001, ..good() }).is_empty(), "newer major versions are not refused");
        assert!(faults(&Facts { synchronous_commit: "local".into(), ..good() }).is_empty());
    }

    #[test]
    fn each_unsafe_setting_or_power_is_a_fault_of_its_own() {
        for (bad, word) in [
            (Facts { fsync: "off".into(), ..good() }, "fsync"),
            (Facts { full_page_writes: "off".into(), ..good() }, "full_page_writes"),
            (Facts { synchronous_commit: "off".into(), ..good() }, "synchronous_commit"),
            (Facts { superuser: true, ..good() }, "superuser"),
            (Facts { bypasses_row_security: true, ..good() }, "bypass"),
            (Facts { manages_roles_or_databases: true, ..good() }, "create databases"),
            (Facts { owns: 1, ..good() }, "owns"),
            (Facts { creates_in: 1, ..good() }, "create tables"),
            (Facts { truncates: 1, ..good() }, "truncate"),
            (Facts { unfenced: 2, ..good() }, "2 tables"),
            (Facts { version: 150_017, ..good() }, "15.18"),
            (Facts { version: 140_020, ..good() }, "too old"),
        ] {
            let said = faults(&bad);
            assert_eq!(said.len(), 1, "{said:?}");
            assert!(said[0].contains(word), "{said:?}");
        }
    }

    #[test]
    fn a_permission_that_the_database_lacks_is_a_fault() {
        let known = ["troops.read".to_owned(), "of.a.later.release".to_owned()];
        assert!(missing(&["troops.read"], &known).is_empty());
        assert!(missing(&["troops.read", "troops.change"], &known)[0].contains("troops.change"));
    }

    #[test]
    fn a_newer_database_is_fine_and_an_older_or_foreign_one_is_not() {
        let known = [(1, vec![1]), (2, vec![2])];
        let applied = |version, checksum: u8| AppliedMigration { version, checksum: vec![checksum].into() };
        assert!(compare(&known, &[applied(1, 1), applied(2, 2), applied(3, 3)]).is_empty());
        assert!(compare(&known, &[applied(1, 1)])[0].contains("migration 2 has not run"));
        assert!(compare(&known, &[applied(1, 9), applied(2, 2)])[0].contains("a different one"));
    }
}
