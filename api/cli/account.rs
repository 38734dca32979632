//! `caselot account`: the first administrator, and links for people who cannot get in.

use std::process::ExitCode;

use secrecy::ExposeSecret;

use super::commands::AccountCommand;
use super::run::{addresses, block_on};
use crate::accounts::command_line;
use crate::auth::{Db, System};
use crate::common::ids::UnitId;
use crate::error::ApiError;
use crate::settings::Settings;
use crate::start::StartError;

pub(super) fn run(settings: &Settings, command: &AccountCommand) -> Result<ExitCode, StartError> {
    let runtime = addresses(settings)?.runtime;
    let database = runtime.expose_secret().parse().map_err(StartError::sql("reading the database's address"))?;
    let address = settings.server.public_address();
    block_on(async {
        let system = System::new(Db::new(database, 1));
        match command {
            AccountCommand::FirstAdministrator { email } => {
                let token = command_line::first_administrator(&system, email).await.map_err(|e| failed(&e))?;
                println!("{address}/invitation#{token}");
                eprintln!(
                    "Good for 72 hours, once. Choose a password with it (at least 15 characters):\n  curl -X POST {address}/v1/invitations/accept \
                     -H 'Content-Type: application/json' \\\n    -d '{{\"token\": \"WHAT STANDS BEHIND # ABOVE\", \"password\": \"...\"}}'"
                );
            }
            AccountCommand::UnitManager { unit } => {
                let token = command_line::unit_manager(&system, UnitId(*unit)).await.map_err(|e| failed(&e))?;
                println!("{address}/invitation#{token}");
                eprintln!(
                    "Good for 72 hours, once; the older link is void. Hand it to the unit's manager and nobody else."
                );
            }
            AccountCommand::RemoveSecondFactor { email } => {
                command_line::remove_second_factor(&system, email).await.map_err(|e| failed(&e))?;
                eprintln!(
                    "The second factor is off and every session has ended. They sign in with the password and set up a new one."
                );
            }
            AccountCommand::SignInLink { email } => {
                let token = command_line::sign_in_link(&system, email).await.map_err(|e| failed(&e))?;
                println!("{token}");
                eprintln!(
                    "Good for 15 minutes, once. Hand it over in person or by a way that only they can read:\n  curl -X POST {address}/v1/sign-in-links/accept \
                     -H 'Content-Type: application/json' -d '{{\"token\": \"WHAT STANDS ABOVE\"}}'"
                );
            }
            AccountCommand::ResetLink { email } => {
                let token = command_line::reset_link(&system, email).await.map_err(|e| failed(&e))?;
                println!("{address}/reset#{token}");
                eprintln!("Good for 30 minutes, once. Hand it over in person or by a way that only they can read.");
            }
        }
        Ok(ExitCode::SUCCESS)
    })
}

fn failed(error: &ApiError) -> StartError {
    StartError::Failed(match error {
        ApiError::Fault(fault) => fault.detail.clone().unwrap_or_else(|| fault.code.detail().to_owned()),
        ApiError::Replayed(_) => error.to_string(),
    })
}
