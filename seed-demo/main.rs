//! The demo.
fn main() {}
