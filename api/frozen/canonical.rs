//! Canonical JSON (RFC 8785, the JSON Canonicalization Scheme), for values without fractions: one text for one value, so
//! that a digest of it can be worked out again by anybody.

use std::fmt::Write as _;

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use crate::common::text::hex;

/// The largest whole number that every JSON reader keeps exactly (RFC 8785 section 3.2.2.3, I-JSON): 2^53 - 1.
const LARGEST: i64 = 9_007_199_254_740_991;

/// A number that has no exact form that everybody agrees on.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the number {0} has no canonical form here: send whole numbers up to 2^53 - 1")]
pub struct NotCanonical(String);

/// The canonical text of a value: keys by their UTF-16 units, no space, the shortest escapes.
///
/// # Errors
/// A fraction, or a number beyond 2^53 - 1 either way.
pub fn canonical(value: &Value) -> Result<String, NotCanonical> {
    let mut text = String::new();
    write(value, &mut text)?;
    Ok(text)
}

fn write(value: &Value, text: &mut String) -> Result<(), NotCanonical> {
    match value {
        Value::Null => text.push_str("null"),
        Value::Bool(yes) => text.push_str(if *yes { "true" } else { "false" }),
        Value::Number(number) => match number.as_i64().filter(|whole| (-LARGEST..=LARGEST).contains(whole)) {
            Some(whole) => {
                let _ = write!(text, "{whole}");
            }
            None => return Err(NotCanonical(number.to_string())),
        },
        Value::String(string) => quote(string, text),
        Value::Array(items) => {
            text.push('[');
            for (place, item) in items.iter().enumerate() {
                if place > 0 {
                    text.push(',');
                }
                write(item, text)?;
            }
            text.push(']');
        }
        Value::Object(entries) => {
            let mut entries: Vec<(&String, &Value)> = entries.iter().collect();
            entries.sort_by(|(a, _), (b, _)| a.encode_utf16().cmp(b.encode_utf16()));
            text.push('{');
            for (place, (key, entry)) in entries.into_iter().enumerate() {
                if place > 0 {
                    text.push(',');
                }
                quote(key, text);
                text.push(':');
                write(entry, text)?;
            }
            text.push('}');
        }
    }
    Ok(())
}

/// Section 3.2.2.2: the two-letter escapes where there is one, `\u00xx` for the other control characters, all else as it is.
fn quote(string: &str, text: &mut String) {
    text.push('"');
    for letter in string.chars() {
        match letter {
            '"' => text.push_str("\\\""),
            '\\' => text.push_str("\\\\"),
            '\u{8}' => text.push_str("\\b"),
            '\t' => text.push_str("\\t"),
            '\n' => text.push_str("\\n"),
            '\u{c}' => text.push_str("\\f"),
            '\r' => text.push_str("\\r"),
            control if control < ' ' => {
                let _ = write!(text, "\\u{:04x}", u32::from(control));
            }
            plain => text.push(plain),
        }
    }
    text.push('"');
}

/// The SHA-256 digest (FIPS 180-4) in hexadecimal digits.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::{canonical, sha256_hex};

    fn of(text: &str) -> String {
        canonical(&serde_json::from_str::<Value>(text).unwrap()).unwrap()
    }

    /// RFC 8785, section 3.2.2 (its numbers, which are fractions, left out) and section 3.2.3.
    #[test]
    fn texts_and_literals_come_out_as_in_the_rfc() {
        let sample = r#"{"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}"#;
        assert_eq!(of(sample), r#"{"literals":[null,true,false],"string":"€$\u000f\nA'B\"\\\\\"/"}"#);
    }

    /// RFC 8785, section 3.2.3: the order of these keys.
    #[test]
    fn keys_are_sorted_by_utf16_as_in_the_rfc() {
        let sample = r#"{
            "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
            "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis"
        }"#;
        let text = of(sample);
        let order = [
            "Carriage Return",
            "One",
            "Control",
            "Latin Small Letter O With Diaeresis",
            "Euro Sign",
            "Emoji: Grinning Face",
            "Hebrew Letter Dalet With Dagesh",
        ];
        let places: Vec<usize> = order.iter().map(|name| text.find(name).unwrap()).collect();
        assert!(places.is_sorted(), "{text}");
    }

    #[test]
    fn fractions_and_numbers_that_some_readers_round_are_refused() {
        assert_eq!(canonical(&json!([0, -1, 9_007_199_254_740_991_i64])).unwrap(), "[0,-1,9007199254740991]");
        for value in [json!(0.5), json!(9_007_199_254_740_992_i64), json!(u64::MAX), json!(1e300)] {
            assert!(canonical(&value).is_err(), "{value}");
        }
    }

    /// FIPS 180-4's first example, as in NIST's example values for SHA-256.
    #[test]
    fn the_digest_is_sha_256() {
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
