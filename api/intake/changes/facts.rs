//! What a row states about requirements: only what its columns state, and only where the policy takes it as a proof.

use super::rows::Work;
use super::{Change, CurrentFact, Statement, Subject};
use crate::common::fold;
use crate::intake::columns::fields::{ListRow, ScreeningOutcome};
use crate::intake::kinds::{ListColumn as Column, ListKind};
use crate::seasons::policy::{ListColumn, ProofKind, Requirement, RequirementKind, ValidityKind, Whose};
use crate::standings::rules::EvidenceOutcome::{self, Met, NotMet};
use chrono::NaiveDate;
use std::collections::HashMap;

/// So many of them as a sentence holds.
fn as_many_as_fit(words: &[String]) -> String {
    const ROOM: usize = 300;
    let mut fitting = 0;
    let mut length = 0;
    for word in words {
        length += word.chars().count() + 2;
        if length > ROOM && fitting > 0 {
            break;
        }
        fitting += 1;
    }
    let told = words.get(..fitting).unwrap_or_default().join(", ");
    match words.len() - fitting {
        0 => told,
        more => format!("{told}, and {more} more"),
    }
}

/// The code of a course as policies write codes: `Yearly Training` is `yearly_training`.
#[must_use]
pub fn course_key(text: &str) -> String {
    fold::words(text).join("_")
}

impl Work<'_> {
    /// Records what a row states about the person or troop that it is taken for.
    pub(super) fn state_facts(&mut self, row: &ListRow, subject: Subject) {
        if self.list.kind == ListKind::Certificates {
            self.state_certificate(row, subject);
            return;
        }
        for asked in self.proven.clone() {
            let Some(column) = asked.proof.column else { continue };
            let about = match (asked.whose, subject) {
                (Whose::Coordinator, Subject::Person(_)) | (Whose::Troop, Subject::Troop(_)) => subject,
                _ => continue,
            };
            if let Some(right) = self.clashes.passed_over(row.row_number, &asked.code) {
                let expected =
                    format!("what row {right} says of it, which a person chose; this row says something else");
                self.row_problem(row, "rows_contradict", &asked.title, &expected);
                continue;
            }
            if let Some(statement) = self.stated_by(column, row) {
                self.record(&asked, about, statement);
            }
        }
    }

    /// The requirements that a list of this kind proves.
    pub(super) fn requirements_proven_by_this_list(&self) -> Vec<Requirement> {
        self.proven.clone()
    }

    /// What one column of a row states, if it states anything.
    pub(super) fn stated_by(&mut self, column: ListColumn, row: &ListRow) -> Option<Statement> {
        let listed_on = self.list.listed_on;
        let plain = |outcome: EvidenceOutcome, observed_on: NaiveDate, valid_until_on: Option<NaiveDate>| Statement {
            outcome,
            observed_on,
            valid_until_on,
            score_percent: None,
        };
        match column {
            ListColumn::Listed => Some(plain(Met, listed_on, None)),
            ListColumn::MembershipValidUntil => row.membership_valid_until.map(|until| until_day(until, listed_on)),
            ListColumn::Screening => match (row.screening, row.screening_valid_until) {
                (Some(ScreeningOutcome::Met), Some(until)) => Some(until_day(until, listed_on)),
                (Some(ScreeningOutcome::Met), None) => Some(plain(Met, listed_on, None)),
                (Some(ScreeningOutcome::NotMet), _) => Some(plain(NotMet, listed_on, None)),
                (Some(ScreeningOutcome::Pending) | None, _) => None,
            },
            ListColumn::ReceivedOn => {
                let day = row.received_on?;
                self.past(row, Column::ReceivedOn, day).then(|| plain(Met, day, None))
            }
        }
    }

    fn state_certificate(&mut self, row: &ListRow, subject: Subject) {
        if row.score_unreadable {
            return; // the cell is among the problems already
        }
        if row.course_code.is_none() && row.completed_on.is_none() && row.score.is_none() {
            return; // a person beside whom nothing stands, as in a template
        }
        let (Some(course), Some(day)) = (row.course_code.as_deref(), row.completed_on) else {
            self.problem(row, Column::CourseCode, "incomplete", "", "a course and the day on which it was completed");
            return;
        };
        if !self.past(row, Column::CompletedOn, day) {
            return;
        }
        let key = course_key(course);
        let by_course =
            |asked: &&Requirement| asked.proof.kind == ProofKind::Certificate && asked.whose == Whose::Coordinator;
        let courses: Vec<&Requirement> = self.world.policy.requirements.iter().filter(by_course).collect();
        let has_code = |asked: &&&Requirement| asked.proof.course.as_deref() == Some(&*key);
        let has_title = |asked: &&&Requirement| course_key(&asked.title) == key;
        let mut asked: Vec<Requirement> = courses.iter().filter(has_code).map(|asked| (*asked).clone()).collect();
        if asked.is_empty() {
            // what a course is called where people read, as long as one course alone is called so
            let mut titled: Vec<&str> =
                courses.iter().filter(has_title).filter_map(|asked| asked.proof.course.as_deref()).collect();
            titled.dedup();
            if let [code] = titled.as_slice() {
                asked = courses
                    .iter()
                    .filter(|one| one.proof.course.as_deref() == Some(code))
                    .map(|one| (*one).clone())
                    .collect();
            }
        }
        if asked.is_empty() {
            let known =
                courses.iter().filter_map(|one| Some(format!("{} ({})", one.title, one.proof.course.as_deref()?)));
            let known: Vec<String> = known.collect();
            let expected = if known.is_empty() {
                "no course at all: the policy asks for none that a certificate proves".to_owned()
            } else {
                format!("a course that the policy asks for, by its title or code: {}", as_many_as_fit(&known))
            };
            self.problem(row, Column::CourseCode, "unknown_course", course, &expected);
        }
        // cut, never rounded: 79.99 is not 80; a score below the mark is recorded and closes nothing
        let score_percent = row.score.and_then(|hundredths| u8::try_from(hundredths / 100).ok());
        for asked in asked {
            let statement = Statement { outcome: Met, observed_on: day, valid_until_on: None, score_percent };
            self.record(&asked, subject, statement);
        }
    }

    /// A day in the future is a mistake of the list, not a fact.
    fn past(&mut self, row: &ListRow, column: Column, day: NaiveDate) -> bool {
        if day > self.world.today {
            self.problem(row, column, "in_the_future", &day.to_string(), "a day that is not in the future");
        }
        day <= self.world.today
    }

    /// Adds a fact unless it is known: this very fact, or a list's fact that the newest one says already.
    fn record(&mut self, asked: &Requirement, subject: Subject, mut statement: Statement) {
        let about = self.facts.about(&asked.code, subject);
        let newest = about.iter().max_by_key(|fact| (fact.statement.observed_on, fact.order));
        // a troop that was missing from a complete list and is on it again: the list's day says so, not the form's
        if let Some(gone) = newest.filter(|fact| fact.statement.outcome == EvidenceOutcome::Absent)
            && self.list.kind == ListKind::BankDetails
            && (statement.observed_on..=self.list.listed_on).contains(&gone.statement.observed_on)
        {
            statement.observed_on = self.list.listed_on;
        }
        if statement.outcome == Met && statement.valid_until_on.is_none() {
            statement.valid_until_on = self.clashes.end(&asked.code, subject);
        }
        // A list without a column for it says that it holds, and not until when: the day that is known stays.
        if asked.validity.kind == ValidityKind::UntilEvidenceDate && statement.valid_until_on.is_none() {
            let dated = about
                .iter()
                .filter(|fact| fact.statement.outcome == Met && fact.statement.observed_on <= statement.observed_on);
            let dated = dated.filter(|fact| fact.statement.valid_until_on >= Some(statement.observed_on));
            let known = dated.max_by_key(|fact| (fact.statement.observed_on, fact.order));
            statement.valid_until_on =
                known.filter(|_| statement.outcome == Met).and_then(|fact| fact.statement.valid_until_on);
        }
        if about.iter().any(|fact| fact.statement == statement) {
            return;
        }
        // a role list says how things stand on its day; the other lists date each row by itself
        if self.list.kind == ListKind::RoleList && newest.is_some_and(|fact| says_the_same(&fact.statement, &statement))
        {
            return;
        }
        self.facts.add(&asked.code, subject, statement.clone());
        let screening = asked.kind == RequirementKind::Screening;
        self.changes.push(Change::RecordFact { requirement: asked.code.clone(), screening, subject, statement });
    }
}

/// What is known, by requirement and subject; and what this list adds while its rows are gone through.
pub(super) struct FactBook {
    of: HashMap<Subject, Vec<CurrentFact>>,
    next_order: i64,
}

impl FactBook {
    pub(super) fn new(known: &[CurrentFact]) -> Self {
        let next_order = known.iter().map(|fact| fact.order).max().unwrap_or(0);
        let mut of: HashMap<Subject, Vec<CurrentFact>> = HashMap::new();
        for fact in known {
            of.entry(fact.subject).or_default().push(fact.clone());
        }
        Self { of, next_order }
    }

    fn about(&self, requirement: &str, subject: Subject) -> Vec<&CurrentFact> {
        let all = self.of.get(&subject).into_iter().flatten();
        all.filter(|fact| fact.requirement == requirement).collect()
    }

    fn add(&mut self, requirement: &str, subject: Subject, statement: Statement) {
        self.next_order += 1;
        let fact = CurrentFact { requirement: requirement.to_owned(), subject, statement, order: self.next_order };
        self.of.entry(subject).or_default().push(fact);
    }
}

/// Whether a list of this kind proves a requirement.
pub(super) fn proven_by(asked: &Requirement, kind: ListKind) -> bool {
    asked.proof.kind == ProofKind::PostedList && asked.proof.list.is_some_and(|list| kind_of(list) == kind)
}

fn says_the_same(one: &Statement, other: &Statement) -> bool {
    (one.outcome, one.valid_until_on, one.score_percent) == (other.outcome, other.valid_until_on, other.score_percent)
}

/// Valid until a day: met while that day has not passed at the day of the list, not met after it.
fn until_day(until: NaiveDate, listed_on: NaiveDate) -> Statement {
    let (outcome, valid_until_on) = if until >= listed_on { (Met, Some(until)) } else { (NotMet, None) };
    Statement { outcome, observed_on: listed_on, valid_until_on, score_percent: None }
}

fn kind_of(list: crate::seasons::policy::PostedList) -> ListKind {
    match list {
        crate::seasons::policy::PostedList::RoleList => ListKind::RoleList,
        crate::seasons::policy::PostedList::BankDetails => ListKind::BankDetails,
    }
}

#[cfg(test)]
mod tests {
    use super::as_many_as_fit;

    #[test]
    fn as_many_courses_are_told_as_a_sentence_holds() {
        let courses: Vec<String> =
            (1..=40).map(|number| format!("{} (course_{number})", "Course ".repeat(12))).collect();
        let told = as_many_as_fit(&courses);
        assert!(told.chars().count() < 340 && told.ends_with(" more"), "{told}");
        assert_eq!(as_many_as_fit(&courses[..1]), courses[0]);
        assert_eq!(as_many_as_fit(&["A".to_owned(), "B".to_owned()]), "A, B");
    }
}
