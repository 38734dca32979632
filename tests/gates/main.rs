//! Rules that every operation obeys, looped over the generated document, so that a new endpoint is covered at once.
//!
//! Gate 5 is `refusals.rs`, gate 6 `matrix/`, gates 7 to 9 run after and during every test (`tests/api/support`); gates 1 to 4
//! are the compiler's and clippy's. `fence.rs` and `catalog.rs` hold the database to the same rules by itself.

#[cfg(test)]
#[expect(dead_code, unused_imports, reason = "the gates use a part of the harness")]
#[path = "../api/support/mod.rs"]
mod support;

#[cfg(test)]
mod canaries;
#[cfg(test)]
mod catalog;
#[cfg(test)]
mod document;
#[cfg(test)]
mod erasure;
#[cfg(test)]
mod fence;
#[cfg(test)]
mod fences;
#[cfg(test)]
mod matrix;
#[cfg(test)]
mod objects;
#[cfg(test)]
mod openapi;
#[cfg(test)]
mod operations;
#[cfg(test)]
mod polling;
#[cfg(test)]
mod prepared;
#[cfg(test)]
mod promised;
#[cfg(test)]
mod refusals;
#[cfg(test)]
mod step_up;
#[cfg(test)]
mod table;
