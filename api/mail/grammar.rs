//! What may stand in a wording: text, the fields of its kind, one list gone through, and a question whether a field is there.
//!
//! The template library can do far more (arithmetic, filters, loops in loops, texts that double themselves). A unit's wording
//! needs none of it, so all else is refused when it is saved, with its line.

use super::Kind;

/// What is wrong with a wording, with its line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The line, from 1 on.
    pub line: usize,
    /// What is wrong, as a lasting word.
    pub code: &'static str,
    /// What would be right.
    pub expected: String,
}

/// What is open at a place of the wording.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Open<'a> {
    If,
    For { item: &'a str, fields: &'static [&'static str] },
}

/// Everything that is wrong with this wording of this kind.
#[must_use]
pub fn faults(kind: Kind, source: &str) -> Vec<Fault> {
    let mut found = Vec::new();
    let mut open: Vec<(usize, Open<'_>)> = Vec::new();
    let mut rest = source;
    let mut line = 1;
    while let Some((before, tag, after)) = next_tag(rest) {
        line += before.matches('\n').count();
        match tag {
            Tag::Field(text) => found.extend(field_fault(kind, text, &open).map(|fault| fault.at(line))),
            Tag::Act(text) => found.extend(act(kind, text, line, &mut open).map(|fault| fault.at(line))),
            Tag::Note => {}
            Tag::Unclosed(how) => {
                found.push(Fault { line, code: "not_closed", expected: format!("{how} somewhere after it") });
                return found;
            }
        }
        line += rest.get(before.len()..rest.len() - after.len()).unwrap_or_default().matches('\n').count();
        rest = after;
    }
    found.extend(open.into_iter().map(|(line, open)| {
        let end = if open == Open::If { "{% endif %}" } else { "{% endfor %}" };
        Fault { line, code: "not_ended", expected: format!("{end} somewhere after it") }
    }));
    found
}

/// A fault whose line the caller knows.
struct Unplaced(&'static str, String);

impl Unplaced {
    fn at(self, line: usize) -> Fault {
        Fault { line, code: self.0, expected: self.1 }
    }
}

enum Tag<'a> {
    Field(&'a str),
    Act(&'a str),
    Note,
    Unclosed(&'static str),
}

/// The text before the next tag, the tag, and the text after it.
fn next_tag(text: &str) -> Option<(&str, Tag<'_>, &str)> {
    let starts = [("{{", "}}"), ("{%", "%}"), ("{#", "#}")];
    let (at, (start, end)) =
        starts.into_iter().filter_map(|pair| text.find(pair.0).map(|at| (at, pair))).min_by_key(|(at, _)| *at)?;
    let (before, rest) = text.split_at_checked(at)?;
    let inside = rest.get(start.len()..)?;
    let Some(length) = inside.find(end) else { return Some((before, Tag::Unclosed(end), "")) };
    let within = inside.get(..length)?.trim_matches('-').trim();
    let after = inside.get(length + end.len()..)?;
    let tag = match start {
        "{{" => Tag::Field(within),
        "{%" => Tag::Act(within),
        _ => Tag::Note,
    };
    Some((before, tag, after))
}

fn field_fault(kind: Kind, text: &str, open: &[(usize, Open<'_>)]) -> Option<Unplaced> {
    let inner = open.iter().find_map(|(_, open)| match open {
        Open::For { item, fields } => Some((*item, *fields)),
        Open::If => None,
    });
    let known = match (text.split_once('.'), inner) {
        (None, _) => kind.fields().contains(&text),
        (Some((of, field)), Some((item, fields))) => of == item && fields.contains(&field),
        (Some(_), None) => false,
    };
    (!known).then(|| {
        let mut names: Vec<String> = kind.fields().iter().map(|name| (*name).to_owned()).collect();
        if let Some((item, fields)) = inner {
            names.extend(fields.iter().map(|field| format!("{item}.{field}")));
        }
        Unplaced("unknown_field", format!("between {{{{ and }}}} one of: {}", names.join(", ")))
    })
}

fn act<'a>(kind: Kind, text: &'a str, line: usize, open: &mut Vec<(usize, Open<'a>)>) -> Option<Unplaced> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let lists = kind.lists();
    match words.as_slice() {
        ["if", name] | ["if", "not", name] => {
            open.push((line, Open::If));
            let is_list = lists.iter().any(|(list, _)| list == name);
            if is_list { None } else { field_fault(kind, name, open) }
        }
        ["else"] if matches!(open.last(), Some((_, Open::If))) => None,
        ["endif"] if matches!(open.last(), Some((_, Open::If))) => {
            open.pop();
            None
        }
        ["endfor"] if matches!(open.last(), Some((_, Open::For { .. }))) => {
            open.pop();
            None
        }
        ["for", item, "in", name] => {
            let within = open.iter().any(|(_, open)| matches!(open, Open::For { .. }));
            let fields = lists.iter().find(|(list, _)| list == name).map(|(_, fields)| *fields);
            let plain = item.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'_');
            open.push((line, Open::For { item, fields: fields.unwrap_or_default() }));
            if within {
                Some(Unplaced("loop_in_loop", "one list at a time: end the first with {% endfor %}".to_owned()))
            } else if fields.is_none() || !plain || kind.fields().contains(item) {
                let known: Vec<&str> = lists.iter().map(|(list, _)| *list).collect();
                let known = if known.is_empty() { "nothing: this kind has no list".to_owned() } else { known.join(", ") };
                Some(Unplaced("unknown_list", format!("{{% for item in ... %}} with one of: {known}")))
            } else {
                None
            }
        }
        _ => Some(Unplaced(
            "unknown_act",
            "one of: {% if field %}, {% if not field %}, {% else %}, {% endif %}, {% for item in list %}, {% endfor %}, each in its place"
                .to_owned(),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::faults;
    use crate::mail::Kind;

    fn codes(kind: Kind, source: &str) -> Vec<(usize, &'static str)> {
        faults(kind, source).into_iter().map(|fault| (fault.line, fault.code)).collect()
    }

    #[test]
    fn what_a_wording_needs_is_taken() {
        let source = "Hello {{ first_name }},\n{% if troop %}for {{troop}}{% else %}-{% endif %}\n{%- for one in missing %}\n- {{ one.title }}: {{one.how}}\n{%- endfor %}{# a note to myself #}";
        assert_eq!(codes(Kind::Missing, source), []);
        assert_eq!(codes(Kind::Missing, "{% if missing %}{% if not how_many %}x{% endif %}{% endif %}"), []);
        assert_eq!(codes(Kind::Welcome, "no field at all, 100 % text, {single}"), []);
    }

    #[test]
    fn an_unknown_field_is_named_with_its_line() {
        assert_eq!(codes(Kind::Missing, "a\n\n{{ password }}"), [(3, "unknown_field")]);
        assert_eq!(codes(Kind::Welcome, "{{ link }}"), [(1, "unknown_field")], "a field of another kind");
        assert_eq!(codes(Kind::Missing, "{{ one.title }}"), [(1, "unknown_field")], "outside of its list");
        assert_eq!(
            codes(Kind::Missing, "{% for one in missing %}\n{{ one.troop }}\n{% endfor %}"),
            [(2, "unknown_field")]
        );
        let expected = faults(Kind::Invitation, "{{ x }}").remove(0).expected;
        assert_eq!(expected, "between {{ and }} one of: first_name, unit_name, from_name, link, link_until");
    }

    #[test]
    fn what_could_grow_without_end_is_refused() {
        for source in [
            "{% set a = first_name ~ first_name %}",
            "{{ 'x' * 100000000 }}",
            "{{ first_name ~ first_name }}",
            "{{ first_name|upper }}",
            "{{ range(1000000) }}",
            "{% macro a() %}{% endmacro %}",
            "{% include 'other' %}",
            "{{ self }}",
            "{% for a in range(9) %}{% endfor %}",
        ] {
            assert_ne!(codes(Kind::Missing, source), [], "{source}");
        }
        let nested = "{% for a in missing %}{% for b in missing %}x{% endfor %}{% endfor %}";
        assert_eq!(codes(Kind::Missing, nested), [(1, "loop_in_loop")]);
    }

    #[test]
    fn what_is_not_closed_or_ended_is_named_where_it_begins() {
        assert_eq!(codes(Kind::Missing, "a\n{{ first_name"), [(2, "not_closed")]);
        assert_eq!(codes(Kind::Missing, "{% if troop %}\n\nx"), [(1, "not_ended")]);
        assert_eq!(codes(Kind::Missing, "x{% endif %}"), [(1, "unknown_act")]);
        assert_eq!(codes(Kind::Missing, "{% for a in missing %}{% endif %}{% endfor %}"), [(1, "unknown_act")]);
    }
}
