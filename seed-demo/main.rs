//! Loads the demo: the invented Juniper Ridge unit of the invented Tanager Youth League, in the middle of its season.
//!
//! Everything goes through the public API, as an app would do it, on the clock of a demo database, which is moved forwards
//! from the season's beginning to "today". The lists are files with the dirt that real lists have (`lists/`); where every
//! troop must stand afterwards was typed by hand (`expectations/`) and is compared at the end.

mod client;
mod days;
mod expect;
mod letters;
mod lists;
mod matters;
mod people;
mod season;
mod set_up;
mod sign_ins;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

/// Loads the demo into a running server with a fresh demo database. deploy/demo does this for you.
#[derive(Debug, Parser)]
#[command(name = "seed-demo")]
struct Arguments {
    /// Where the server listens.
    #[arg(long, default_value = "http://127.0.0.1:8480")]
    address: String,
    /// Only tell, by the exit code, whether the server is ready.
    #[arg(long)]
    is_ready: bool,
    /// Only keep the demo's mail: listen on this port of the machine itself, and write each letter into `--letters`.
    #[arg(long, requires = "letters")]
    keep_mail_on: Option<u16>,
    /// Where letters go, as numbered .eml files.
    #[arg(long)]
    letters: Option<PathBuf>,
    /// The server's program, for the first administrator's link and for the clock.
    #[arg(long, default_value = "caselot")]
    program: PathBuf,
    /// Where the sign-ins go (mode 0600) and the lists are laid out beside them. If it is there, the demo is loaded.
    #[arg(long, default_value = "sign-ins")]
    sign_ins: PathBuf,
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if arguments.is_ready {
        let ready = client::Server::new(&arguments.address).is_ready().await;
        return if ready { ExitCode::SUCCESS } else { ExitCode::FAILURE };
    }
    if let (Some(port), Some(folder)) = (arguments.keep_mail_on, &arguments.letters) {
        return match letters::keep(port, folder) {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => {
                eprintln!("seed-demo: {error}");
                ExitCode::FAILURE
            }
        };
    }
    match run(&arguments).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("seed-demo: {error}");
            ExitCode::FAILURE
        }
    }
}

async fn run(arguments: &Arguments) -> Result<(), String> {
    if arguments.sign_ins.exists() {
        sign_ins::readdress(&arguments.sign_ins, &arguments.address)?;
    } else {
        let demo = season::play(arguments).await?;
        sign_ins::write(&arguments.sign_ins, &demo)?;
    }
    sign_ins::print(&arguments.sign_ins)
}
