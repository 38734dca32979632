//! Caselot.

pub mod common;
