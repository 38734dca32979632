//! The command line: what a volunteer's technical friend types on the machine that runs the server.

mod check;
mod clock;
mod cluster;
mod commands;
mod run;

pub use commands::{Cli, Command};
pub use run::main;
