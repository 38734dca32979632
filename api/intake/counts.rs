//! A preview in figures.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::changes::{NAME_DIFFERS, Preview};
use super::shown::{AbsentOne, IntakeRow, IntakeRowState, RowChangeKind};

/// A preview in figures.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct Counts {
    /// Rows that hold data.
    pub rows: u32,
    /// Rows that a person must decide about.
    pub waiting: u32,
    /// Rows that a person left out.
    pub left_out: u32,
    /// Rows that change something.
    pub changing_rows: u32,
    /// All changes.
    pub changes: u32,
    /// People who become known.
    pub new_people: u32,
    /// Gaps that are filled in.
    pub filled_in: u32,
    /// Assignments that are proposed.
    pub proposals: u32,
    /// Facts that are recorded.
    pub facts: u32,
    /// Troops that become known.
    pub new_troops: u32,
    /// Troops of an earlier season that get their place in this one.
    pub placed_troops: u32,
    /// Things about troops that are said otherwise.
    pub troop_changes: u32,
    /// Cells and rows with something wrong, but for names that the roster spells otherwise (`name_differs`).
    pub problems: u32,
    /// People and troops that are not on this complete list, counted once a requirement; of a troop list they are only shown.
    pub absences: u32,
    /// People of the season's roster about whom something that was known is said otherwise.
    pub touched_people: u32,
    /// Troops of the season about which something that was known is said otherwise.
    pub touched_troops: u32,
    /// Rows that name nobody and no troop known here, where these are nearly all rows, so that the list may be another
    /// unit's; else 0.
    pub unfamiliar_rows: u32,
}

/// The preview in figures.
pub(super) fn counted(rows: &[IntakeRow], absences: &[AbsentOne], preview: &Preview) -> Counts {
    let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    let of_kind = |kind: RowChangeKind| {
        count(rows.iter().flat_map(|row| &row.changes).filter(|change| change.kind == kind).count())
    };
    Counts {
        rows: count(rows.len()),
        waiting: count(rows.iter().filter(|row| row.needs_a_person).count()),
        left_out: count(rows.iter().filter(|row| row.state == IntakeRowState::LeftOut).count()),
        changing_rows: count(rows.iter().filter(|row| !row.changes.is_empty()).count()),
        changes: count(rows.iter().map(|row| row.changes.len()).sum()),
        new_people: of_kind(RowChangeKind::NewPerson),
        filled_in: of_kind(RowChangeKind::FillIn),
        proposals: of_kind(RowChangeKind::Proposal),
        facts: of_kind(RowChangeKind::Fact),
        new_troops: of_kind(RowChangeKind::NewTroop),
        placed_troops: of_kind(RowChangeKind::TroopPlace),
        troop_changes: of_kind(RowChangeKind::TroopChange),
        problems: count(rows.iter().flat_map(|row| &row.problems).filter(|one| one.code != NAME_DIFFERS).count()),
        absences: count(absences.len()),
        touched_people: preview.touched.people,
        touched_troops: preview.touched.troops,
        unfamiliar_rows: preview.unfamiliar_rows,
    }
}
