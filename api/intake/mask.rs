//! What a row says of a screening or of where a troop meets, withheld from readers who may not know it.

use super::changes::TroopField;
use super::columns::plan::ColumnPlan;
use super::kinds::ListColumn;
use super::shown::IntakeRow;
use crate::auth::Permit;
use crate::auth::permission::{IntakesRead, PeopleRead, ScreeningsRead};
use crate::seasons::policy::{Policy, RequirementKind};

/// What of a list a reader may see: screenings, and meeting places (which say where minors gather) as the roster shows them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Sight {
    pub screenings: bool,
    pub meeting_places: bool,
}

impl Sight {
    /// Of whoever asks.
    pub(super) fn of(permit: &Permit<IntakesRead>) -> Self {
        Self { screenings: permit.holds::<ScreeningsRead>(), meeting_places: permit.holds::<PeopleRead>() }
    }

    /// Whether the cells of a column may be shown.
    pub(super) fn shows(self, column: ListColumn) -> bool {
        (self.screenings || !column.is_screening()) && (self.meeting_places || column != ListColumn::MeetingPlace)
    }

    /// Whether nothing is withheld.
    pub(super) fn is_whole(self) -> bool {
        self.screenings && self.meeting_places
    }
}

/// What must not be shown: these requirements' outcomes, meeting places, and what stood in these columns.
#[derive(Debug)]
pub(super) struct RowMask {
    requirements: Vec<String>,
    meeting_places: bool,
    columns: Vec<String>,
}

impl RowMask {
    /// By what the reader may see, the policy's screenings and the list's columns.
    pub(super) fn new(sight: Sight, policy: &Policy, plan: Option<&ColumnPlan>) -> Self {
        let screenings = policy.requirements.iter().filter(|asked| asked.kind == RequirementKind::Screening);
        let columns = plan.into_iter().flat_map(|plan| &plan.columns);
        let columns = columns.filter(|planned| !sight.shows(planned.column));
        Self {
            requirements: screenings.filter(|_| !sight.screenings).map(|asked| asked.code.clone()).collect(),
            meeting_places: !sight.meeting_places,
            columns: columns.map(|planned| planned.letter.clone()).collect(),
        }
    }
}

/// A row as this reader may see it.
pub(super) fn masked(mut row: IntakeRow, mask: Option<&RowMask>) -> IntakeRow {
    let Some(mask) = mask else { return row };
    for change in &mut row.changes {
        if change.requirement.as_ref().is_some_and(|code| mask.requirements.contains(code)) {
            change.outcome = None;
            "What the list says of a screening is withheld: it needs the permission screenings.read."
                .clone_into(&mut change.sentence);
        }
        if mask.meeting_places && change.field == Some(TroopField::MeetingPlace) {
            (change.before, change.after) = (None, None);
            "Where the troop meets is said otherwise; the place is withheld: it needs the permission people.read."
                .clone_into(&mut change.sentence);
        }
    }
    for contradiction in &mut row.contradictions {
        if mask.requirements.contains(&contradiction.requirement) {
            (contradiction.says, contradiction.they_say) = (None, None);
        }
    }
    for problem in &mut row.problems {
        if problem.column.as_ref().is_some_and(|letter| mask.columns.contains(letter)) {
            problem.read.clear();
        }
    }
    row
}
