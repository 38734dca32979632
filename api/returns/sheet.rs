//! A filed return as a sheet, for the workbook and for the printed paper.

use std::collections::HashMap;

use chrono::{DateTime, Utc};

use super::csv::{self, Texts};
use super::document::{ReturnDocument, ReturnState, ReturnTroop};
use super::rules;
use crate::common::ids::PersonId;
use crate::frozen::Frozen;
use crate::frozen::sheet::{Column, Sheet};
use crate::standings::rules::TroopState;

/// A return to be rendered.
pub(super) struct Rendered<'a> {
    /// As it was frozen.
    pub frozen: &'a Frozen,
    /// Its figures.
    pub document: &'a ReturnDocument,
    /// The names in it; none where one was erased.
    pub names: &'a [(PersonId, Option<String>)],
}

impl Rendered<'_> {
    /// For the workbook: one thing a column, so that it can be sorted and filtered.
    pub(super) fn table(&self) -> Sheet {
        let columns = [
            ("Troop number", 13),
            ("Troop name", 28),
            ("State", 15),
            ("Standing", 13),
            ("Lead coordinator", 26),
            ("Co-coordinators", 26),
            ("Open requirements", 52),
            ("Waived or let through", 40),
            ("Reasons", 52),
        ];
        let row = |troop: &ReturnTroop, Texts { reasons, lead, others, open, waived }: Texts| {
            let standing = rules::word(troop.standing).replace('_', " ");
            vec![
                troop.number.clone(),
                troop.name.clone(),
                csv::word(troop.state).to_owned(),
                standing,
                lead,
                others,
                open,
                waived,
                reasons,
            ]
        };
        self.sheet(&columns, row)
    }

    /// For the printed paper: fewer, wider columns.
    pub(super) fn paper(&self) -> Sheet {
        let columns = [("Troop", 9), ("Name", 20), ("State", 13), ("Coordinators", 22), ("Why", 36)];
        let row = |troop: &ReturnTroop, Texts { reasons, lead, others, open, waived }: Texts| {
            let state = match troop.state {
                ReturnState::UnderWay => format!("under way: {}", rules::word(troop.standing)),
                other => csv::word(other).to_owned(),
            };
            let open = if open.is_empty() { open } else { format!("Open: {open}") };
            // Of a troop that gathers, what is open is why; of another the sentences say what the list does not.
            let reasons = if troop.standing == TroopState::Gathering { String::new() } else { reasons };
            let why: Vec<String> = [reasons, open, waived].into_iter().filter(|text| !text.is_empty()).collect();
            let lead = if lead.is_empty() { lead } else { format!("{lead} (lead)") };
            // One name a line.
            let people = [lead, others.replace("; ", "\n")];
            let people: Vec<String> = people.into_iter().filter(|text| !text.is_empty()).collect();
            vec![troop.number.clone(), troop.name.clone(), state, people.join("\n"), why.join("\n")]
        };
        self.sheet(&columns, row)
    }

    fn sheet(&self, columns: &[(&'static str, u16)], row: impl Fn(&ReturnTroop, Texts) -> Vec<String>) -> Sheet {
        let Self { frozen, document, names } = self;
        let names: HashMap<PersonId, &str> =
            names.iter().filter_map(|(person, name)| Some((*person, name.as_deref()?))).collect();
        let title = match &document.unit_name {
            Some(unit) => format!("Season return {} of {unit}", frozen.number),
            None => format!("Season return {}", frozen.number),
        };
        let zone = document.season.time_zone.as_deref().and_then(|name| name.parse::<chrono_tz::Tz>().ok());
        let at = |at: DateTime<Utc>| {
            let utc = at.format("%Y-%m-%d %H:%M:%S UTC").to_string();
            match zone {
                Some(zone) => format!("{} in {zone} ({utc})", at.with_timezone(&zone).format("%Y-%m-%d %H:%M")),
                None => utc,
            }
        };
        let totals = &document.totals;
        let counted = format!(
            "{} troops: {} appointed, {} under way, {} without a coordinator, {} sitting out; {} open requirements",
            totals.troops,
            totals.appointed,
            totals.under_way,
            totals.no_coordinator,
            totals.sitting_out,
            totals.open_requirements
        );
        let facts = [
            ("Season", document.season.label.clone()),
            ("Stands at", at(document.stands_at)),
            ("Filed at", at(frozen.made_at)),
            ("In all", counted),
            ("Digest", format!("SHA-256 of the figures: {}", frozen.sha256)),
        ];
        Sheet {
            foot: format!("{title}, season {}, as it stood at {}", document.season.label, at(document.stands_at)),
            title,
            facts: facts.map(|(label, value)| (label.to_owned(), value)).to_vec(),
            note: document.note.clone(),
            made_at: frozen.made_at,
            columns: columns.iter().map(|(heading, share)| Column { heading, share: *share }).collect(),
            rows: document.troops.iter().map(|troop| row(troop, csv::texts(troop, &names))).collect(),
        }
    }
}
