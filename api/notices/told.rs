//! Who is told what about a troop.

use std::collections::BTreeSet;

use crate::auth::Tx;
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;
use crate::roster::{self, Addressee};
use crate::standings::{self, AskedFor, TroopThen};

/// Somebody, and what they are asked for.
#[derive(Clone, Debug)]
pub(super) struct Told {
    /// Whom.
    pub whom: Addressee,
    /// What is open of theirs and of the troop.
    pub open: Vec<AskedFor>,
}

/// Whoever can close something of a troop now, with what it is: its coordinators, or its contacts while it has none.
///
/// # Errors
/// Database faults.
pub(super) async fn of_troop(tx: &mut Tx, unit: UnitId, troop: &TroopThen) -> Result<Vec<Told>, ApiError> {
    let coordinators: Vec<PersonId> = troop.standing.coordinators.iter().map(|one| one.person_id).collect();
    let vacant = coordinators.is_empty();
    let people = if vacant { roster::contacts_of(tx, unit, troop.troop_id).await? } else { coordinators };
    let mut told = Vec::new();
    for person in people {
        let mut open = standings::asked_of(&troop.standing, &BTreeSet::from([person]), true);
        if vacant {
            open.insert(
                0,
                AskedFor {
                    title: "A coordinator for the troop".to_owned(),
                    how: "nobody coordinates it now; tell the unit manager who could.".to_owned(),
                },
            );
        }
        if let Some(whom) = roster::addressee(tx, unit, person).await?.filter(|_| !open.is_empty()) {
            told.push(Told { whom, open });
        }
    }
    Ok(told)
}
