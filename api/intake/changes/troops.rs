//! What a troop list says of troops: new ones become known, known ones are described anew, last year's get their place.
//!
//! Rows are matched by number alone. That two troops have swapped their numbers is something that a list cannot say: it
//! reads as two troops that have swapped their names. So a name that has gone from one known number to another is asked
//! about, and a person decides whether the troops were renamed or renumbered.

use std::collections::{HashMap, HashSet};

use super::rows::{TroopFound, Work};
use super::{Change, CurrentTroop, ReadList, Resolution, RowState, SeasonPlace, TroopField, TroopRef, World};
use crate::common::fold;
use crate::common::ids::TroopId;
use crate::intake::columns::fields::ListRow;
use crate::intake::kinds::ListColumn;
use crate::intake::matching::{MatchReason, ReasonCode};

/// Why a row of a troop list cannot be taken at its word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum TroopDoubt {
    /// Its name is that of another troop, which is no longer listed under its own number.
    NameOfAnother {
        /// That troop's number.
        number: String,
        /// The name that both are given.
        name: String,
    },
    /// Another row gives the same number and says something else.
    OtherRow(u32),
}

/// What the rows of a troop list are held against, found by key: a list and a roster of 20,000 each are gone through in one
/// pass.
#[derive(Default)]
pub(super) struct TroopBook {
    doubts: HashMap<u32, TroopDoubt>,
    /// The unit's own writing of each band.
    bands: HashMap<String, String>,
    /// Troops as the rows above have changed them, and the numbers that they have made known.
    described: HashMap<TroopId, CurrentTroop>,
    made_known: HashSet<String>,
}

impl TroopBook {
    /// For a list of troops.
    pub(super) fn new(list: &ReadList<'_>, world: &World<'_>, troops: &[TroopFound]) -> Self {
        let mut bands = HashMap::new();
        for place in world.current.troops.iter().filter_map(|troop| troop.place.as_ref()) {
            bands.entry(band_key(&place.age_band)).or_insert_with(|| place.age_band.clone());
        }
        Self { doubts: doubts(list, world, troops), bands, ..Self::default() }
    }
}

/// The rows that a person must look at, by their numbers.
fn doubts(list: &ReadList<'_>, world: &World<'_>, troops: &[TroopFound]) -> HashMap<u32, TroopDoubt> {
    let counts = |row: &ListRow| list.resolutions.get(&row.row_number) != Some(&Resolution::Skip);
    let rows: Vec<(&ListRow, &TroopFound)> = list.rows.iter().zip(troops).filter(|(row, _)| counts(row)).collect();
    let mut doubts = HashMap::new();
    let known: HashMap<TroopId, &CurrentTroop> =
        world.current.troops.iter().map(|troop| (troop.troop_id, troop)).collect();
    // troops that this list gives the name by which they are known
    let keeps: HashSet<TroopId> = rows
        .iter()
        .filter_map(|(row, found)| {
            let troop = known.get(&found.id()?)?;
            let says = row.troop_name.as_deref().is_none_or(|name| same_words(name, &troop.name));
            says.then_some(troop.troop_id)
        })
        .collect();
    let mut named: HashMap<String, &CurrentTroop> = HashMap::new();
    for troop in world.current.troops.iter().filter(|troop| !fold::key(&troop.name).is_empty()) {
        named.entry(fold::key(&troop.name)).or_insert(troop);
    }
    for (row, found) in &rows {
        let Some(other) = row.troop_name.as_deref().and_then(|name| named.get(&fold::key(name))) else { continue };
        let own = found.id().and_then(|id| known.get(&id));
        let is_own = own.is_some_and(|own| own.troop_id == other.troop_id || same_words(&own.name, &other.name));
        if !is_own && !keeps.contains(&other.troop_id) {
            let doubt = TroopDoubt::NameOfAnother { number: other.number.clone(), name: other.name.clone() };
            doubts.insert(row.row_number, doubt);
        }
    }
    let mut of_number: HashMap<String, Vec<&ListRow>> = HashMap::new();
    for (row, _) in &rows {
        if let Some(number) = &row.troop_number {
            of_number.entry(fold::number(number)).or_default().push(row);
        }
    }
    for rows in of_number.values().filter(|rows| rows.len() > 1 && contradict(rows)) {
        let numbers: Vec<u32> = rows.iter().take(2).map(|row| row.row_number).collect();
        for row in rows {
            let other = numbers.iter().copied().find(|number| *number != row.row_number);
            doubts.insert(row.row_number, TroopDoubt::OtherRow(other.unwrap_or(row.row_number)));
        }
    }
    doubts
}

/// Whether rows say something different about one troop; what only one of them says is no difference.
fn contradict(rows: &[&ListRow]) -> bool {
    let said: [fn(&ListRow) -> Option<String>; 5] = [
        |row| row.troop_name.as_deref().map(fold::key),
        |row| row.meeting_place.as_deref().map(fold::key),
        |row| row.age_band.as_deref().map(band_key),
        |row| row.selling_youths.map(|count| count.to_string()),
        |row| row.first_season.map(|first| first.to_string()),
    ];
    said.iter().any(|said| {
        let mut values = rows.iter().filter_map(|row| said(row));
        values.next().is_some_and(|first| values.any(|other| other != first))
    })
}

/// Capitals, accents and spaces are no difference.
fn same_words(one: &str, other: &str) -> bool {
    let (key, other_key) = (fold::key(one), fold::key(other));
    if key.is_empty() && other_key.is_empty() { one == other } else { key == other_key }
}

/// `Juniors`, `JUNIOR` and `juniors` are one band.
fn same_band(one: &str, other: &str) -> bool {
    one == other || band_key(one) == band_key(other)
}

fn band_key(band: &str) -> String {
    let words: Vec<String> = fold::words(band)
        .into_iter()
        .map(|word| word.strip_suffix('s').filter(|bare| bare.len() > 2).map(str::to_owned).unwrap_or(word))
        .collect();
    words.join(" ")
}

const fn yes_or_no(yes: bool) -> &'static str {
    if yes { "yes" } else { "no" }
}

impl Work<'_> {
    /// What a row of a troop list is taken for.
    pub(super) fn state_of_troop(&mut self, row: &ListRow, troop: &TroopFound, as_listed: bool) -> RowState {
        match self.troops.doubts.get(&row.row_number) {
            Some(TroopDoubt::OtherRow(other)) => {
                let expected = format!(
                    "one row for each troop: row {other} gives the same number and says something else; leave one of them out"
                );
                let read = row.troop_number.clone().unwrap_or_default();
                self.problem(row, ListColumn::TroopNumber, "number_twice", &read, &expected);
                return RowState::Unusable;
            }
            Some(TroopDoubt::NameOfAnother { .. }) if !as_listed => return RowState::Ask(Vec::new()),
            _ => {}
        }
        match troop {
            TroopFound::InSeason(id) => RowState::Troop(*id),
            TroopFound::NotThisSeason(id) if self.in_season(*id) => RowState::Troop(*id),
            TroopFound::NotThisSeason(id) if self.troops.described.get(id).is_some_and(|troop| troop.ended) => {
                let read = row.troop_number.clone().unwrap_or_default();
                let expected = "a troop of this season: this one has become part of another; leave the row out";
                self.problem(row, ListColumn::TroopNumber, "troop_ended", &read, expected);
                RowState::Unusable
            }
            TroopFound::NotThisSeason(id) => {
                let whole = self
                    .says_its_place(row, "the troop is known from an earlier season and has no place in this one yet");
                if whole { RowState::Troop(*id) } else { RowState::Unusable }
            }
            TroopFound::Unnamed => {
                self.problem(row, ListColumn::TroopNumber, "no_troop", "", "a troop number");
                RowState::Unusable
            }
            TroopFound::Unknown(number) if !number.contains(|sign: char| sign.is_ascii_digit()) => {
                let expected = "the number of a troop, which has a digit; leave the row out if it is no troop";
                self.problem(row, ListColumn::TroopNumber, "not_a_troop_number", number, expected);
                RowState::Unusable
            }
            TroopFound::Unknown(number) if self.troops.made_known.contains(&fold::number(number)) => RowState::NewTroop,
            TroopFound::Unknown(_) => {
                let whole = self.says_its_place(row, "the troop is not known yet");
                if whole { RowState::NewTroop } else { RowState::Unusable }
            }
        }
    }

    fn in_season(&self, troop: TroopId) -> bool {
        self.troops.described.get(&troop).is_some_and(|troop| troop.place.is_some())
    }

    /// Whether a row says what a place in the season cannot do without; what it lacks is noted.
    fn says_its_place(&mut self, row: &ListRow, why: &str) -> bool {
        let lacks = [
            (row.age_band.is_none(), ListColumn::AgeBand, "an age band"),
            (row.selling_youths.is_none(), ListColumn::SellingYouths, "how many youths sell"),
        ];
        let lacks: Vec<_> = lacks.into_iter().filter(|(lacks, _, _)| *lacks).collect();
        for (_, column, what) in &lacks {
            let expected = format!("{what}: {why}; add it to the list, or leave the row out");
            self.problem(row, *column, "needed_for_a_place", "", &expected);
        }
        lacks.is_empty()
    }

    /// Why a row of a troop list is asked about.
    pub(super) fn doubt_about(&self, row: &ListRow) -> Option<MatchReason> {
        let TroopDoubt::NameOfAnother { number, name } = self.troops.doubts.get(&row.row_number)? else { return None };
        let sentence = format!(
            "{name} is the name of troop {number}, which this list no longer calls so: have troops been renamed (take the row as listed), or renumbered? A list cannot say that two troops swapped numbers; if they did, leave these rows out and change the numbers in the roster"
        );
        Some(MatchReason::new(ReasonCode::NameOfAnotherTroop, sentence))
    }

    /// A troop that nobody knew becomes known, with its place in the season.
    pub(super) fn make_troop_known(&mut self, row: &ListRow) {
        let (Some(number), Some(place)) = (row.troop_number.clone(), self.listed_place(row, false)) else { return };
        if !self.troops.made_known.insert(fold::number(&number)) {
            return; // another row has said it; rows that differ never come here
        }
        let name = row.troop_name.clone().unwrap_or_default();
        self.changes.push(Change::NewTroop { number, name, place });
        if let Some(to) = row.meeting_place.clone() {
            let (troop, field) = (TroopRef::New(row.row_number), TroopField::MeetingPlace);
            self.changes.push(Change::ChangeTroop { troop, field, from: None, to });
        }
    }

    /// The place that a row gives, the band in the unit's own writing. Without a word about the first season a troop is
    /// taken as returning.
    fn listed_place(&self, row: &ListRow, was_first: bool) -> Option<SeasonPlace> {
        let age_band = self.own_writing(row.age_band.as_deref()?);
        let first_season = row.first_season.unwrap_or(was_first);
        Some(SeasonPlace { age_band, selling_youths: row.selling_youths?, first_season })
    }

    fn own_writing(&self, band: &str) -> String {
        self.troops.bands.get(&band_key(band)).cloned().unwrap_or_else(|| band.to_owned())
    }

    /// What a row says otherwise than it is known of a troop; a cell that says nothing changes nothing.
    pub(super) fn describe(&mut self, row: &ListRow, troop_id: TroopId) {
        let known = self.troops_by_id.get(&troop_id).copied();
        let Some(mut troop) = self.troops.described.get(&troop_id).or(known).cloned() else { return };
        let mut said: Vec<(TroopField, Option<String>, String)> = Vec::new();
        if let Some(name) = row.troop_name.as_ref().filter(|name| !same_words(name, &troop.name)) {
            said.push((TroopField::Name, Some(troop.name.clone()).filter(|name| !name.is_empty()), name.clone()));
            troop.name.clone_from(name);
        }
        let differs = |place: &&String| !troop.meeting_place.as_ref().is_some_and(|known| same_words(place, known));
        if let Some(place) = row.meeting_place.as_ref().filter(differs) {
            said.push((TroopField::MeetingPlace, troop.meeting_place.clone(), place.clone()));
            troop.meeting_place = Some(place.clone());
        }
        match &mut troop.place {
            Some(place) => self.describe_place(row, place, &mut said),
            None => {
                if let Some(place) = self.listed_place(row, false) {
                    self.changes.push(Change::PlaceTroop { troop_id, place: place.clone() });
                    troop.place = Some(place);
                }
            }
        }
        let troop_ref = TroopRef::Known(troop_id);
        let changes =
            said.into_iter().map(|(field, from, to)| Change::ChangeTroop { troop: troop_ref, field, from, to });
        self.changes.extend(changes);
        self.troops.described.insert(troop_id, troop);
    }

    fn describe_place(
        &self,
        row: &ListRow,
        place: &mut SeasonPlace,
        said: &mut Vec<(TroopField, Option<String>, String)>,
    ) {
        if let Some(band) = row.age_band.as_ref().filter(|band| !same_band(band, &place.age_band)) {
            let band = self.own_writing(band);
            said.push((TroopField::AgeBand, Some(place.age_band.clone()), band.clone()));
            place.age_band = band;
        }
        if let Some(youths) = row.selling_youths.filter(|youths| *youths != place.selling_youths) {
            said.push((TroopField::SellingYouths, Some(place.selling_youths.to_string()), youths.to_string()));
            place.selling_youths = youths;
        }
        if let Some(first) = row.first_season.filter(|first| *first != place.first_season) {
            said.push((
                TroopField::FirstSeason,
                Some(yes_or_no(place.first_season).to_owned()),
                yes_or_no(first).to_owned(),
            ));
            place.first_season = first;
        }
    }
}
