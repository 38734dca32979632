//! Uploaded files, of each kind of list by their length, so that the files of `tests/lists` are seeds as they are.
#![no_main]

mod hold;

use caselot::intake::kinds::ListKind;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|file: &[u8]| {
    let kind = ListKind::ALL[file.len() % ListKind::ALL.len()];
    let _read_or_refused = hold::list_holds(file, kind);
});
