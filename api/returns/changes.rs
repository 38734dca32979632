//! What changed since a return was filed, and whether a new one is owed.

use std::collections::BTreeSet;

use actix_web::get;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::document::ReturnDocument;
use super::find::{ReturnPath, find};
use super::now;
use super::rules::{self, Difference, What};
use super::sql;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{PersonId, ReturnId, TroopId, UnitId};
use crate::error::{ApiError, Problems};
use crate::frozen::{self, Frozen, Kind};
use crate::{seasons, standings};

/// What changed since a return was filed.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReturnChanges {
    /// The return.
    pub return_id: ReturnId,
    /// Its number.
    #[schema(minimum = 1)]
    pub number: i64,
    /// The instant at which it stands.
    pub stands_at: DateTime<Utc>,
    /// The instant with which it is compared: now.
    pub compared_at: DateTime<Utc>,
    /// The newest filed return of the season, which is this one unless another was filed after it.
    pub newest_return_id: ReturnId,
    /// Whether a new return is owed: something changed since the newest one, or head office sent it back.
    pub new_return_owed: bool,
    /// What changed since this one.
    #[schema(max_items = 5000)]
    pub changes: Vec<ReturnChange>,
}

/// One thing that changed.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReturnChange {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number.
    #[schema(max_length = 20)]
    pub troop_number: String,
    /// What changed.
    pub what: ReturnChangeKind,
    /// How it was; null for a troop that was not in the return.
    #[schema(required = true, max_length = 20000)]
    pub before: Option<String>,
    /// How it is; null for a troop that is not in the season any more.
    #[schema(required = true, max_length = 20000)]
    pub after: Option<String>,
}

/// What can change. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReturnChangeKind {
    /// A troop came or went.
    Troop,
    /// Its number or name.
    Name,
    /// Where it stands.
    Standing,
    /// Who coordinates it: their names of today (the id of somebody who was erased), the lead marked.
    Coordinators,
    /// What is open: codes of requirements, a coordinator's with the name.
    OpenRequirements,
    /// What is waived, until when, and which gates the troop passes by leave.
    Exceptions,
}

impl From<Difference> for ReturnChange {
    fn from(difference: Difference) -> Self {
        let Difference { troop_id, number, what, before, after } = difference;
        let what = match what {
            What::Troop => ReturnChangeKind::Troop,
            What::Name => ReturnChangeKind::Name,
            What::Standing => ReturnChangeKind::Standing,
            What::Coordinators => ReturnChangeKind::Coordinators,
            What::OpenRequirements => ReturnChangeKind::OpenRequirements,
            What::Exceptions => ReturnChangeKind::Exceptions,
        };
        Self { troop_id, troop_number: number, what, before, after }
    }
}

/// What changed from a filed return to the unit as it stands.
pub(super) fn since(frozen: &Frozen, present: &ReturnDocument) -> Result<Vec<ReturnChange>, ApiError> {
    let before: ReturnDocument = serde_json::from_str(&frozen.figures).map_err(|error| ApiError::internal(&error))?;
    Ok(rules::differences(&before, present).into_iter().map(ReturnChange::from).collect())
}

/// The changes with people's names of today in place of their ids. Two returns are compared by id, so that a comparison
/// outlives the names in them; who reads it wants names.
pub(super) async fn named(
    tx: &mut Tx,
    unit: UnitId,
    changes: Vec<ReturnChange>,
    frozen: &Frozen,
    present: &ReturnDocument,
) -> Result<Vec<ReturnChange>, ApiError> {
    let before: ReturnDocument = serde_json::from_str(&frozen.figures).map_err(|error| ApiError::internal(&error))?;
    let troops = before.troops.iter().chain(&present.troops);
    let people: BTreeSet<PersonId> = troops.flat_map(|troop| &troop.coordinators).map(|one| one.person_id).collect();
    let people: Vec<PersonId> = people.into_iter().collect();
    let names = standings::names(tx, unit, &people).await?;
    let say = |text: Option<String>| {
        text.map(|text| names.iter().fold(text, |text, (person, name)| text.replace(&person.to_string(), name)))
    };
    let told = changes.into_iter();
    Ok(told.map(|one| ReturnChange { before: say(one.before), after: say(one.after), ..one }).collect())
}

/// Whether head office sent a return back, the last time it was sent.
pub(super) async fn sent_back(tx: &mut Tx, unit: UnitId, frozen: &Frozen) -> Result<bool, ApiError> {
    let newest = sql::newest(tx, unit, &[frozen.document_id]).await?.pop();
    Ok(newest.is_some_and(|sending| sending.answer.as_deref() == Some("sent_back")))
}

/// Say what changed since a return was filed, and whether a new one is owed.
#[utoipa::path(tag = "returns", params(ReturnPath), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "What changed.", body = ReturnChanges), Problems))]
#[get("/v1/units/{unit_id}/returns/{return_id}/changes")]
pub async fn list_return_changes(
    permit: Permit<ReturnsRead>,
    path: Path<ReturnPath>,
) -> Result<Answer<ReturnChanges>, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let frozen = find(&mut tx, unit, path.return_id).await?;
    let season = seasons::resolve(&mut tx, unit, Some(frozen.season)).await?;
    let present = now::document(&mut tx, unit, &season, None).await?;
    let changes = named(&mut tx, unit, since(&frozen, &present)?, &frozen, &present).await?;
    let newest = frozen::list(&mut tx, unit, (Kind::SeasonReturn, frozen.season), None, 1).await?.pop();
    let newest = newest.unwrap_or_else(|| frozen.clone());
    let shown = ReturnChanges {
        return_id: path.return_id,
        number: frozen.number,
        stands_at: frozen.stands_at,
        compared_at: present.stands_at,
        newest_return_id: ReturnId(newest.document_id),
        new_return_owed: !since(&newest, &present)?.is_empty() || sent_back(&mut tx, unit, &newest).await?,
        changes,
    };
    Ok(Answer::new(&shown)?.tag_without(&["compared_at"]))
}
