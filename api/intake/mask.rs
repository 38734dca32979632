//! What a row says of a screening, withheld from readers who may not read screenings.

use super::columns::plan::ColumnPlan;
use super::shown::IntakeRow;
use crate::seasons::policy::{Policy, RequirementKind};

/// What must not be shown: these requirements' outcomes, and what stood in these columns.
#[derive(Debug)]
pub(super) struct ScreeningMask {
    requirements: Vec<String>,
    columns: Vec<String>,
}

impl ScreeningMask {
    /// By the policy's screenings and the list's columns.
    pub(super) fn new(policy: &Policy, plan: Option<&ColumnPlan>) -> Self {
        let screenings = policy.requirements.iter().filter(|asked| asked.kind == RequirementKind::Screening);
        let columns = plan.into_iter().flat_map(|plan| &plan.columns);
        let columns = columns.filter(|planned| planned.column.is_screening());
        Self {
            requirements: screenings.map(|asked| asked.code.clone()).collect(),
            columns: columns.map(|planned| planned.letter.clone()).collect(),
        }
    }
}

/// A row as this reader may see it.
pub(super) fn masked(mut row: IntakeRow, mask: Option<&ScreeningMask>) -> IntakeRow {
    let Some(mask) = mask else { return row };
    for change in &mut row.changes {
        if change.requirement.as_ref().is_some_and(|code| mask.requirements.contains(code)) {
            change.outcome = None;
            "What the list says of a screening is withheld: it needs the permission screenings.read."
                .clone_into(&mut change.sentence);
        }
    }
    for problem in &mut row.problems {
        if problem.column.as_ref().is_some_and(|letter| mask.columns.contains(letter)) {
            problem.read.clear();
        }
    }
    row
}
