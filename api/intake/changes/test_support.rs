//! What the tests of changes need: ids that read as numbers, the state after a list, changes short enough to type.

use super::*;
use uuid::Uuid;

pub(super) fn troop(number: u128) -> TroopId {
    TroopId(Uuid::from_u128(number))
}

pub(super) fn person(number: u128) -> PersonId {
    PersonId(Uuid::from_u128(number))
}

/// A troop with nothing but its number, in the season or not.
pub(super) fn a_troop(number: u128, in_season: bool) -> CurrentTroop {
    let place = SeasonPlace { age_band: "juniors".into(), selling_youths: 10, first_season: false };
    CurrentTroop {
        troop_id: troop(number),
        number: number.to_string(),
        name: String::new(),
        meeting_place: None,
        place: Some(place).filter(|_| in_season),
        ended: false,
    }
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
                of_troops => after_troop_change(&mut next, row.row_number, of_troops),
            }
        }
    }
    next
}

/// The state after a change of a troop list. A new troop gets 1000 + its row.
fn after_troop_change(next: &mut Current, row: u32, change: Change) {
    match change {
        Change::NewTroop { number, name, place } => next.troops.push(CurrentTroop {
            troop_id: troop(1000 + u128::from(row)),
            number,
            name,
            meeting_place: None,
            place: Some(place),
            ended: false,
        }),
        Change::PlaceTroop { troop_id, place } => known_troop(next, troop_id).place = Some(place),
        Change::ChangeTroop { troop: of, field, to, .. } => {
            let id = match of {
                TroopRef::Known(id) => id,
                TroopRef::New(row) => troop(1000 + u128::from(row)),
            };
            let known = known_troop(next, id);
            match field {
                TroopField::Name => known.name = to,
                TroopField::MeetingPlace => known.meeting_place = Some(to),
                TroopField::AgeBand => known.place.as_mut().unwrap().age_band = to,
                TroopField::SellingYouths => known.place.as_mut().unwrap().selling_youths = to.parse().unwrap(),
                TroopField::FirstSeason => known.place.as_mut().unwrap().first_season = to == "yes",
            }
        }
        other => panic!("{other:?} is no change of a troop"),
    }
}

fn known_troop(current: &mut Current, id: TroopId) -> &mut CurrentTroop {
    current.troops.iter_mut().find(|troop| troop.troop_id == id).unwrap()
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
            Change::NewTroop { number, name, place } => format!("new troop {number} {name}: {}", place_of(place)),
            Change::PlaceTroop { troop_id, place } => {
                format!("place {}: {}", troop_id.0.as_u128(), place_of(place))
            }
            Change::ChangeTroop { field, from, to, .. } => {
                format!("{field:?} {} -> {to}", from.as_deref().unwrap_or("nothing"))
            }
        })
        .collect()
}

fn place_of(place: &SeasonPlace) -> String {
    let first = if place.first_season { " first" } else { "" };
    format!("{} {}{first}", place.age_band, place.selling_youths)
}
