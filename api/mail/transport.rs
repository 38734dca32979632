//! The mail servers to which messages are handed: the server's own, and those of single units.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

use lettre::transport::smtp::authentication::{Credentials, Mechanism};
use lettre::transport::smtp::client::{AsyncSmtpConnection, Certificate, TlsParameters};
use lettre::transport::smtp::extension::ClientId;
use secrecy::{ExposeSecret as _, SecretString};

use super::write::one_line;
use crate::common::ids::UnitId;

/// How long a server may take to be reached and to greet.
const REACHED_WITHIN: Duration = Duration::from_secs(30);

/// How the connection is kept from others' eyes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Security {
    /// TLS from the first byte (RFC 8314).
    Tls,
    /// TLS after a command (RFC 3207); without it nothing is said.
    StartTls,
    /// None: only to this very machine.
    None,
}

/// A mail server, and who sends by it.
#[derive(Clone)]
pub struct Transport {
    /// Its name, which its certificate must bear.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// How the connection is kept from others' eyes.
    pub security: Security,
    /// Name and password, if it asks for them.
    pub credentials: Option<(String, SecretString)>,
    /// The address that sends.
    pub sender: String,
    /// A certificate (PEM) that is believed beside those of the machine.
    pub root: Option<Vec<u8>>,
}

impl std::fmt::Debug for Transport {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Transport({}:{})", self.host, self.port)
    }
}

/// Which mail server is whose.
#[derive(Clone, Debug, Default)]
pub struct Transports {
    server: Option<Arc<Transport>>,
    units: Arc<HashMap<UnitId, Arc<Transport>>>,
}

impl Transports {
    /// With the server's own, and those of single units.
    #[must_use]
    pub fn new(server: Option<Transport>, units: Vec<(UnitId, Transport)>) -> Self {
        let units = units.into_iter().map(|(unit, transport)| (unit, Arc::new(transport)));
        Self { server: server.map(Arc::new), units: Arc::new(units.collect()) }
    }

    /// The unit's own, or else the server's.
    #[must_use]
    pub fn of_unit(&self, unit: UnitId) -> Option<&Arc<Transport>> {
        self.units.get(&unit).or(self.server.as_ref())
    }

    /// The server's.
    #[must_use]
    pub const fn of_server(&self) -> Option<&Arc<Transport>> {
        self.server.as_ref()
    }

    /// Whether nobody sends.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.server.is_none() && self.units.is_empty()
    }
}

impl Transport {
    /// Opens a connection that is ready for letters.
    ///
    /// # Errors
    /// What kept it from being opened, in words without a secret.
    pub(super) async fn connect(&self) -> Result<AsyncSmtpConnection, String> {
        let opening = tokio::time::timeout(REACHED_WITHIN, self.open());
        opening
            .await
            .map_err(|_| format!("{} did not answer within {} seconds", self.host, REACHED_WITHIN.as_secs()))?
    }

    async fn open(&self) -> Result<AsyncSmtpConnection, String> {
        let told = |error: lettre::transport::smtp::Error| said(&error);
        let hello = ClientId::Domain(self.sender.rsplit('@').next().unwrap_or("localhost").to_owned());
        let tls = match self.security {
            Security::None => None,
            Security::Tls | Security::StartTls => Some(self.tls().map_err(told)?),
        };
        let at_once = tls.clone().filter(|_| self.security == Security::Tls);
        let server = (self.host.as_str(), self.port);
        let mut connection = AsyncSmtpConnection::connect_tokio1(server, Some(REACHED_WITHIN), &hello, at_once, None)
            .await
            .map_err(told)?;
        if let Some(tls) = tls.filter(|_| self.security == Security::StartTls) {
            connection.starttls(tls, &hello).await.map_err(told)?;
        }
        if let Some((user, password)) = &self.credentials {
            let credentials = Credentials::new(user.clone(), password.expose_secret().to_owned());
            connection.auth(&[Mechanism::Plain, Mechanism::Login], &credentials).await.map_err(told)?;
        }
        Ok(connection)
    }

    fn tls(&self) -> Result<TlsParameters, lettre::transport::smtp::Error> {
        let mut tls = TlsParameters::builder(self.host.clone());
        if let Some(root) = &self.root {
            tls = tls.add_root_certificate(Certificate::from_pem(root)?);
        }
        tls.build_rustls()
    }
}

/// An error in words, with what caused it, as far as it fits a line.
pub(super) fn said(error: &lettre::transport::smtp::Error) -> String {
    let mut text = error.to_string();
    let mut cause = std::error::Error::source(error);
    while let Some(inner) = cause {
        let inner_text = inner.to_string();
        if !text.contains(&inner_text) {
            text = format!("{text}: {inner_text}");
        }
        cause = inner.source();
    }
    one_line(&text).chars().take(300).collect()
}
