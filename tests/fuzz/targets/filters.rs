//! What a query holds: markers of pages, versions, sets of changes; and bodies. Refused or taken, and what is taken is what
//! was given out.
#![no_main]

use caselot::common::etag::is_version;
use caselot::common::page;
use caselot::common::since::Since;
use caselot::common::body::parse_json;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let filters = ("troops", Some(text.len()));
    if let Ok(Some(key)) = page::decode::<(String, u32), _>(Some(text), &filters) {
        let again = page::encode(&key, &filters).ok();
        assert_eq!(page::decode::<(String, u32), _>(again.as_deref(), &filters).ok().flatten(), Some(key));
    }
    // a marker is good for its own list alone
    let marker = page::encode(&(text, 7_u32), &filters).ok();
    assert!(page::decode::<(String, u32), _>(marker.as_deref(), &("people", Some(text.len()))).is_err());
    let back = page::decode::<(String, u32), _>(marker.as_deref(), &filters).ok().flatten();
    assert_eq!(back, Some((text.to_owned(), 7)));
    let _taken = is_version(text);
    let _refused = parse_json::<Since>(text.as_bytes());
});
