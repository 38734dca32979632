//! The database to work with, opened: the outside one that the settings name, or the own cluster started and migrated.

use std::path::Path;

use secrecy::{ExposeSecret, SecretString};
use sqlx::Connection;

use super::binaries;
use super::cluster::{Cluster, Plan};
use super::folder::{Layout, give};
use super::roles::{Passwords, connect};
use super::sql;
use super::urls::DatabaseUrls;
use crate::migrate;
use crate::settings::Settings;
use crate::start::StartError;

/// A database that is ready, and the cluster that this process runs for it, if it does.
pub struct Database {
    /// Its addresses.
    pub urls: DatabaseUrls,
    /// The own cluster; stop it after everything that uses it.
    pub cluster: Option<Cluster>,
}

/// Opens the database: an outside one as it is (never migrated unasked), an own one started, set up and migrated.
///
/// # Errors
/// [`StartError`] of whatever failed; an own cluster that was started is stopped again.
pub async fn open(settings: &Settings, layout: &Layout) -> Result<Database, StartError> {
    if let Some(urls) = DatabaseUrls::from_files(settings)? {
        return Ok(Database { urls, cluster: None });
    }
    let plan = plan(settings, layout)?;
    let passwords = Passwords::made_once(layout)?;
    if !plan.exists() {
        tracing::info!(folder = %layout.root.display(), postgresql = plan.binaries.major, "making a database of its own");
        plan.create(&passwords.superuser)?;
    }
    let cluster = plan.start()?;
    let fresh = passwords.set_up(&layout.socket()).await?;
    let urls = passwords.urls(&layout.socket());
    write_addresses(layout, &urls)?;
    if let Some(owner) = &urls.owner {
        let migrated = migrate::run(owner).await?;
        tracing::info!(applied = migrated.applied_now, known = migrated.known, "migrations");
        if fresh && settings.data.demo {
            let mut connection = connect(owner).await?;
            sql::mark_as_demo(&mut connection).await.map_err(StartError::sql("marking the new cluster as a demo"))?;
            connection.close().await.map_err(StartError::sql("marking the new cluster as a demo"))?;
        }
    }
    tracing::info!(
        folder = %layout.root.display(),
        "using a database of its own: for trying out and for small installations. To move to a server that you run, see deploy/README.md"
    );
    Ok(Database { urls, cluster: Some(cluster) })
}

fn plan(settings: &Settings, layout: &Layout) -> Result<Plan, StartError> {
    let files = layout.cluster();
    let made_by = std::fs::read_to_string(files.join("PG_VERSION")).ok().and_then(|text| text.trim().parse().ok());
    Ok(Plan {
        binaries: binaries::find(settings.database.pg_bin.as_deref(), &layout.root, made_by)?,
        files,
        socket: layout.socket(),
        run_as: layout.who.map(|who| who.cluster),
        log: layout.root.join("cluster.log"),
    })
}

/// Writes the addresses where the commands, a backup script and the API (its own only) find them.
fn write_addresses(layout: &Layout, urls: &DatabaseUrls) -> Result<(), StartError> {
    let private = layout.private();
    for (name, url) in [("owner.url", &urls.owner), ("backup.url", &urls.backup)] {
        if let Some(url) = url {
            replace_private(&private.join(name), url)?;
        }
    }
    let runtime = layout.api().join("runtime.url");
    replace_private(&runtime, &urls.runtime)?;
    give(&runtime, layout.who.map(|who| who.api))
}

/// Replaces a private file whole: a reader sees the old text or the new one.
pub(crate) fn replace_private(path: &Path, text: &SecretString) -> Result<(), StartError> {
    use std::io::Write;
    let failed = || StartError::io(path.display().to_string());
    let folder = path.parent().unwrap_or(Path::new("/"));
    // A temporary file of mode 0600 in the same folder, renamed over the old one.
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed())?;
    file.write_all(text.expose_secret().as_bytes()).map_err(failed())?;
    file.persist(path).map_err(|e| e.error).map_err(failed())?;
    Ok(())
}
