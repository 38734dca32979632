//! Making the changes of a preview, in the transaction of whoever applies it.

use std::collections::BTreeMap;

use super::changes::{Absence, Change, PersonField, PersonRef, RowPreview, SeasonPlace, Statement, Subject, TroopRef};
use super::kinds::ListKind;
use super::sql::LockedIntake;
use super::work::Made;
use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{IntakeId, PersonId, SeasonId, TroopId};
use crate::error::ApiError;
use crate::roster::{self, DescribedTroop, KnownPerson, ListedPlace, MadeByList, NewListedTroop};
use crate::standings::rules::EvidenceSource;
use crate::standings::{self, NewEvidence};

/// Makes every change of a preview, people first, since facts and proposals name them; troops by themselves. Gives what it made, and who
/// became known with which row.
pub(super) async fn make_changes(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    locked: &LockedIntake,
    made: &Made,
) -> Result<(MadeByList, BTreeMap<u32, PersonId>), ApiError> {
    let mut new_people: BTreeMap<u32, PersonId> = BTreeMap::new();
    let mut by_list = MadeByList::default();
    for row in &made.preview.rows {
        for change in &row.changes {
            change_people(tx, by, row, change, &mut new_people, &mut by_list).await?;
        }
    }
    change_troops(tx, by, SeasonId(locked.0.season_id), made, &mut by_list).await?;
    let person = |of: PersonRef| match of {
        PersonRef::Known(id) => Ok(id),
        PersonRef::New(first_row) => {
            new_people.get(&first_row).copied().ok_or_else(|| ApiError::broken("a change about nobody"))
        }
    };
    let season = SeasonId(locked.0.season_id);
    let list = IntakeId(locked.0.intake_id);
    let certificates = ListKind::from_name(&locked.0.kind) == Some(ListKind::Certificates);
    let source = if certificates { EvidenceSource::Certificate } else { EvidenceSource::List };
    let fact = |requirement: &String, subject: &Subject, statement: &Statement, row: Option<i32>| {
        Ok::<_, ApiError>(NewEvidence {
            requirement: requirement.clone(),
            subject: match subject {
                Subject::Person(of) => standings::Subject::Person(person(*of)?),
                Subject::Troop(troop) => standings::Subject::Troop(*troop),
            },
            outcome: statement.outcome,
            observed_on: statement.observed_on,
            valid_until_on: statement.valid_until_on,
            score_percent: statement.score_percent,
            source,
            list_row: Some((list, row)),
            note: None,
        })
    };
    let mut facts = Vec::new();
    for row in &made.preview.rows {
        let number = i32::try_from(row.row_number).ok();
        for change in &row.changes {
            match change {
                Change::ProposeAssignment { person: of, troop_id, lead } => {
                    let proposed = roster::propose(tx, by, season, (*troop_id, person(*of)?), *lead).await?;
                    by_list.proposals.push(proposed);
                }
                Change::RecordFact { requirement, subject, statement, .. } => {
                    facts.push(fact(requirement, subject, statement, number)?);
                }
                _ => {}
            }
        }
    }
    for absence in &made.preview.absences {
        if let Absence::Recorded { requirement, subject, statement, .. } = absence {
            facts.push(fact(requirement, subject, statement, None)?);
        }
    }
    standings::record_evidence(tx, by, season, &made.policy, &facts).await?;
    Ok((by_list, new_people))
}

async fn change_people(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    row: &RowPreview,
    change: &Change,
    new_people: &mut BTreeMap<u32, PersonId>,
    by_list: &mut MadeByList,
) -> Result<(), ApiError> {
    match change.clone() {
        Change::NewPerson { first_name, last_name, membership_number, email, phone } => {
            let person_id = PersonId::new();
            new_people.insert(row.row_number, person_id);
            let known = KnownPerson { person_id, first_name, last_name, membership_number, email, phone };
            by_list.people.push(person_id);
            by_list.note(&known);
            roster::make_known(tx, by, &known).await
        }
        Change::FillIn { person_id, field, value } => {
            let mut gap = KnownPerson {
                person_id,
                first_name: String::new(),
                last_name: String::new(),
                membership_number: None,
                email: None,
                phone: None,
            };
            match field {
                PersonField::MembershipNumber => gap.membership_number = Some(value),
                PersonField::Email => gap.email = Some(value),
                PersonField::Phone => gap.phone = Some(value),
            }
            by_list.note(&gap);
            roster::fill_in(tx, by, &gap).await
        }
        _ => Ok(()),
    }
}

/// Makes what a troop list says of troops, and notes it for the day when the list is taken back.
async fn change_troops(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    season: SeasonId,
    made: &Made,
    by_list: &mut MadeByList,
) -> Result<(), ApiError> {
    let mut new_troops: BTreeMap<u32, TroopId> = BTreeMap::new();
    for row in &made.preview.rows {
        for change in &row.changes {
            match change {
                Change::NewTroop { number, name, place } => {
                    let new = NewListedTroop { number: number.clone(), name: name.clone(), place: listed_place(place) };
                    let troop = roster::make_troop_known(tx, by, season, &new).await?;
                    new_troops.insert(row.row_number, troop);
                    by_list.troops.push(troop);
                    by_list.places.push(troop);
                }
                Change::PlaceTroop { troop_id, place } => {
                    roster::place_troop(tx, by, season, *troop_id, &listed_place(place)).await?;
                    by_list.places.push(*troop_id);
                }
                Change::ChangeTroop { troop, field, from, to } => {
                    let troop_id = match troop {
                        TroopRef::Known(troop) => *troop,
                        TroopRef::New(row) => {
                            new_troops.get(row).copied().ok_or_else(|| ApiError::broken("a change of no troop"))?
                        }
                    };
                    let (field, from, to) = (field.name().to_owned(), from.clone(), to.clone());
                    let said = DescribedTroop { troop_id, field, from, to };
                    roster::describe_troop(tx, by, season, &said).await?;
                    by_list.described.push(said);
                }
                _ => {}
            }
        }
    }
    Ok(())
}

fn listed_place(place: &SeasonPlace) -> ListedPlace {
    ListedPlace {
        age_band: place.age_band.clone(),
        selling_youths: i32::from(place.selling_youths),
        first_season: place.first_season,
    }
}
