//! The shape of a JSON body before its meaning: depth, lengths, doubled keys, unstorable characters (R18, R19).
//!
//! serde takes the last of two equal keys in silence, so a doubled key could smuggle a value past a reader's eye; and
//! PostgreSQL stores no NUL in text. Both are refused here, once, for every body.

use std::cell::RefCell;
use std::collections::HashSet;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};

use crate::error::FieldError;

/// How deep a body may be nested.
pub const MAX_DEPTH: usize = 32;

/// How many elements an array may have.
pub const MAX_ARRAY: usize = 1_000;

/// What is wrong with the shape of this text, if it is JSON at all.
///
/// # Errors
/// The parser's own error if the text is not JSON.
pub fn faults(text: &[u8]) -> Result<Vec<FieldError>, serde_json::Error> {
    let found = RefCell::new(Vec::new());
    let path = RefCell::new(String::new());
    let mut reader = serde_json::Deserializer::from_slice(text);
    let outcome = Walk { found: &found, path: &path, depth: 0 }.deserialize(&mut reader).and_then(|()| reader.end());
    let found = found.into_inner();
    match outcome {
        Err(error) if found.is_empty() => Err(error),
        _ => Ok(found),
    }
}

#[derive(Clone, Copy)]
struct Walk<'a> {
    found: &'a RefCell<Vec<FieldError>>,
    path: &'a RefCell<String>,
    depth: usize,
}

impl Walk<'_> {
    fn note(&self, code: &str, detail: String) {
        let mut found = self.found.borrow_mut();
        if found.len() < 100 {
            found.push(FieldError::at(self.path.borrow().clone(), code, detail));
        }
    }

    fn text(&self, text: &str) {
        if text.contains('\0') {
            self.note("unstorable_character", "leave out the NUL character".to_owned());
        }
    }

    /// Walks one step down, with the path extended by `step` meanwhile.
    fn within<T>(&self, step: &str, walk: impl FnOnce(Self) -> T) -> T {
        let length = self.path.borrow().len();
        self.path.borrow_mut().push('/');
        self.path.borrow_mut().push_str(&step.replace('~', "~0").replace('/', "~1"));
        let outcome = walk(Walk { depth: self.depth + 1, ..*self });
        self.path.borrow_mut().truncate(length);
        outcome
    }

    fn too_deep<E: serde::de::Error>(&self) -> Result<(), E> {
        if self.depth < MAX_DEPTH {
            return Ok(());
        }
        self.note("too_deep", format!("at most {MAX_DEPTH} levels"));
        Err(E::custom("too deep"))
    }
}

impl<'de> DeserializeSeed<'de> for Walk<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Walk<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_bool<E>(self, _: bool) -> Result<(), E> {
        Ok(())
    }

    fn visit_i64<E>(self, _: i64) -> Result<(), E> {
        Ok(())
    }

    fn visit_u64<E>(self, _: u64) -> Result<(), E> {
        Ok(())
    }

    fn visit_f64<E>(self, _: f64) -> Result<(), E> {
        Ok(())
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        Ok(())
    }

    fn visit_str<E>(self, text: &str) -> Result<(), E> {
        self.text(text);
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<(), A::Error> {
        self.too_deep()?;
        let mut count = 0_usize;
        while self.within(&count.to_string(), |walk| items.next_element_seed(walk))?.is_some() {
            count += 1;
            if count > MAX_ARRAY {
                self.note("too_many", format!("at most {MAX_ARRAY} elements"));
                return Err(serde::de::Error::custom("too many"));
            }
        }
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<(), A::Error> {
        self.too_deep()?;
        let mut seen = HashSet::new();
        while let Some(key) = entries.next_key::<String>()? {
            self.text(&key);
            if seen.contains(&key) {
                self.note("doubled_key", format!("the key {key:?} stands here twice; send it once"));
            }
            self.within(&key, |walk| entries.next_value_seed(walk))?;
            seen.insert(key);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::{MAX_ARRAY, MAX_DEPTH, faults};

    fn codes(text: &str) -> Vec<(String, String)> {
        let found = faults(text.as_bytes()).unwrap();
        found.into_iter().map(|fault| (fault.pointer.unwrap(), fault.code)).collect()
    }

    #[test]
    fn doubled_keys_and_nul_are_named_by_place() {
        assert_eq!(codes(r#"{"a":1,"b":[{"c":1,"c":2}]}"#), [("/b/0".into(), "doubled_key".into())]);
        assert_eq!(codes(r#"{"a/b":"x\u0000"}"#), [("/a~1b".into(), "unstorable_character".into())]);
        assert!(codes(r#"{"a":1,"b":[null,true,1.5,"x"]}"#).is_empty());
    }

    #[test]
    fn limits_hold_at_n_and_break_at_n_plus_one() {
        let nested = |n: usize| format!("{}{}", "[".repeat(n), "]".repeat(n));
        assert!(codes(&nested(MAX_DEPTH)).is_empty());
        assert_eq!(codes(&nested(MAX_DEPTH + 1)).first().unwrap().1, "too_deep");
        let long = |n: usize| format!("[{}]", vec!["0"; n].join(","));
        assert!(codes(&long(MAX_ARRAY)).is_empty());
        assert_eq!(codes(&long(MAX_ARRAY + 1)).first().unwrap().1, "too_many");
    }

    #[test]
    fn what_is_not_json_is_an_error() {
        for text in ["", "{", "[1,]", "nul", "{} x", r#""\ud800""#] {
            assert!(faults(text.as_bytes()).is_err(), "{text}");
        }
    }
}
