//! Checks against sources outside this project. Each is optional by its nature: it runs where `tests/oracles/fetch` has
//! fetched the source, says so where it has not, and compares with values that the source gives, never with our own. One
//! source is paper: a season worked by hand.

#![expect(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test fails by panicking")]

mod csv_spectrum;
mod people;
mod season_by_hand;

use std::path::PathBuf;

/// A file that `tests/oracles/fetch` puts beside the build, or a sentence on standard error that it is not there.
fn fetched(name: &str) -> Option<PathBuf> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/oracles").join(name);
    if path.exists() {
        return Some(path);
    }
    eprintln!("not checked: {name} is not there; `tests/oracles/fetch` fetches it");
    assert!(std::env::var_os("ORACLES").is_none(), "ORACLES is set, so {name} must be there: {}", path.display());
    None
}
