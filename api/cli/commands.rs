//! The commands and their help.

use std::ffi::OsString;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

/// The books of one unit's seasonal product sale, as a server that volunteers' apps and scripts talk to.
///
/// To try it out: `caselot serve`. Without any settings it starts a database of its own and listens on
/// <http://127.0.0.1:8480>; the API's reference page is at /reference/. To run it for real, read deploy/README.md.
#[derive(Debug, Parser)]
#[command(name = "caselot", version, max_term_width = 100)]
pub struct Cli {
    /// The settings file; deploy/caselot.example.toml explains every line.
    #[arg(long, global = true, env = "CASELOT_CONFIG", value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the server until it is told to stop (Ctrl-C, or SIGTERM).
    Serve,
    /// Bring an outside database up to this release. (A database of the server's own is brought up at each start.)
    Migrate,
    /// Accounts: the first administrator, and a link for who has forgotten the password.
    #[command(subcommand)]
    Account(AccountCommand),
    /// Say everything that is wrong with the settings, the key files and the database; change nothing.
    Check,
    /// Look after the logs that say who did what.
    #[command(subcommand)]
    Log(LogCommand),
    /// Print the API's document (OpenAPI 3.1), as the server gives it at /openapi.json.
    Openapi,
    /// Move the clock of a demo or test database forwards. Refused on every other database.
    Clock(ClockArguments),
    /// Read one list from standard input, behind limits, and write what it holds to standard output; the server calls it.
    #[command(hide = true)]
    ParseList,

    /// The API's own process, when the server was started as root.
    #[command(hide = true)]
    ServeApi {
        /// The settings that the supervisor wrote.
        #[arg(long)]
        settings: PathBuf,
    },
    /// Start a database for one command and remove it afterwards.
    #[command(hide = true)]
    Cluster(ClusterArguments),
}

/// What to do about an account. The server's database must be running.
#[derive(Debug, Subcommand)]
pub enum AccountCommand {
    /// Make the first administrator and print the link with which they choose a password. Works once, on a fresh server.
    FirstAdministrator {
        /// Their e-mail address: what they sign in with.
        #[arg(long)]
        email: String,
    },
    /// Print a new invitation for the manager of a unit in which nobody has signed in yet: the first link was lost.
    UnitManager {
        /// The unit's id, as `create_unit` gave it.
        #[arg(long)]
        unit: uuid::Uuid,
    },
    /// Take somebody's second factor away, whose phone and recovery codes are lost. Make sure that it is they who ask.
    RemoveSecondFactor {
        /// The e-mail address that they sign in with.
        #[arg(long)]
        email: String,
    },
    /// Print the secret, good for 15 minutes, with which someone signs in once without the password. Not for who administers
    /// the server, or manages or oversees a unit.
    SignInLink {
        /// The e-mail address that they sign in with.
        #[arg(long)]
        email: String,
    },
    /// Print a link, good for 30 minutes, with which someone chooses a new password.
    ResetLink {
        /// The e-mail address that they sign in with.
        #[arg(long)]
        email: String,
    },
}

/// What to do about the logs.
#[derive(Debug, Subcommand)]
pub enum LogCommand {
    /// Check that no row of any log was changed, removed, added or cut off.
    Verify,
}

/// How far to move the clock.
#[derive(Debug, Args)]
pub struct ClockArguments {
    /// How far forwards: a number and s, m, h or d, such as `36h` or `3d`. Without it, the clock is only shown.
    #[arg(long, value_name = "TIME", value_parser = super::clock::seconds_in)]
    pub forwards: Option<i64>,
}

/// The throwaway cluster.
#[derive(Debug, Args)]
pub struct ClusterArguments {
    /// Confirms that everything in it may be lost.
    #[arg(long, required = true)]
    pub throwaway: bool,
    /// Where to make it; by default in memory (/dev/shm) if there is room.
    #[arg(long, value_name = "FOLDER")]
    pub dir: Option<PathBuf>,
    /// The command and its arguments, after `--`.
    #[arg(last = true, required = true)]
    pub command: Vec<OsString>,
}
