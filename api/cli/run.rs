//! From the command line to an exit code.

use std::process::ExitCode;

use clap::Parser;

use super::commands::{Cli, Command, LogCommand};
use super::{account, check, clock, cluster, log, serve};
use crate::postgres::{DatabaseUrls, Layout};
use crate::settings::{self, Settings};
use crate::start::StartError;
use crate::{logging, migrate};

/// Runs the command line of this process. What goes wrong is said on standard error, with an exit code to go with it.
#[must_use]
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    match run(&cli) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("caselot: {error}");
            ExitCode::from(error.exit_code())
        }
    }
}

fn run(cli: &Cli) -> Result<ExitCode, StartError> {
    match &cli.command {
        Command::Serve => serve::serve(&settings::load(cli.config.as_deref())?),
        Command::ServeApi { settings } => serve::serve_api(settings),
        Command::Account(command) => account::run(&settings::load(cli.config.as_deref())?, command),
        Command::Log(LogCommand::Verify) => log::verify(&settings::load(cli.config.as_deref())?),
        Command::Openapi => {
            print!("{}", *crate::server::document::TEXT);
            Ok(ExitCode::SUCCESS)
        }
        Command::Migrate => {
            let settings = settings::load(cli.config.as_deref())?;
            logging::start(&settings.log)?;
            let owner = addresses(&settings)?
                .owner
                .ok_or_else(|| StartError::configuration("database.owner_url_file is not set"))?;
            let done = block_on(migrate::run(&owner))?;
            println!("{} of {} migrations ran now; the rest had run before", done.applied_now, done.known);
            Ok(ExitCode::SUCCESS)
        }
        Command::ParseList => Ok(crate::intake::parse::run_child()),
        Command::Check => check::run(cli.config.as_deref()),
        Command::Clock(arguments) => clock::run(&settings::load(cli.config.as_deref())?, arguments),
        Command::Cluster(arguments) => cluster::run(arguments),
    }
}

/// The database's addresses: from the files that the settings name, or from the data folder of a running server.
pub(super) fn addresses(settings: &Settings) -> Result<DatabaseUrls, StartError> {
    match DatabaseUrls::from_files(settings)? {
        Some(urls) => Ok(urls),
        None => DatabaseUrls::of_own_cluster(&Layout::choose(settings)?),
    }
}

/// Runs a piece of start-up or command work to its end.
pub(super) fn block_on<T>(work: impl Future<Output = Result<T, StartError>>) -> Result<T, StartError> {
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(StartError::io("starting"))?;
    runtime.block_on(work)
}
