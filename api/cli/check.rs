//! `caselot check`: everything that is wrong, in one list.

use std::path::Path;
use std::process::ExitCode;

use super::run::{addresses, block_on};
use crate::postgres::{self, Layout};
use crate::settings::{self, Settings, SigningKeys, secret};
use crate::start::StartError;

pub(super) fn run(config: Option<&Path>) -> Result<ExitCode, StartError> {
    let settings = settings::load(config)?;
    let layout = Layout::choose(&settings)?;
    println!("settings: fine. Listening address {}, data folder {}", settings.server.listen, layout.root.display());
    let outcomes = [("keys", keys(&settings, &layout)), ("database", database(&settings, &layout))];
    let mut code = ExitCode::SUCCESS;
    for (what, outcome) in outcomes {
        match outcome {
            Ok(said) => println!("{what}: {said}"),
            Err(error) => {
                println!("{what}: {error}");
                code = ExitCode::from(error.exit_code());
            }
        }
    }
    if !settings.server.listen.ip().is_loopback() && !settings.proxy.enabled {
        println!("note: the server is reachable from outside without TLS; put a proxy in front (deploy/proxy/)");
    }
    if !settings.accounts.second_factor_required {
        println!("note: accounts.second_factor_required is off");
    }
    Ok(code)
}

fn keys(settings: &Settings, layout: &Layout) -> Result<&'static str, StartError> {
    if settings.keys.signing_key_file.is_none() && !layout.api().join("signing.key").exists() {
        return Ok("one will be made at the first start");
    }
    SigningKeys::read(&settings.keys, &layout.api())?;
    if settings.keys.sealing_key_file.is_some() || layout.api().join("sealing.key").exists() {
        secret::sealing_key(&settings.keys, &layout.api())?;
    }
    Ok("fine")
}

fn database(settings: &Settings, layout: &Layout) -> Result<&'static str, StartError> {
    if settings.database.url_file.is_none() && !layout.cluster().exists() {
        postgres::find_binaries(settings.database.pg_bin.as_deref(), &layout.root, None)?;
        return Ok("one of its own will be made at the first start");
    }
    let urls = addresses(settings)?;
    block_on(postgres::check(&urls.runtime)).map(|()| "fine")
}
