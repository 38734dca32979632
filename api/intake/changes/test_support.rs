//! What the tests of changes need: ids that read as numbers, the state after a list, changes short enough to type.

use super::*;
use uuid::Uuid;

pub(super) fn troop(number: u128) -> TroopId {
    TroopId(Uuid::from_u128(number))
}

pub(super) fn person(number: u128) -> PersonId {
    PersonId(Uuid::from_u128(number))
}

/// The state after the changes were made, as the database would give it back. New people get 1000 + their first row.
pub(super) fn after(current: &Current, rows: &[RowPreview]) -> Current {
    let mut next = current.clone();
    let id = |of: PersonRef| match of {
        PersonRef::Known(id) => id,
        PersonRef::New(first_row) => person(1000 + u128::from(first_row)),
    };
    for row in rows {
        for change in &row.changes {
            match change.clone() {
                Change::NewPerson { first_name, last_name, membership_number, email, phone } => {
                    let known = Known {
                        person_id: person(1000 + u128::from(row.row_number)),
                        first_name,
                        last_name,
                        emails: email.into_iter().collect(),
                        membership_number,
                        troops: Vec::new(),
                    };
                    next.people.push(CurrentPerson { known, phone });
                }
                Change::FillIn { person_id, field, value } => {
                    let person = next.people.iter_mut().find(|person| person.known.person_id == person_id).unwrap();
                    match field {
                        PersonField::MembershipNumber => person.known.membership_number = Some(value),
                        PersonField::Email => person.known.emails.push(value),
                        PersonField::Phone => person.phone = Some(value),
                    }
                }
                Change::ProposeAssignment { person, troop_id, lead } => {
                    next.assigned.insert((troop_id, id(person)));
                    next.people
                        .iter_mut()
                        .find(|known| known.known.person_id == id(person))
                        .unwrap()
                        .known
                        .troops
                        .push(troop_id);
                    if lead {
                        next.led.insert(troop_id);
                    }
                }
                Change::RecordFact { requirement, subject, statement, .. } => {
                    let subject = match subject {
                        Subject::Person(of) => Subject::Person(PersonRef::Known(id(of))),
                        troop @ Subject::Troop(_) => troop,
                    };
                    let order = i64::try_from(next.facts.len()).unwrap() + 1;
                    next.facts.push(CurrentFact { requirement, subject, statement, order });
                }
            }
        }
    }
    next
}

/// The changes of a row, short enough to type.
pub(super) fn short(row: &RowPreview) -> Vec<String> {
    row.changes
        .iter()
        .map(|change| match change {
            Change::NewPerson { first_name, last_name, .. } => format!("new {first_name} {last_name}"),
            Change::FillIn { field, value, .. } => format!("{field:?} {value}"),
            Change::ProposeAssignment { troop_id, lead, .. } => {
                format!("propose {}{}", troop_id.0.as_u128(), if *lead { " lead" } else { "" })
            }
            Change::RecordFact {
                requirement,
                statement: Statement { outcome, observed_on, valid_until_on, score_percent },
                ..
            } => {
                let until = valid_until_on.map(|day| format!(" until {day}")).unwrap_or_default();
                let score = score_percent.map(|score| format!(" {score} %")).unwrap_or_default();
                format!("{requirement} {outcome:?} {observed_on}{until}{score}")
            }
        })
        .collect()
}
