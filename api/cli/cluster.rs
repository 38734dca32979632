//! `caselot cluster --throwaway -- COMMAND`.

use std::process::ExitCode;

use super::commands::ClusterArguments;
use super::run::block_on;
use crate::logging;
use crate::postgres;
use crate::settings::Log;
use crate::start::StartError;

pub(super) fn run(arguments: &ClusterArguments) -> Result<ExitCode, StartError> {
    logging::start(&Log::default())?;
    let code = block_on(postgres::run_throwaway(arguments.dir.as_deref(), None, &arguments.command))?;
    Ok(ExitCode::from(code))
}
