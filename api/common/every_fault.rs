//! Every fault of a body, not only the first: a reader stops at the first value that it cannot take, so that value is set
//! right in a copy and the copy is read on, until nothing is left to say.

use std::collections::VecDeque;

use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use super::body::{check, pointer_of};
use super::words;
use crate::error::FieldError;

/// How many faults are told: a body with more of them was meant for another operation.
const MOST: usize = 30;

/// How many values are tried in the place of a wrong one.
const MOST_TRIES: usize = 16;

/// Of a longer body only the first fault is told, so that nobody has the server read a long text again and again.
const READ_ON_BELOW: usize = 32 * 1024;

/// Everything that keeps this JSON text from being a `T`, in the order of the places.
///
/// # Errors
/// None where it is one.
pub(super) fn read<T: DeserializeOwned + garde::Validate<Context = ()>>(text: &[u8]) -> Result<T, Vec<FieldError>> {
    let mut reader = serde_json::Deserializer::from_slice(text);
    let first = match serde_path_to_error::deserialize::<_, T>(&mut reader) {
        Ok(value) => return check(&value).map(|()| value),
        Err(error) => Fault::new(&error),
    };
    let mut faults = vec![first.told()];
    if text.len() < READ_ON_BELOW
        && let Ok(copy) = serde_json::from_slice::<Value>(text)
    {
        read_on::<T>(copy, first, &mut faults);
    }
    faults.sort_by(|one, other| one.pointer.cmp(&other.pointer));
    Err(faults)
}

/// Sets a fault right in the copy and goes on to the next one.
fn read_on<T: DeserializeOwned + garde::Validate<Context = ()>>(
    mut copy: Value,
    first: Fault,
    faults: &mut Vec<FieldError>,
) {
    let (mut fault, mut mended) = (first, Vec::new());
    while faults.len() < MOST {
        let next = fault.mend(&mut copy, &mended, |copy| match serde_path_to_error::deserialize::<_, T>(copy) {
            Ok(value) => Ok(value),
            Err(error) => Err(Fault::new(&error)),
        });
        mended.push(fault.place.clone());
        match next {
            None => return,
            Some(Err(next)) => {
                faults.push(next.told());
                fault = next;
            }
            Some(Ok(value)) => {
                // What stands in for the faults is nobody's, so nothing is said of it.
                let broken = check(&value).err().unwrap_or_default();
                let own = |one: &FieldError| one.pointer.as_ref().is_some_and(|place| !mended.contains(place));
                faults.extend(broken.into_iter().filter(own));
                return;
            }
        }
    }
}

/// What a reader says of the first value that it cannot take.
struct Fault {
    /// Where the reader was.
    pointer: String,
    /// The value's own place, which for a missing one is in the object where the reader was.
    place: String,
    message: String,
}

impl Fault {
    fn new(error: &serde_path_to_error::Error<serde_json::Error>) -> Self {
        let (pointer, message) = (pointer_of(error.path()), error.inner().to_string());
        let named = message.split('`').nth(1).unwrap_or_default();
        let ends_so = pointer.rsplit('/').next() == Some(named);
        let place = if message.starts_with("missing field") || (message.starts_with("unknown field") && !ends_so) {
            format!("{pointer}/{named}")
        } else {
            pointer.clone()
        };
        Self { pointer, place, message }
    }

    fn told(&self) -> FieldError {
        let name = self.pointer.rsplit('/').next().unwrap_or_default();
        FieldError::at(&*self.pointer, "not_as_documented", words::plain(&self.message, name))
    }

    /// Sets it right in the copy and reads that; none where nothing that is known would do.
    fn mend<T>(
        &self,
        copy: &mut Value,
        mended: &[String],
        read: impl Fn(&Value) -> Result<T, Fault>,
    ) -> Option<Result<T, Fault>> {
        if mended.contains(&self.place) {
            return None;
        }
        let (parent, key) = self.place.rsplit_once('/')?;
        let key = key.replace("~1", "/").replace("~0", "~");
        if self.message.starts_with("unknown field") {
            copy.pointer_mut(parent)?.as_object_mut()?.remove(&key)?;
            return Some(read(copy));
        }
        let mut candidates = VecDeque::from(candidates(&self.message));
        for _ in 0..MOST_TRIES {
            let candidate = candidates.pop_front()?;
            match copy.pointer_mut(parent)? {
                Value::Object(fields) => {
                    fields.insert(key.clone(), candidate);
                }
                Value::Array(items) => *items.get_mut(key.parse::<usize>().ok()?)? = candidate,
                _ => return None,
            }
            match read(copy) {
                // Of something missing only now is said what it may be.
                Err(next) if next.place == self.place => candidates.extend(choice(&next.message)),
                Err(next) if next.pointer.starts_with(&format!("{}/", self.place)) => {}
                outcome => return Some(outcome),
            }
        }
        None
    }
}

/// The first of the choices that a message names.
fn choice(message: &str) -> Option<Value> {
    let choices = message.split_once("expected ").map(|(_, choices)| choices)?;
    choices.split('`').nth(1).map(|name| json!(name))
}

/// Values of every kind that a body holds, the choice that the message names first.
fn candidates(message: &str) -> Vec<Value> {
    let any = [
        json!("x"),
        json!(1),
        json!(true),
        json!([]),
        json!({}),
        json!("2026-10-31"),
        json!("2026-10-31T18:00:00Z"),
        json!("00000000-0000-7000-8000-000000000000"),
        Value::Null,
    ];
    choice(message).into_iter().chain(any).collect()
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;
    use uuid::Uuid;

    #[derive(Debug, serde::Deserialize)]
    #[serde(rename_all = "snake_case")]
    enum Kind {
        Plain,
        Screening,
    }

    #[derive(Debug, serde::Deserialize, garde::Validate)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "only its faults are looked at")]
    struct Sample {
        #[garde(length(min = 3))]
        name: String,
        #[garde(skip)]
        kind: Kind,
        #[garde(skip)]
        day: NaiveDate,
        #[garde(skip)]
        who: Uuid,
        #[garde(range(max = 100))]
        percent: u8,
        #[garde(skip)]
        lead: bool,
        #[garde(dive)]
        lines: Vec<Line>,
    }

    #[derive(Debug, serde::Deserialize, garde::Validate)]
    struct Line {
        #[garde(range(min = 1))]
        packages: u32,
    }

    fn told(text: &str) -> Vec<(String, String)> {
        let faults = super::read::<Sample>(text.as_bytes()).unwrap_err();
        faults.into_iter().map(|fault| (fault.pointer.unwrap_or_default(), fault.detail)).collect()
    }

    #[test]
    fn all_that_is_missing_is_named() {
        let missing = ["name", "kind", "day", "who", "percent", "lead", "lines"];
        let expected: Vec<_> = missing.map(|name| (String::new(), format!("missing field \"{name}\""))).into();
        assert_eq!(told("{}"), expected);
    }

    #[test]
    fn what_is_wrong_missing_unknown_and_out_of_bounds_is_named_together() {
        let body = r#"{"name": "x", "kind": "other", "day": "31.10.2026", "who": 7, "percent": 101, "lead": "yes",
            "lines": [{"packages": 0}, {"packages": "2"}, {}], "note": 1}"#;
        let places: Vec<String> = told(body).into_iter().map(|(place, _)| place).collect();
        let expected = [
            "/day",
            "/kind",
            "/lead",
            "/lines/0/packages",
            "/lines/1/packages",
            "/lines/2",
            "/name",
            "/note",
            "/percent",
            "/who",
        ];
        assert_eq!(places, expected);
    }

    #[test]
    fn what_is_right_is_read() {
        let body = r#"{"name": "xyz", "kind": "plain", "day": "2026-10-31", "who": "00000000-0000-7000-8000-000000000001",
            "percent": 1, "lead": false, "lines": []}"#;
        assert!(super::read::<Sample>(body.as_bytes()).is_ok());
    }
}
