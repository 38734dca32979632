//! The three roles and the database, made once in a fresh cluster.

use std::path::Path;

use secrecy::SecretString;
use sqlx::{Connection, PgConnection};

use super::folder::{Layout, give};
use super::sql;
use super::urls::{DatabaseUrls, by_socket};
use crate::settings::secret;
use crate::start::StartError;

/// The passwords of one cluster, each in a private file of its own.
pub(super) struct Passwords {
    pub(super) superuser: SecretString,
    owner: SecretString,
    runtime: SecretString,
    backup: SecretString,
}

impl Passwords {
    /// Reads the password files, making those that are not there.
    pub(super) fn made_once(layout: &Layout) -> Result<Self, StartError> {
        let private = |name: &str| secret::made_once(&layout.private().join(name));
        let runtime_file = layout.api().join("runtime.password");
        let passwords = Self {
            superuser: private("superuser.password")?,
            owner: private("owner.password")?,
            backup: private("backup.password")?,
            runtime: secret::made_once(&runtime_file)?,
        };
        give(&runtime_file, layout.who.map(|who| who.api))?;
        Ok(passwords)
    }

    pub(super) fn superuser_url(&self, socket: &Path) -> SecretString {
        by_socket(socket, "postgres", &self.superuser, "postgres")
    }

    /// The addresses of the database `caselot` behind `socket`.
    pub(super) fn urls(&self, socket: &Path) -> DatabaseUrls {
        let [owner, runtime, backup] = sql::ROLES;
        DatabaseUrls {
            runtime: by_socket(socket, runtime, &self.runtime, "caselot"),
            owner: Some(by_socket(socket, owner, &self.owner, "caselot")),
            backup: Some(by_socket(socket, backup, &self.backup, "caselot")),
        }
    }

    /// Makes roles and database if they are not there; true if the database is new.
    pub(super) async fn set_up(&self, socket: &Path) -> Result<bool, StartError> {
        let doing = "setting up the database's roles";
        let mut connection = connect(&self.superuser_url(socket)).await?;
        if sql::is_set_up(&mut connection).await.map_err(StartError::sql(doing))? {
            return Ok(false);
        }
        sql::create_roles(&mut connection, [&self.owner, &self.runtime, &self.backup])
            .await
            .map_err(StartError::sql(doing))?;
        let fresh = sql::create_database(&mut connection).await.map_err(StartError::sql(doing))?;
        connection.close().await.map_err(StartError::sql(doing))?;
        Ok(fresh)
    }
}

/// One connection, for start-up work only; requests go through the permits' pools.
pub(crate) async fn connect(url: &SecretString) -> Result<PgConnection, StartError> {
    PgConnection::connect(secrecy::ExposeSecret::expose_secret(url))
        .await
        .map_err(StartError::sql("connecting to the database"))
}
