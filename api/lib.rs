//! Caselot.

pub mod settings;
pub mod start;

pub mod common;

pub mod seasons;
