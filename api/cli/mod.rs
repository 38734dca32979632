//! The command line: what a volunteer's technical friend types on the machine that runs the server.

mod account;
mod check;
mod clock;
mod cluster;
mod commands;
mod log;
mod mail;
mod run;
mod serve;

pub use commands::{Cli, Command};
pub use run::main;
