//! Rows of one role list that contradict each other about the same person or troop.
//!
//! A list says how things stand on its day, so two rows that say different things of one person and requirement cannot both
//! be right, whatever is known already: neither is taken before a person has chosen one of them, or left one out. Where one of
//! them is silent there is nothing to ask, and its silence is filled by what the other says.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::rows::{TroopFound, Work};
use super::{PersonRef, Resolution, RowState, Statement, Subject};
use crate::intake::columns::fields::{ListRow, ScreeningOutcome};
use crate::intake::matching::{Candidate, MatchReason, Others, ReasonCode};
use crate::seasons::policy::{ListColumn, Requirement, RequirementKind, Whose};
use crate::standings::rules::EvidenceOutcome::{self, Met};

/// Of so many other values at most a row is told, and of so many rows for each.
const VALUES_NAMED: usize = 5;
const ROWS_NAMED: usize = 20;
/// How much of a reason the contradictions may fill.
const ROOM: usize = 400;

/// What other rows of a list say otherwise than this one about the same person or troop.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Contradiction {
    /// The code of the requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// The other rows, the first of them.
    #[schema(max_items = 20)]
    pub rows: Vec<u32>,
    /// What this row says; null where a reader may not know it.
    #[schema(required = true, max_length = 60)]
    pub says: Option<String>,
    /// What the other rows say; null where a reader may not know it.
    #[schema(required = true, max_length = 60)]
    pub they_say: Option<String>,
}

/// Which rows of a list contradict which, and what becomes of them.
#[derive(Default)]
pub(super) struct Clashes {
    /// By row, whether it waits for a person by it or not.
    of_row: HashMap<u32, Vec<Contradiction>>,
    /// Rows that wait for a person, with the reason.
    waiting: HashMap<u32, MatchReason>,
    /// What is not taken from a row, since a person chose another one.
    passed_over: HashMap<(u32, String), u32>,
    /// Until when something holds, where some row says it.
    ends: HashMap<(String, Subject), NaiveDate>,
}

impl Clashes {
    pub(super) fn take(&mut self, row: u32) -> Vec<Contradiction> {
        self.of_row.remove(&row).unwrap_or_default()
    }

    /// Why a row waits, and whom it is taken for, so that nobody forgets whom it names.
    pub(super) fn waits(&self, row: u32, state: &RowState) -> Option<(RowState, MatchReason)> {
        let reason = self.waiting.get(&row)?.clone();
        let code = reason.code;
        let candidate =
            |person_id| Candidate { person_id: Some(person_id), row_number: None, likeness_percent: 100, code };
        let candidates = if let RowState::Person(person) = state { vec![candidate(*person)] } else { Vec::new() };
        Some((RowState::Ask(candidates), reason))
    }

    /// The row that a person chose, where this one says something else about the requirement.
    pub(super) fn passed_over(&self, row: u32, requirement: &str) -> Option<u32> {
        self.passed_over.get(&(row, requirement.to_owned())).copied()
    }

    /// Until when something holds, as some row of the list says it.
    pub(super) fn end(&self, requirement: &str, subject: Subject) -> Option<NaiveDate> {
        self.ends.get(&(requirement.to_owned(), subject)).copied()
    }
}

/// What the rows of one person say about one requirement: each value once, with its rows.
type Values = BTreeMap<Value, Saying>;

/// An outcome and an end.
type Value = (u8, Option<NaiveDate>);

struct Saying {
    words: String,
    rows: Vec<u32>,
    chosen: Option<u32>,
}

const fn key(statement: &Statement) -> Value {
    let outcome = match statement.outcome {
        EvidenceOutcome::Met => 0,
        EvidenceOutcome::NotMet => 1,
        _ => 2,
    };
    (outcome, statement.valid_until_on)
}

/// Two values contradict where one says met and the other not, or where both name an end and name different ones.
fn contradict(one: Value, other: Value) -> bool {
    one.0 != other.0 || one.1.zip(other.1).is_some_and(|(one, other)| one != other)
}

impl Work<'_> {
    /// The contradictions of a role list, its rows settled.
    pub(super) fn clashes(&mut self, states: &[RowState], troops: &[TroopFound]) -> Clashes {
        let mut clashes = Clashes::default();
        let mut sentences: BTreeMap<u32, Vec<String>> = BTreeMap::new();
        let list = self.list;
        for (subject, places) in rows_of_each(states, troops) {
            let whose = if matches!(subject, Subject::Person(_)) { Whose::Coordinator } else { Whose::Troop };
            let asked: Vec<Requirement> = self.proven.iter().filter(|asked| asked.whose == whose).cloned().collect();
            for asked in asked {
                let Some(column) = asked.proof.column else { continue };
                let mut values = Values::new();
                for row in places.iter().filter_map(|place| list.rows.get(*place)) {
                    let Some(statement) = self.stated_by(column, row) else { continue };
                    let saying = values.entry(key(&statement)).or_insert_with(|| Saying {
                        words: words(column, row, &statement),
                        rows: Vec::new(),
                        chosen: None,
                    });
                    saying.rows.push(row.row_number);
                    let holds = list.resolutions.get(&row.row_number).copied().is_some_and(Resolution::holds);
                    saying.chosen = saying.chosen.or(Some(row.row_number).filter(|_| holds));
                }
                weigh(&mut clashes, &mut sentences, (&asked, subject), &values);
            }
        }
        for (row, said) in sentences {
            clashes.waiting.insert(row, MatchReason::new(ReasonCode::RowsContradict, sentence(&said)));
        }
        clashes
    }
}

/// The rows that speak of one person or troop, where there are several.
fn rows_of_each(states: &[RowState], troops: &[TroopFound]) -> BTreeMap<Subject, Vec<usize>> {
    let mut places: BTreeMap<Subject, Vec<usize>> = BTreeMap::new();
    for (place, state) in states.iter().enumerate() {
        let person = match state {
            RowState::Person(person) => PersonRef::Known(*person),
            RowState::NewPerson(first_row) => PersonRef::New(*first_row),
            _ => continue,
        };
        places.entry(Subject::Person(person)).or_default().push(place);
        if let Some(troop) = troops.get(place).and_then(TroopFound::id) {
            places.entry(Subject::Troop(troop)).or_default().push(place);
        }
    }
    places.retain(|_, places| places.len() > 1);
    places
}

/// What is to be done about the values that rows give for one requirement.
fn weigh(
    clashes: &mut Clashes,
    sentences: &mut BTreeMap<u32, Vec<String>>,
    (asked, subject): (&Requirement, Subject),
    values: &Values,
) {
    let chosen: Vec<(Value, u32)> =
        values.iter().filter_map(|(value, saying)| Some((*value, saying.chosen?))).collect();
    let one_is_right = chosen.iter().all(|one| chosen.iter().all(|other| !contradict(one.0, other.0)));
    let wrong = |value: Value| chosen.iter().find(|one| one_is_right && contradict(one.0, value)).map(|one| one.1);
    let mut ends = BTreeSet::new();
    for (value, saying) in values {
        let right = wrong(*value);
        if right.is_none() {
            ends.extend(value.1);
        }
        for (other_value, other) in values.iter().filter(|(other, _)| contradict(**other, *value)).take(VALUES_NAMED) {
            for row in &saying.rows {
                clashes.of_row.entry(*row).or_default().push(Contradiction {
                    requirement: asked.code.clone(),
                    rows: other.rows.iter().take(ROWS_NAMED).copied().collect(),
                    says: Some(saying.words.clone()),
                    they_say: Some(other.words.clone()),
                });
                if let Some(right) = right {
                    clashes.passed_over.insert((*row, asked.code.clone()), right);
                } else if wrong(*other_value).is_none() {
                    sentences.entry(*row).or_default().push(in_words(asked, saying, other));
                }
            }
        }
    }
    if let (Some(end), 1) = (ends.first(), ends.len()) {
        clashes.ends.insert((asked.code.clone(), subject), *end);
    }
}

/// A contradiction as a sentence reads it. What a row says of a screening stands in `contradictions` alone, where it is
/// withheld from readers who may not know it.
fn in_words(asked: &Requirement, saying: &Saying, other: &Saying) -> String {
    let (title, rows) = (&asked.title, Others::first(VALUES_NAMED, &other.rows).named());
    if asked.kind == RequirementKind::Screening {
        return format!("{title}: not the same here and on {rows}");
    }
    format!("{title}: {} here, {} on {rows}", saying.words, other.words)
}

fn sentence(said: &[String]) -> String {
    let mut told = String::new();
    for (place, one) in said.iter().enumerate() {
        if place > 0 && told.chars().count() + one.chars().count() > ROOM {
            told.push_str("; and more");
            break;
        }
        told.push_str(if place > 0 { "; " } else { "" });
        told.extend(one.chars().take(ROOM));
    }
    format!("rows contradict each other. {told}. Say which row is right (this_row_holds), or leave one out (leave_out)")
}

/// What the cells of a row say, for whoever compares two rows.
fn words(column: ListColumn, row: &ListRow, statement: &Statement) -> String {
    let until = |day: NaiveDate| format!("until {day}");
    match (column, row.screening) {
        (ListColumn::MembershipValidUntil, _) => row.membership_valid_until.map(until).unwrap_or_default(),
        (ListColumn::Screening, Some(ScreeningOutcome::Met)) => match row.screening_valid_until {
            Some(day) => format!("met, {}", until(day)),
            None => "met".to_owned(),
        },
        _ if statement.outcome == Met => "met".to_owned(),
        _ => "not met".to_owned(),
    }
}
