//! A preview in words: every row and every change as the sentence that a volunteer reads.

use super::changes::{Change, Current, PersonField, PersonRef, RowPreview, RowState, Subject};
use super::columns::fields::ListRow;
use super::shown::{IntakeRow, IntakeRowState, RowChange, RowChangeKind};
use crate::common::ids::TroopId;
use crate::seasons::policy::Policy;
use crate::standings::rules::EvidenceOutcome;

/// The rows of a preview as people see them.
pub(super) fn shown(rows: &[ListRow], previews: &[RowPreview], policy: &Policy, current: &Current) -> Vec<IntakeRow> {
    let words = Words { policy, current, rows };
    rows.iter().zip(previews).map(|(row, preview)| words.row(row, preview)).collect()
}

struct Words<'a> {
    policy: &'a Policy,
    current: &'a Current,
    rows: &'a [ListRow],
}

fn name(row: &ListRow) -> String {
    let (first, last) = (row.first_name.as_deref().unwrap_or_default(), row.last_name.as_deref().unwrap_or_default());
    format!("{first} {last}").trim().to_owned()
}

impl Words<'_> {
    fn row(&self, row: &ListRow, preview: &RowPreview) -> IntakeRow {
        let (state, person_id, troop_id) = match &preview.state {
            RowState::Person(person) => (IntakeRowState::Person, Some(*person), None),
            RowState::NewPerson(_) => (IntakeRowState::NewPerson, None, None),
            RowState::Troop(troop) => (IntakeRowState::Troop, None, Some(*troop)),
            RowState::Ask(_) => (IntakeRowState::Ask, None, None),
            RowState::Unusable => (IntakeRowState::Unusable, None, None),
            RowState::Skipped => (IntakeRowState::LeftOut, None, None),
        };
        let candidates = if let RowState::Ask(candidates) = &preview.state { candidates.clone() } else { Vec::new() };
        IntakeRow {
            row_number: row.row_number,
            name: name(row),
            troop_number: row.troop_number.clone(),
            state,
            needs_a_person: preview.state.needs_a_person(),
            person_id,
            troop_id,
            candidates,
            reason_code: preview.reason.as_ref().map(|reason| reason.code),
            reason: preview.reason.as_ref().map(|reason| reason.sentence.clone()),
            also_on_rows: preview.also_on_rows.clone(),
            changes: preview.changes.iter().map(|change| self.change(change)).collect(),
            problems: preview.problems.clone(),
        }
    }

    fn change(&self, change: &Change) -> RowChange {
        let plain =
            |kind: RowChangeKind, sentence: String| RowChange { kind, requirement: None, outcome: None, sentence };
        match change {
            Change::NewPerson { first_name, last_name, .. } => {
                plain(RowChangeKind::NewPerson, format!("{first_name} {last_name} becomes known."))
            }
            Change::FillIn { field, .. } => {
                let what = match field {
                    PersonField::MembershipNumber => "membership number",
                    PersonField::Email => "e-mail address",
                    PersonField::Phone => "phone number",
                };
                plain(RowChangeKind::FillIn, format!("The {what} was not known and is filled in."))
            }
            Change::ProposeAssignment { person, troop_id, lead } => {
                let duty = if *lead { "lead coordinator" } else { "co-coordinator" };
                let sentence = format!(
                    "{} is proposed as {duty} of troop {}; a person confirms it.",
                    self.person(*person),
                    self.troop(*troop_id)
                );
                plain(RowChangeKind::Proposal, sentence)
            }
            Change::RecordFact { requirement, subject, statement, .. } => {
                let title = self
                    .policy
                    .requirements
                    .iter()
                    .find(|asked| asked.code == *requirement)
                    .map_or(requirement.as_str(), |asked| &asked.title);
                let about = match subject {
                    Subject::Person(person) => self.person(*person),
                    Subject::Troop(troop) => format!("troop {}", self.troop(*troop)),
                };
                let outcome = if statement.outcome == EvidenceOutcome::Met { "met" } else { "not met" };
                let until = statement.valid_until_on.map(|day| format!(", until {day}")).unwrap_or_default();
                let score = statement.score_percent.map(|score| format!(", {score} %")).unwrap_or_default();
                RowChange {
                    kind: RowChangeKind::Fact,
                    requirement: Some(requirement.clone()),
                    outcome: Some(statement.outcome),
                    sentence: format!("{title}: {outcome} on {} for {about}{until}{score}.", statement.observed_on),
                }
            }
        }
    }

    fn person(&self, person: PersonRef) -> String {
        match person {
            PersonRef::Known(id) => {
                let known = self.current.people.iter().find(|person| person.known.person_id == id);
                known
                    .map(|person| format!("{} {}", person.known.first_name, person.known.last_name))
                    .unwrap_or_default()
            }
            PersonRef::New(first_row) => {
                self.rows.iter().find(|row| row.row_number == first_row).map(name).unwrap_or_default()
            }
        }
    }

    fn troop(&self, id: TroopId) -> String {
        self.current
            .troops
            .iter()
            .find(|troop| troop.troop_id == id)
            .map(|troop| troop.number.clone())
            .unwrap_or_default()
    }
}
