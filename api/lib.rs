//! Caselot.

pub mod settings;
pub mod start;

pub mod common;
