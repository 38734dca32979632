//! The program's own statements: one request is traced in PostgreSQL's log, and what it sent becomes a pgbench script.
//!
//! So the limit does the same work by construction: nobody writes the statements a second time, and a statement that the
//! program gains or loses is gained or lost by the limit too. Values that stand for "this unit", "this troop" or "a new
//! id" become expressions over pgbench's random numbers; every other value becomes a variable that is bound as it is.

use std::path::Path;

/// A statement as the log shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Statement {
    /// Its text, with `$1` and so on.
    pub text: String,
    /// Its values; none for null.
    pub values: Vec<Option<String>>,
}

/// The statements of the transaction that this session entered, as they stand in the log after this place. The process of a
/// connection tells them from other transactions'.
pub fn read(log: &Path, from: u64, session: &str) -> Vec<Statement> {
    let text = std::fs::read(log).expect("the cluster's log");
    let text = String::from_utf8_lossy(text.get(from as usize..).unwrap_or_default()).into_owned();
    let entered =
        text.lines().find(|line| line.contains("SELECT enter(") && line.contains(session)).unwrap_or_default();
    let process = entered.split_once('[').and_then(|(_, rest)| rest.split_once(']')).map_or("none", |(id, _)| id);
    let ours = format!("[{process}] ");
    let mut found: Vec<Statement> = Vec::new();
    let mut open = false;
    for line in
        text.lines().skip_while(|line| *line != entered).filter(|line| line.starts_with('\t') || line.contains(&ours))
    {
        if let Some(more) = line.strip_prefix('\t') {
            if open && let Some(last) = found.last_mut() {
                last.text = format!("{}\n{more}", last.text);
            }
        } else if let Some((_, rest)) = line.split_once("] LOG:  ") {
            let sent = rest
                .strip_prefix("statement: ")
                .or_else(|| rest.strip_prefix("execute ")?.split_once(": ").map(|(_, text)| text));
            open = sent.is_some();
            found.extend(sent.map(|text| Statement { text: text.to_owned(), values: Vec::new() }));
        } else if let Some((_, rest)) = line.split_once("] DETAIL:  ") {
            let listed = rest.strip_prefix("parameters: ").or_else(|| rest.strip_prefix("Parameters: "));
            if let (Some(listed), Some(last)) = (listed, found.last_mut()) {
                last.values = values(listed);
            }
            open = false;
        } else {
            open = false;
        }
    }
    found
}

/// `$1 = 'it''s', $2 = NULL` as values.
fn values(listed: &str) -> Vec<Option<String>> {
    let mut found = Vec::new();
    let mut rest = listed;
    while let Some((_, after)) = rest.split_once(" = ") {
        if let Some(after) = after.strip_prefix("NULL") {
            found.push(None);
            rest = after;
            continue;
        }
        let mut value = String::new();
        let mut letters = after.strip_prefix('\'').unwrap_or(after).char_indices().peekable();
        let mut end = after.len();
        while let Some((place, letter)) = letters.next() {
            if letter == '\'' {
                if letters.peek().is_some_and(|(_, next)| *next == '\'') {
                    letters.next();
                } else {
                    end = place + 2;
                    break;
                }
            }
            value.push(letter);
        }
        found.push(Some(value));
        rest = after.get(end.min(after.len())..).unwrap_or_default();
    }
    found
}

/// A pgbench script with the variables that its command line must define.
#[derive(Debug, Default)]
pub struct Script {
    /// The script.
    pub text: String,
    /// Values that are bound as they are: name and value.
    pub bound: Vec<(String, String)>,
    /// How many statements a transaction has.
    pub statements: usize,
}

/// What the traced request was about.
#[derive(Clone, Copy, Debug)]
pub struct Traced<'a> {
    /// Its unit and troop.
    pub about: (u32, u32),
    /// How many of each there are.
    pub of: (u32, u32),
    /// Its key for safe retries.
    pub key: &'a str,
    /// The id that it made.
    pub made: Option<&'a str>,
}

/// Writes the script.
pub fn script(statements: &[Statement], traced: &Traced<'_>) -> Script {
    let text = format!(
        "\\set u random(1, {})\n\\set t random(1, {})\n\\set ut :u * 10000000 + :t\n\\set u0 :u * 10000000\n",
        traced.of.0, traced.of.1
    );
    let mut script = Script { text, ..Script::default() };
    let mut seq = None;
    for statement in statements {
        let mut mapped = Vec::new();
        for value in &statement.values {
            mapped.push(mapped_value(value.as_deref(), traced, seq.as_deref(), &mut script.bound));
        }
        if let Some((begin, enter)) = statement.text.split_once("; SELECT enter(") {
            let enter = entered(enter, traced, &mut script.bound);
            script.text.extend(["\\startpipeline\n", begin, ";\nSELECT enter(", &enter, ";\n\\endpipeline\n"]);
            script.statements += 2;
            continue;
        }
        let text = filled(&statement.text, &mapped);
        script.statements += 1;
        if text.contains("from unit_log_head") && text.contains("for update") {
            script.text.extend([&text, " \\gset head_\n\\set seq :head_seq + 1\n"]);
            seq = Some(NEXT_SEQ.to_owned());
        } else {
            script.text.extend([&text, ";\n"]);
        }
    }
    script
}

/// The number that the traced change has in its unit's log: the data set the head, and one change came before it.
pub const NEXT_SEQ: &str = "1000002";

fn mapped_value(
    value: Option<&str>,
    traced: &Traced<'_>,
    seq: Option<&str>,
    bound: &mut Vec<(String, String)>,
) -> String {
    let Some(value) = value else { return "null".to_owned() };
    if Some(value) == seq {
        return ":seq::bigint".to_owned();
    }
    if value == traced.key {
        return "gen_random_uuid()::text".to_owned();
    }
    if value.contains(traced.key) {
        return "('a key ' || gen_random_uuid()::text)".to_owned();
    }
    if Some(value) == traced.made {
        return "gen_random_uuid()".to_owned();
    }
    let inner = value.strip_prefix('{').and_then(|text| text.strip_suffix('}'));
    if let Some(ids) = inner.map(|text| text.split(',').map(|id| id_expression(id, traced)).collect::<Option<Vec<_>>>())
        && let Some(ids) = ids
    {
        return format!("array[{}]::uuid[]", ids.join(", "));
    }
    if let Some(id) = id_expression(value, traced) {
        return id;
    }
    bind(value, bound)
}

fn bind(value: &str, bound: &mut Vec<(String, String)>) -> String {
    if let Some((name, _)) = bound.iter().find(|(_, held)| held == value) {
        return format!(":{name}");
    }
    let name = format!("v{}", bound.len());
    bound.push((name.clone(), value.to_owned()));
    format!(":{name}")
}

/// An id of the data as an expression over the script's random unit and troop.
fn id_expression(id: &str, traced: &Traced<'_>) -> Option<String> {
    let rest = id.strip_prefix("0198be00-")?;
    let (kind, number) = rest.split_once("-7000-8000-")?;
    let (unit, number) = (number.get(..5)?.parse::<u32>().ok()?, number.get(5..)?.parse::<u32>().ok()?);
    let variable = match number {
        0 => ":u0",
        own if own == traced.about.1 => ":ut",
        _ => return None,
    };
    (unit == traced.about.0)
        .then(|| format!("('0198be00-{kind}-7000-8000-' || lpad({variable}::bigint::text, 12, '0'))::uuid"))
}

/// The arguments of `enter(...)`, which the program writes into the message.
fn entered(arguments: &str, traced: &Traced<'_>, bound: &mut Vec<(String, String)>) -> String {
    let arguments = arguments.trim_end_matches(')');
    let told = arguments.split(", ").map(|argument| match argument.trim_matches('\'') {
        "NULL" => "null".to_owned(),
        id if id_expression(id, traced).is_some() => id_expression(id, traced).unwrap_or_default(),
        other => format!("{}::timestamptz", bind(other, bound)),
    });
    told.collect::<Vec<_>>().join(", ") + ")"
}

/// The statement with its values in place, `$12` before `$1`.
fn filled(text: &str, values: &[String]) -> String {
    let numbered = values.iter().enumerate().rev();
    numbered.fold(text.to_owned(), |text, (place, value)| text.replace(&format!("${}", place + 1), value))
}
