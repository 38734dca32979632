//! `caselot serve`: as root under a supervisor, otherwise in this process with the cluster as its child.

use std::num::NonZeroU32;
use std::path::Path;
use std::process::ExitCode;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use secrecy::{ExposeSecret, SecretSlice, SecretString};
use sha2::{Digest, Sha256};

use super::mail;
use super::run::block_on;
use crate::auth::seal::Seal;
use crate::auth::token;
use crate::parser_door::ParserDoor;
use crate::postgres::{self, DatabaseUrls, Layout};
use crate::server::run::{self, Ended, Options};
use crate::settings::{Settings, SigningKeys, secret};
use crate::start::StartError;
use crate::webhooks::AddressRules;
use crate::{logging, supervise};

/// Runs the server until it is told to stop.
pub(super) fn serve(settings: &Settings) -> Result<ExitCode, StartError> {
    logging::start(&settings.log)?;
    let layout = Layout::choose(settings)?;
    layout.make()?;
    let _held = layout.lock()?;
    if let Some(who) = layout.who {
        supervise::run(settings, &layout, who)?;
        return Ok(ExitCode::SUCCESS);
    }
    let database = block_on(postgres::open(settings, &layout))?;
    block_on(postgres::check(&database.urls.runtime))?;
    let served = here(settings, &layout, &database.urls.runtime);
    if let Ok(Ended::AtOnce) = served {
        // The cluster gets its death signal and shuts down cleanly without us.
        std::mem::forget(database.cluster);
        return Ok(ExitCode::SUCCESS);
    }
    // After the API, never before: what it finished must be on disk.
    if let Some(cluster) = database.cluster {
        cluster.stop();
    }
    served.map(|_| ExitCode::SUCCESS)
}

/// The API's own process under a supervisor, which wrote these settings and checked the database.
pub(super) fn serve_api(file: &Path) -> Result<ExitCode, StartError> {
    let text = std::fs::read_to_string(file).map_err(StartError::io(file.display().to_string()))?;
    let settings: Settings =
        serde_json::from_str(&text).map_err(|e| StartError::configuration(format!("{}: {e}", file.display())))?;
    logging::start(&settings.log)?;
    let layout = Layout::choose(&settings)?;
    let urls = DatabaseUrls::from_files(&settings)?
        .ok_or_else(|| StartError::configuration("the supervisor named no database"))?;
    here(&settings, &layout, &urls.runtime).map(|_| ExitCode::SUCCESS)
}

/// Serves in this process.
fn here(settings: &Settings, layout: &Layout, runtime: &SecretString) -> Result<Ended, StartError> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let trusted = if settings.proxy.enabled { settings.proxy.trusted.clone() } else { Vec::new() };
    let options = Options {
        database: runtime.expose_secret().parse().map_err(StartError::sql("reading the database's address"))?,
        listen: settings.server.listen,
        workers: if settings.server.workers == 0 { cores } else { settings.server.workers },
        connections: settings.database.pool_total,
        keys: keys(&SigningKeys::read(&settings.keys, &layout.api())?)?,
        seal: Seal::new(&secret::sealing_key(&settings.keys, &layout.api())?),
        second_factor_required: settings.accounts.second_factor_required,
        requests_per_minute: NonZeroU32::new(settings.limits.requests_per_minute).unwrap_or(NonZeroU32::MIN),
        trusted_proxies: trusted,
        public_url: settings.server.public_address(),
        mail: mail::transports(&settings.mail)?,
        parser: ParserDoor::new(layout).map_err(StartError::io("finding the parser"))?,
        webhooks: AddressRules {
            ports: settings.webhooks.ports.clone(),
            loopback: settings.webhooks.allow_loopback && settings.data.demo,
        },
        ticker: true,
    };
    let serving = |error: run::StartError| match error {
        run::StartError::Listen(address, source) => StartError::Io { doing: format!("listening on {address}"), source },
        run::StartError::System(source) => StartError::Io { doing: "serving".to_owned(), source },
    };
    actix_web::rt::System::new().block_on(async {
        let running = run::start(&options).map_err(serving)?;
        tracing::info!(address = %running.address, public_address = %options.public_url, "listening");
        run::serve(running, options.ticker).await.map_err(serving)
    })
}

/// The keys as the tokens name them: by the first bits of their digest, so that a name never goes to another key.
fn keys(read: &SigningKeys) -> Result<token::SigningKeys, StartError> {
    let named = |key: &SecretString| {
        let bytes = key.expose_secret().as_bytes();
        let digest = Sha256::digest([b"name of a signing key: ", bytes].concat());
        let name = URL_SAFE_NO_PAD.encode(digest.iter().take(9).copied().collect::<Vec<u8>>());
        (name, SecretSlice::from(bytes.to_vec()))
    };
    let all = std::iter::once(&read.current).chain(&read.previous).map(named).collect();
    token::SigningKeys::new(all).map_err(|weak| StartError::configuration(weak.to_string()))
}
