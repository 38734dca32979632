//! Caselot.

pub mod cli;
pub mod logging;
pub mod migrate;
pub mod parser_door;
pub mod postgres;
pub mod settings;
pub mod start;

pub mod common;

pub mod seasons;
