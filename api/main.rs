//! Caselot: start-up.
fn main() {}
