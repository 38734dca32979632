//! The committed document is what the running program says.

use caselot::server::document;

const COMMITTED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/openapi/openapi.json");

#[test]
fn the_committed_document_is_the_generated_one() {
    let generated: &str = &document::TEXT;
    if std::env::var_os("UPDATE").is_some_and(|value| value == "1") {
        std::fs::write(COMMITTED, generated).expect("openapi/openapi.json can be written");
    }
    let committed = std::fs::read_to_string(COMMITTED).unwrap_or_default();
    let first = committed.lines().zip(generated.lines()).enumerate().find(|(_, (old, new))| old != new);
    assert!(
        committed == generated,
        "openapi/openapi.json is not what the program makes (first difference: {first:?}). Look at what changed for \
         clients, then run the tests once with UPDATE=1 to rewrite it."
    );
}

/// A client generator freezes names; a renamed operation breaks every script.
#[test]
fn the_document_is_openapi_3_1_with_an_info_block_of_its_own() {
    let document: serde_json::Value = serde_json::from_str(&document::TEXT).expect("JSON");
    assert_eq!(document["openapi"], "3.1.0");
    assert_eq!(document["info"]["title"], "Caselot");
    assert_eq!(document["info"]["license"]["identifier"], "MIT OR Apache-2.0");
    assert_eq!(document["info"]["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(document["servers"][0]["url"], "/");
}
