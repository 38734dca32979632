//! The text of one XML tag, without its brackets: its name and its attributes, parted as the spreadsheet reader parts them.
//! Where the two parted them differently, a file could show one sheet to the look at it and another one to the reader.

/// What parts the name from the attributes (XML 1.0, section 2.3).
const SPACES: [char; 4] = [' ', '\t', '\r', '\n'];

/// The name of a tag, with its prefix. A closing tag has nothing but a name.
pub(super) fn name_of(tag: &str) -> &str {
    match tag.strip_prefix('/') {
        Some(name) => name.trim_end_matches(SPACES),
        None => tag.strip_suffix('/').unwrap_or(tag).split(SPACES).next().unwrap_or_default(),
    }
}

/// The attributes of a tag's text, names with their values; parted as the spreadsheet reader parts them, which takes
/// everything up to the equals sign for a name.
pub(super) fn attributes(tag: &str) -> impl Iterator<Item = (&str, &str)> {
    let mut rest = tag.get(name_of(tag).len()..).unwrap_or_default();
    std::iter::from_fn(move || {
        let equals = rest.find('=')?;
        let name = rest.get(..equals)?.trim_matches(|sign: char| sign.is_ascii_whitespace());
        let value_at = rest.get(equals + 1..)?.trim_start_matches(|sign: char| sign.is_ascii_whitespace());
        let quote = value_at.chars().next().filter(|sign| matches!(sign, '"' | '\''));
        let (value, after) = match quote {
            Some(quote) => value_at.get(1..)?.split_once(quote).unwrap_or_default(),
            None => value_at.split_once(|sign: char| sign.is_ascii_whitespace()).unwrap_or((value_at, "")),
        };
        rest = after;
        Some((name, value))
    })
}

pub(super) fn attribute<'a>(tag: &'a str, wanted: &str) -> Option<&'a str> {
    attributes(tag).find(|(name, _)| *name == wanted).map(|(_, value)| value)
}
