//! What an older client relies on still holds: every line of openapi/promised.txt, or openapi/CHANGELOG.md says since when not.
//!
//! A client is written, or generated, once and then runs for seasons. So the document's words are kept as lines, and a line
//! that went, or a new demand on an operation that was there before, is a break. `UPDATE=1` adds what is new; a break it
//! leaves as it is, and the test goes on failing, until the line stands in the changelog under the day of the change. Not
//! looked at are bounds (a greatest length that became smaller) and what an answer means.

mod flips;
mod lines;

use std::collections::BTreeSet;

use caselot::error::Code;

use crate::support::promise::DOCUMENT_JSON;
use lines::Lines;

const PROMISED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/openapi/promised.txt");
const CHANGELOG: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/openapi/CHANGELOG.md");

const HEAD: &str = "# What a client may rely on, a line each; written by tests/gates/promised with UPDATE=1, read by people when it \
    changes.\n# A line that goes is a break, and so is one that comes with `demands` for what was there before: both are named \
    in CHANGELOG.md.\n";

/// Every code of a problem, with its status.
fn codes() -> Vec<(&'static str, u16)> {
    Code::ALL.iter().map(|code| (code.name(), code.status().as_u16())).collect()
}

fn written(lines: &Lines) -> String {
    let mut text = HEAD.to_owned();
    for line in lines {
        text.push_str(line);
        text.push('\n');
    }
    text
}

fn read(text: &str) -> Lines {
    text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).map(str::to_owned).collect()
}

fn is_demand(line: &str) -> bool {
    line.starts_with("demands ")
}

/// Whether the operation or the type of a demand was there before: what is new may ask for what it likes.
fn was_there(old: &Lines, demand: &str) -> bool {
    let subject = demand.split([' ', '.']).nth(1).unwrap_or_default();
    let begins = [format!("operation {subject} "), format!("takes {subject}.")];
    old.iter().any(|line| begins.iter().any(|begin| line.starts_with(begin)))
}

/// What breaks a client that relied on the old lines.
fn breaks(old: &Lines, new: &Lines) -> Lines {
    let gone = old.difference(new).filter(|line| !is_demand(line));
    let asked = new.difference(old).filter(|line| is_demand(line) && was_there(old, line));
    gone.chain(asked).cloned().collect()
}

/// The lines that the changelog names, in backticks under the heading of a day.
fn told(changelog: &str) -> BTreeSet<String> {
    let mut told = BTreeSet::new();
    let mut dated = false;
    for line in changelog.lines() {
        if let Some(heading) = line.strip_prefix('#') {
            let day = heading.trim_start_matches('#').trim().get(..10).unwrap_or_default();
            dated = chrono::NaiveDate::parse_from_str(day, "%Y-%m-%d").is_ok();
        } else if dated {
            told.extend(line.split('`').skip(1).step_by(2).map(str::to_owned));
        }
    }
    told
}

#[test]
fn an_older_client_finds_everything_that_it_relies_on() {
    let text = std::fs::read_to_string(PROMISED).unwrap_or_default();
    let changelog = std::fs::read_to_string(CHANGELOG).expect("openapi/CHANGELOG.md");
    let (old, new) = (read(&text), lines::of(&DOCUMENT_JSON, &codes()));
    let broken: Lines = breaks(&old, &new).difference(&told(&changelog)).cloned().collect();
    if std::env::var_os("UPDATE").is_some_and(|value| value == "1") {
        let held: Lines = old.intersection(&broken).chain(new.difference(&broken)).cloned().collect();
        std::fs::write(PROMISED, written(&held)).expect("openapi/promised.txt can be written");
    }
    assert!(
        broken.is_empty(),
        "this breaks clients that were written before; let it be as it was, or name each line in openapi/CHANGELOG.md, in \
         backticks under the heading of today (`## 2040-01-31`), with what to do instead:\n{}",
        broken.iter().cloned().collect::<Vec<_>>().join("\n")
    );
    let text = std::fs::read_to_string(PROMISED).unwrap_or_default();
    let differs: Vec<String> = read(&text).symmetric_difference(&new).take(20).cloned().collect();
    assert!(
        text == written(&new),
        "openapi/promised.txt does not say what the document promises now (of that: {differs:?}). Look whether clients may \
         rely on it for good, then run the tests once with UPDATE=1."
    );
}
