//! What stands behind `Bearer`. No text is a token but those that were signed here, and no body stops the digests.
#![no_main]

use caselot::auth::token::{SigningKeys, is_key};
use chrono::{DateTime, Utc};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let key = b"a key of this target alone, of more than thirty-two bytes".to_vec();
    let keys = SigningKeys::new(vec![("k1".to_owned(), key.into())]).expect("a key that is long enough");
    let now = DateTime::<Utc>::from_timestamp(1_795_000_000, 0).expect("a moment");
    assert!(keys.check(text, now).is_none(), "{text:?} is no token of this server");
    let _shape = is_key(text);
    assert_eq!(keys.digests_of_body(text.as_bytes()).len(), 1);
});
