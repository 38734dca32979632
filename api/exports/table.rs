//! The roster as a table: pure.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};

use crate::common::csv_out::{CsvCell, to_csv};
use crate::common::ids::TroopId;
use crate::frozen::sheet::{Column, Sheet};
use crate::roster::{DirectoryPerson, DirectoryTroop, Sight, TroopKind};
use crate::seasons::calendar::Calendar;
use crate::standings::rules::TroopState;

/// What a table says of itself.
const NOTE: &str =
    "These are the unit's own books as they stood at this instant. Head office's figures prevail until reconciled.";

/// A roster to be written.
pub(super) struct Roster {
    pub unit: String,
    pub season: String,
    pub stands_at: DateTime<Utc>,
    pub sight: Sight,
    /// Where each troop stands; none where the reader may not see it.
    pub states: Option<BTreeMap<TroopId, TroopState>>,
    /// By number.
    pub troops: Vec<DirectoryTroop>,
    pub calendar: Calendar,
}

/// A heading for programs, one for people, and a column's width.
type Heading = (&'static str, &'static str, u16);

/// A cell, which knows how it is written.
enum Cell {
    Text(String),
    Count(i32),
    Day(NaiveDate),
    Nothing,
}

impl From<Option<String>> for Cell {
    fn from(text: Option<String>) -> Self {
        text.map_or(Self::Nothing, Self::Text)
    }
}

impl Roster {
    /// All that it says, but the instant at which it stands.
    pub(super) fn timeless(&self) -> Vec<u8> {
        let headings: Vec<&str> = self.headings().iter().map(|heading| heading.0).collect();
        let cells = |row: &Vec<Cell>| row.iter().take(row.len().saturating_sub(1)).map(in_words).collect::<Vec<_>>();
        let rows: Vec<Vec<String>> = self.rows().iter().map(cells).collect();
        format!("{headings:?} {} {} {rows:?}", self.unit, self.season).into_bytes()
    }

    /// As text: guarded, counts and days typed.
    pub(super) fn csv(&self) -> Vec<u8> {
        let headings: Vec<&str> = self.headings().iter().map(|heading| heading.0).collect();
        let rows = self.rows();
        to_csv(&headings, rows.iter().map(|row| row.iter().map(in_csv).collect()))
    }

    /// As a workbook: all of it text.
    pub(super) fn sheet(&self) -> Sheet {
        let at = self.stands_at.format("%Y-%m-%d %H:%M:%S UTC").to_string();
        let title = format!("Roster of {}", self.unit);
        let facts = [("Season", self.season.clone()), ("Stands at", at.clone())];
        Sheet {
            foot: format!("{title}, season {}, as it stood at {at}", self.season),
            title,
            facts: facts.map(|(label, value)| (label.to_owned(), value)).to_vec(),
            note: NOTE.to_owned(),
            made_at: self.stands_at,
            columns: self.headings().into_iter().map(|(_, heading, share)| Column { heading, share }).collect(),
            rows: self.rows().iter().map(|row| row.iter().map(in_words).collect()).collect(),
        }
    }

    fn headings(&self) -> Vec<Heading> {
        let mut headings: Vec<Heading> = vec![
            ("troop_number", "Troop number", 13),
            ("troop_name", "Troop name", 28),
            ("kind", "Kind", 12),
            ("age_band", "Age band", 14),
            ("selling_youths", "Selling youths", 10),
            ("first_season", "First season", 10),
        ];
        let wider: [(bool, &[Heading]); 4] = [
            (self.sight.meeting_places, &[("meeting_place", "Meeting place", 28)]),
            (self.states.is_some(), &[("state", "State", 13)]),
            (
                self.sight.people,
                &[
                    ("place", "Place in the troop", 18),
                    ("first_name", "First name", 18),
                    ("last_name", "Last name", 22),
                    ("begins_on", "Begins on", 12),
                ],
            ),
            (self.sight.contacts, &[("email", "E-mail", 30), ("phone", "Phone", 20)]),
        ];
        headings.extend(wider.into_iter().filter(|(seen, _)| *seen).flat_map(|(_, columns)| columns));
        headings.extend([("troop_id", "Troop id", 38), ("stands_at", "Stands at", 22)]);
        headings
    }

    /// One row a person, and one for a troop without people.
    fn rows(&self) -> Vec<Vec<Cell>> {
        let mut rows = Vec::new();
        for troop in &self.troops {
            if troop.people.is_empty() {
                rows.push(self.row(troop, None));
            }
            rows.extend(troop.people.iter().map(|person| self.row(troop, Some(person))));
        }
        rows
    }

    fn row(&self, troop: &DirectoryTroop, person: Option<&DirectoryPerson>) -> Vec<Cell> {
        let mut row = vec![
            Cell::Text(troop.number.clone()),
            Cell::Text(troop.name.clone()),
            Cell::Text(kind(troop.kind).to_owned()),
            Cell::Text(troop.age_band.clone()),
            Cell::Count(troop.selling_youths),
            Cell::Text(if troop.first_season { "yes" } else { "no" }.to_owned()),
        ];
        if self.sight.meeting_places {
            row.push(troop.meeting_place.clone().into());
        }
        if let Some(states) = &self.states {
            row.push(states.get(&troop.troop_id).map(|state| word(*state)).into());
        }
        if self.sight.people {
            row.push(person.map(|person| person.place.replace('_', " ")).into());
            row.push(person.map(|person| person.first_name.clone()).into());
            row.push(person.map(|person| person.last_name.clone()).into());
            let later = person.filter(|person| person.from_at > self.stands_at);
            row.push(later.map_or(Cell::Nothing, |person| Cell::Day(self.calendar.date(person.from_at))));
        }
        if self.sight.contacts {
            row.push(person.and_then(|person| person.email.clone()).into());
            row.push(person.and_then(|person| person.phone.clone()).into());
        }
        row.push(Cell::Text(troop.troop_id.to_string()));
        row.push(Cell::Text(self.stands_at.to_rfc3339_opts(SecondsFormat::Secs, true)));
        row
    }
}

fn in_csv(cell: &Cell) -> CsvCell<'_> {
    match cell {
        Cell::Text(text) => CsvCell::Text(text),
        Cell::Count(count) => CsvCell::Whole(i64::from(*count)),
        Cell::Day(day) => CsvCell::Day(*day),
        Cell::Nothing => CsvCell::Empty,
    }
}

fn in_words(cell: &Cell) -> String {
    match cell {
        Cell::Text(text) => text.clone(),
        Cell::Count(count) => count.to_string(),
        Cell::Day(day) => day.to_string(),
        Cell::Nothing => String::new(),
    }
}

const fn kind(kind: TroopKind) -> &'static str {
    match kind {
        TroopKind::Troop => "troop",
        TroopKind::Individuals => "individuals",
    }
}

/// A state as people read it.
fn word(state: TroopState) -> String {
    match state {
        TroopState::SittingOut => "sitting out",
        TroopState::Vacant => "vacant",
        TroopState::Suspended => "suspended",
        TroopState::Lapsed => "lapsed",
        TroopState::Appointed => "appointed",
        TroopState::Ready => "ready",
        TroopState::Gathering => "gathering",
    }
    .to_owned()
}
