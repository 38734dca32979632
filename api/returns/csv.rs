//! A filed return as a table that a spreadsheet opens.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::document::{ReturnDocument, ReturnOpen, ReturnState, ReturnTroop};
use super::rules;
use crate::common::csv_out::{CsvCell, to_csv};
use crate::common::ids::PersonId;

/// The headings, in order.
const HEADINGS: [&str; 12] = [
    "troop_number",
    "troop_name",
    "state",
    "standing",
    "reasons",
    "lead_coordinator",
    "co_coordinators",
    "open_requirements",
    "waived_or_let_through",
    "return_number",
    "stands_at",
    "note",
];

/// One row a troop, in the order of the return. Cells of text are guarded against being taken for formulas (R21).
pub(super) fn table(number: i64, document: &ReturnDocument, names: &[(PersonId, Option<String>)]) -> Vec<u8> {
    let names: HashMap<PersonId, &str> =
        names.iter().filter_map(|(person, name)| Some((*person, name.as_deref()?))).collect();
    let stands_at = document.stands_at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true);
    let texts: Vec<Texts> = document.troops.iter().map(|troop| texts(troop, &names)).collect();
    let rows = document.troops.iter().zip(&texts).map(|(troop, Texts { reasons, lead, others, open, waived })| {
        vec![
            CsvCell::Text(&troop.number),
            CsvCell::Text(&troop.name),
            CsvCell::Text(word(troop.state)),
            CsvCell::Text(rules::word(troop.standing)),
            CsvCell::Text(reasons),
            CsvCell::Text(lead),
            CsvCell::Text(others),
            CsvCell::Text(open),
            CsvCell::Text(waived),
            CsvCell::Whole(number),
            CsvCell::Text(&stands_at),
            CsvCell::Text(&document.note),
        ]
    });
    to_csv(&HEADINGS, rows)
}

/// What several things about a troop read as in one cell.
pub(super) struct Texts {
    /// Why it is in its state.
    pub reasons: String,
    /// The lead coordinator.
    pub lead: String,
    /// The others.
    pub others: String,
    /// What is open, of the troop itself and of each coordinator.
    pub open: String,
    /// What is waived, and which gates it passes by leave, each until when.
    pub waived: String,
}

/// The texts of a troop.
pub(super) fn texts(troop: &ReturnTroop, names: &HashMap<PersonId, &str>) -> Texts {
    let name = |person: &PersonId| names.get(person).map_or("name erased", |name| *name);
    let people = |lead: bool| {
        let some = troop.coordinators.iter().filter(|one| one.lead == lead);
        some.map(|one| name(&one.person_id)).collect::<Vec<_>>().join("; ")
    };
    let own = troop.open.iter().map(|row| row.title.clone());
    let theirs = troop.coordinators.iter().flat_map(|one| {
        one.open.iter().map(|row: &ReturnOpen| {
            // The total counts what is open of those whom the policy counts.
            let counted = if one.counted { "" } else { ", not counted" };
            format!("{} ({}{counted})", row.title, name(&one.person_id))
        })
    });
    let open: Vec<String> = own.chain(theirs).collect();
    let until = |day: Option<NaiveDate>| day.map(|day| format!(" until {day}")).unwrap_or_default();
    let own = troop.waived.iter().map(|row| format!("{}: waived{}", row.title, until(row.until_on)));
    let theirs = troop.coordinators.iter().flat_map(|one| {
        let of = name(&one.person_id);
        one.waived.iter().map(move |row| format!("{} ({of}): waived{}", row.title, until(row.until_on)))
    });
    let leave = troop.let_through.iter();
    let leave = leave.map(|one| format!("gate {}: passed by leave until {}", one.gate.name(), one.until_on));
    let waived: Vec<String> = own.chain(theirs).chain(leave).collect();
    Texts {
        reasons: troop.reasons.join(" "),
        lead: people(true),
        others: people(false),
        open: open.join("; "),
        waived: waived.join("; "),
    }
}

/// A state as people read it.
pub(super) const fn word(state: ReturnState) -> &'static str {
    match state {
        ReturnState::Appointed => "appointed",
        ReturnState::UnderWay => "under way",
        ReturnState::NoCoordinator => "no coordinator",
        ReturnState::SittingOut => "sitting out",
    }
}
