//! Starting and stopping, seen from outside: the program is run as a person runs it, and the machine is looked at.
#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise, and says what it was"
)]

mod cluster;
mod demo;
mod examples;
mod secrets;
mod serve;
mod supply;
mod support;
