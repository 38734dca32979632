//! What the libraries that read a request say, in words for people who write requests and have never seen this program.

/// What would have been right, from a reader's own message about the field or parameter `name`.
#[must_use]
pub fn plain(message: &str, name: &str) -> String {
    let message = message.split(" at line ").next().unwrap_or_default();
    if let Some((_, choices)) = message.split_once("expected one of ") {
        return format!("one of {}", choices.replace('`', ""));
    }
    if message.starts_with("unknown field") || message.starts_with("missing field") {
        return message.replace('`', "\"");
    }
    if (name.ends_with("_on") || name.ends_with("on_day")) && !message.contains("expected a") {
        return "a day such as 2026-10-31".to_owned();
    }
    if name.ends_with("_at") || name == "as_of" {
        return "an instant such as 2026-10-31T18:00:00Z".to_owned();
    }
    if message.contains("integer `") && name.ends_with("_percent") {
        return "a whole number of percent, from 0 to 100".to_owned();
    }
    let expected = message.rsplit_once("expected ").map_or("", |(_, expected)| expected);
    match expected.split(' ').next().unwrap_or_default() {
        "u8" | "u16" | "u32" | "u64" | "usize" => "a whole number, not below zero".to_owned(),
        "i8" | "i16" | "i32" | "i64" => "a whole number".to_owned(),
        "struct" | "map" => "an object: { ... }".to_owned(),
        _ if expected == "a boolean" => "true or false".to_owned(),
        _ if expected == "a sequence" => "an array: [ ... ]".to_owned(),
        _ if message.contains("digit found in string") || message.contains("cannot parse integer") => {
            "a whole number".to_owned()
        }
        _ if message.contains("UUID") || message.contains("uuid") => "an id, as this server gives them".to_owned(),
        _ if message.contains("not `true` or `false`") || message.contains("was not `true`") => {
            "true or false".to_owned()
        }
        _ if expected.is_empty() => message.replace('`', "\""),
        _ => expected.replace('`', "\""),
    }
}

/// What would have been right, from a broken bound.
#[must_use]
pub fn bound(message: &str) -> String {
    for (begins, says) in [
        ("length is lower than ", "too short: at least "),
        ("length is greater than ", "too long: at most "),
        ("lower than ", "too small: at least "),
        ("greater than ", "too large: at most "),
    ] {
        if let Some(rest) = message.strip_prefix(begins) {
            return format!("{says}{rest}");
        }
    }
    message.to_owned()
}

#[cfg(test)]
mod tests {
    use super::{bound, plain};

    #[test]
    fn what_a_library_says_becomes_what_would_be_right() {
        for (message, name, wanted) in [
            ("unknown variant `nix`, expected one of `vacant`, `ready`", "state", "one of vacant, ready"),
            ("premature end of input", "as_of", "an instant such as 2026-10-31T18:00:00Z"),
            ("input contains invalid characters", "listed_on", "a day such as 2026-10-31"),
            ("invalid digit found in string", "limit", "a whole number"),
            (
                "invalid type: string \"x\", expected u16 at line 1 column 9",
                "selling_youths",
                "a whole number, not below zero",
            ),
            ("invalid type: integer `1`, expected a boolean at line 1 column 9", "lead", "true or false"),
            (
                "invalid value: integer `256`, expected u8 at line 1 column 9",
                "score_percent",
                "a whole number of percent, from 0 to 100",
            ),
            ("unknown field `other`, expected `name`", "", "unknown field \"other\", expected \"name\""),
            ("missing field `label`", "", "missing field \"label\""),
            ("invalid type: integer `1`, expected a string at line 1 column 9", "label", "a string"),
        ] {
            assert_eq!(plain(message, name), wanted, "{message}");
        }
    }

    #[test]
    fn a_broken_bound_says_the_bound() {
        assert_eq!(bound("length is lower than 1"), "too short: at least 1");
        assert_eq!(bound("greater than 200"), "too large: at most 200");
        assert_eq!(bound("not only spaces"), "not only spaces");
    }
}
