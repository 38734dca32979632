//! Telling a coordinator what was decided.

use std::collections::BTreeSet;

use crate::auth::permission::DecisionsTake;
use crate::auth::{Permit, Tx};
use crate::common::ids::{MessageId, PersonId};
use crate::error::ApiError;
use crate::mail::{self, Kind, NewMessage};
use crate::roster;
use crate::seasons::ThisSeason;
use crate::server::run::Surroundings;
use crate::standings::rules::DecisionKind;
use crate::standings::{self, TroopThen};

/// Writes a welcome or a suspension; other decisions are told by whoever takes them.
///
/// # Errors
/// Database faults.
pub(super) async fn tell(
    tx: &mut Tx,
    around: &Surroundings,
    by: &Permit<DecisionsTake>,
    season: &ThisSeason,
    (kind, person, troop): (DecisionKind, PersonId, &TroopThen),
) -> Result<Option<MessageId>, ApiError> {
    let message = match kind {
        DecisionKind::Appoint => Kind::Welcome,
        DecisionKind::Suspend => Kind::Suspended,
        _ => return Ok(None),
    };
    let unit = by.unit()?;
    let Some(whom) = roster::addressee(tx, unit, person).await? else { return Ok(None) };
    let open = standings::asked_of(&troop.standing, &BTreeSet::from([person]), false);
    let (from, about) = ((by.person()?, season.label.as_str()), (whom.first_name.as_str(), troop.number.as_str()));
    let fields = roster::about_troop(tx, unit, from, about, &open).await?;
    let new = NewMessage { kind: message, to: whom.to, troop: Some(troop.troop_id), fields, link: None };
    let written = mail::write(tx, unit, around, new).await?;
    Ok(Some(written.message_id))
}
