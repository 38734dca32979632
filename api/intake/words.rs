//! A preview in words: every row and every change as the sentence that a volunteer reads.

use std::collections::HashMap;

use chrono::{Months, NaiveDate};

use super::changes::{
    Absence, Change, Current, PersonField, PersonRef, Preview, RowPreview, RowState, SeasonPlace, Statement, Subject,
    TroopField, TroopRef,
};
use super::columns::fields::ListRow;
use super::shown::{AbsentOne, IntakeRow, IntakeRowState, RowChange, RowChangeKind};
use super::waiting_reasons::waits_for;
use crate::common::ids::{PersonId, TroopId};
use crate::seasons::policy::{Policy, Requirement, ValidityKind};
use crate::standings::rules::EvidenceOutcome;

/// The rows of a preview, and who is not on it, as people see them.
pub(super) fn shown(
    rows: &[ListRow],
    preview: &Preview,
    policy: &Policy,
    (season_begins_on, today): (NaiveDate, NaiveDate),
    current: &Current,
) -> (Vec<IntakeRow>, Vec<AbsentOne>) {
    let people = current.people.iter().map(|person| {
        let name = format!("{} {}", person.known.first_name, person.known.last_name);
        (person.known.person_id, name.trim().to_owned())
    });
    let words = Words {
        policy,
        season_begins_on,
        today,
        people: people.collect(),
        troops: current.troops.iter().map(|troop| (troop.troop_id, troop.number.as_str())).collect(),
        rows: rows.iter().map(|row| (row.row_number, row)).collect(),
    };
    let shown = rows.iter().zip(&preview.rows).map(|(row, preview)| words.row(row, preview)).collect();
    (shown, preview.absences.iter().map(|absence| words.absence(absence)).collect())
}

const fn plain(kind: RowChangeKind, sentence: String) -> RowChange {
    RowChange {
        kind,
        requirement: None,
        outcome: None,
        closes_nothing: false,
        field: None,
        before: None,
        after: None,
        sentence,
    }
}

/// A place in the season in words. What the list leaves open is said, lest somebody take it for what the list says.
fn placed(row: &ListRow, place: &SeasonPlace) -> String {
    let season = match (row.first_season, place.first_season) {
        (None, _) => "taken as returning, since the list does not say whether it is new",
        (_, true) => "its first season",
        (_, false) => "returning",
    };
    let youths = if place.selling_youths == 1 { "youth" } else { "youths" };
    format!("{}, {} selling {youths}, {season}", place.age_band, place.selling_youths)
}

struct Words<'a> {
    policy: &'a Policy,
    season_begins_on: NaiveDate,
    today: NaiveDate,
    people: HashMap<PersonId, String>,
    troops: HashMap<TroopId, &'a str>,
    rows: HashMap<u32, &'a ListRow>,
}

fn name(row: &ListRow) -> String {
    if let Some(troop) = &row.troop_name {
        return troop.clone();
    }
    let (first, last) = (row.first_name.as_deref().unwrap_or_default(), row.last_name.as_deref().unwrap_or_default());
    format!("{first} {last}").trim().to_owned()
}

impl Words<'_> {
    fn row(&self, row: &ListRow, preview: &RowPreview) -> IntakeRow {
        let (state, person_id, troop_id) = match &preview.state {
            RowState::Person(person) => (IntakeRowState::Person, Some(*person), None),
            RowState::NewPerson(_) => (IntakeRowState::NewPerson, None, None),
            RowState::Troop(troop) => (IntakeRowState::Troop, None, Some(*troop)),
            RowState::NewTroop => (IntakeRowState::NewTroop, None, None),
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
            waits_for: waits_for(preview),
            remembered: None,
            person_id,
            troop_id,
            candidates,
            reason_code: preview.reason.as_ref().map(|reason| reason.code),
            reason: preview.reason.as_ref().map(|reason| reason.sentence.clone()),
            also_on_rows: preview.also_on_rows.clone(),
            contradictions: preview.contradictions.clone(),
            changes: preview.changes.iter().map(|change| self.change(row, change)).collect(),
            problems: preview.problems.clone(),
        }
    }

    fn change(&self, row: &ListRow, change: &Change) -> RowChange {
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
            Change::RecordFact { requirement, subject, statement, .. } => self.fact(requirement, *subject, statement),
            Change::NewTroop { number, name, place } => {
                let called = format!("{number} {name}");
                let sentence = format!("Troop {} becomes known: {}.", called.trim(), placed(row, place));
                plain(RowChangeKind::NewTroop, sentence)
            }
            Change::PlaceTroop { troop_id, place } => {
                let number = self.troop(*troop_id);
                plain(
                    RowChangeKind::TroopPlace,
                    format!("Troop {number} takes part in this season: {}.", placed(row, place)),
                )
            }
            Change::ChangeTroop { troop, field, from, to } => self.described(*troop, *field, (from.as_ref(), to)),
        }
    }

    fn fact(&self, requirement: &str, subject: Subject, statement: &Statement) -> RowChange {
        let title = self.title(requirement);
        let about = self.subject(subject);
        let outcome = if statement.outcome == EvidenceOutcome::Met { "met" } else { "not met" };
        let until = statement.valid_until_on.map(|day| format!(", until {day}")).unwrap_or_default();
        let score = statement.score_percent.map(|score| format!(", {score} %")).unwrap_or_default();
        let asked = self.policy.requirements.iter().find(|asked| asked.code == requirement);
        let mark = asked.and_then(|asked| asked.minimum_score);
        let below = statement.score_percent.zip(mark).filter(|(score, mark)| score < mark);
        let below = below.map(|(score, mark)| format!("{score} is under {mark}"));
        let past =
            asked.filter(|_| statement.outcome == EvidenceOutcome::Met).and_then(|asked| self.past(asked, statement));
        let nothing = below.or(past);
        let on = statement.observed_on;
        let sentence = match &nothing {
            Some(why) => format!("{title}: recorded on {on} for {about}{score}; it closes nothing, since {why}."),
            None => format!("{title}: {outcome} on {on} for {about}{until}{score}."),
        };
        RowChange {
            requirement: Some(requirement.to_owned()),
            outcome: Some(statement.outcome),
            closes_nothing: nothing.is_some(),
            ..plain(RowChangeKind::Fact, sentence)
        }
    }

    /// Why a proof counts no more, where its day says so.
    fn past(&self, asked: &Requirement, statement: &Statement) -> Option<String> {
        let on = statement.observed_on;
        match asked.validity.kind {
            ValidityKind::Season => {
                (on < self.season_begins_on).then(|| format!("the season began on {}", self.season_begins_on))
            }
            ValidityKind::Months => {
                let over_on = on.checked_add_months(Months::new(asked.validity.months.unwrap_or_default().into()))?;
                (over_on < self.today).then(|| format!("its time was over on {over_on}"))
            }
            ValidityKind::UntilEvidenceDate => None,
        }
    }

    /// What changes of a troop, from what to what.
    fn described(&self, troop: TroopRef, field: TroopField, (from, to): (Option<&String>, &String)) -> RowChange {
        let number = match troop {
            TroopRef::Known(id) => self.troop(id),
            TroopRef::New(row) => self.rows.get(&row).and_then(|row| row.troop_number.clone()).unwrap_or_default(),
        };
        let what = match field {
            TroopField::Name => "name",
            TroopField::MeetingPlace => "meeting place",
            TroopField::AgeBand => "age band",
            TroopField::SellingYouths => "number of selling youths",
            TroopField::FirstSeason => "first season",
        };
        let was = from.map_or_else(|| "it had none".to_owned(), |from| format!("it was {from}"));
        let sentence = format!("The {what} of troop {number} becomes {to}; {was}.");
        RowChange {
            field: Some(field),
            before: from.cloned(),
            after: Some(to.clone()),
            ..plain(RowChangeKind::TroopChange, sentence)
        }
    }

    fn absence(&self, absence: &Absence) -> AbsentOne {
        let Absence::Recorded { requirement, subject, last_seen_on, statement, .. } = absence else {
            return self.left_out(absence);
        };
        let (person_id, troop_id) = match subject {
            Subject::Person(PersonRef::Known(person)) => (Some(*person), None),
            Subject::Person(PersonRef::New(_)) => (None, None),
            Subject::Troop(troop) => (None, Some(*troop)),
        };
        let sentence = format!(
            "{}: {} is not on this list of {}, and was met on {last_seen_on}.",
            self.title(requirement),
            self.subject(*subject),
            statement.observed_on
        );
        AbsentOne { requirement: Some(requirement.clone()), person_id, troop_id, sentence }
    }

    /// A troop that a complete troop list leaves out.
    fn left_out(&self, absence: &Absence) -> AbsentOne {
        let troop_id = if let Absence::Shown(troop) = absence { Some(*troop) } else { None };
        let number = troop_id.map(|troop| self.troop(troop)).unwrap_or_default();
        let sentence = format!(
            "Troop {number} is not on this list. Nothing ends by that: if it takes no part, say so in the roster (sit_out_troop)."
        );
        AbsentOne { requirement: None, person_id: None, troop_id, sentence }
    }

    fn title<'b>(&'b self, requirement: &'b str) -> &'b str {
        let asked = self.policy.requirements.iter().find(|asked| asked.code == requirement);
        asked.map_or(requirement, |asked| &asked.title)
    }

    fn subject(&self, subject: Subject) -> String {
        match subject {
            Subject::Person(person) => self.person(person),
            Subject::Troop(troop) => format!("troop {}", self.troop(troop)),
        }
    }

    fn person(&self, person: PersonRef) -> String {
        match person {
            PersonRef::Known(id) => self.people.get(&id).cloned().unwrap_or_default(),
            PersonRef::New(first_row) => self.rows.get(&first_row).map(|row| name(row)).unwrap_or_default(),
        }
    }

    fn troop(&self, id: TroopId) -> String {
        self.troops.get(&id).map(|number| (*number).to_owned()).unwrap_or_default()
    }
}
