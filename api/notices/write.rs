//! Write to whoever can close what is open of a troop.

use actix_web::post;
use chrono::{NaiveTime, TimeZone as _};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::told;
use crate::auth::Permit;
use crate::auth::permission::{MessagesSend, Permission as _};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{MessageId, PersonId, TroopId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::mail::{self, Kind, MailPath, NewMessage};
use crate::roster;
use crate::seasons;
use crate::server::run::Around;
use crate::standings;

/// About which troop.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"troop_id": "0198c0de-0000-7000-8000-000000000101"}))]
pub struct TroopToWriteTo {
    /// A troop of this season.
    #[garde(skip)]
    troop_id: TroopId,
}

/// A message that was written.
#[derive(Debug, Serialize, ToSchema)]
pub struct WrittenMessage {
    /// Which one (`find_message`).
    pub message_id: MessageId,
    /// To whom.
    pub person_id: PersonId,
    /// Whether it leaves by itself; otherwise it waits as a draft.
    pub goes: bool,
    /// How many things it names.
    #[schema(minimum = 1, maximum = 1000)]
    pub how_many: usize,
}

/// The messages that were written.
#[derive(Debug, Serialize, ToSchema)]
pub struct WrittenMessages {
    /// One for each person.
    #[schema(min_items = 1, max_items = 100)]
    pub items: Vec<WrittenMessage>,
}

/// Write to a troop's coordinators what is missing and can be done now; to its contacts, while nobody coordinates it.
///
/// Each gets one message with their own matters and the troop's. Nobody gets two of these on one day: who was written to today
/// already is left out, and if that leaves nobody, it is refused.
#[utoipa::path(tag = "notices", params(MailPath), request_body = TroopToWriteTo, extensions(("x-permission" = json!(MessagesSend::NAME))), responses((status = 201, description = "What was written.", body = WrittenMessages), Problems))]
#[post("/v1/units/{unit_id}/messages")]
pub async fn write_messages(
    permit: Permit<MessagesSend>,
    around: Around,
    _path: Path<MailPath>,
    body: Json<TroopToWriteTo>,
) -> Result<Created<WrittenMessages>, ApiError> {
    let (mut tx, unit, from) = (permit.tx()?, permit.unit()?, permit.person()?);
    tx.replay_required().await?;
    let current = seasons::current(&mut tx, unit).await?;
    let season = seasons::guard_open(&mut tx, unit, current.season_id).await?;
    let troop_id = body.0.troop_id;
    let unknown = || FieldError::at("/troop_id", "unknown", "a troop of the current season (list_troops)");
    let found = standings::one(&mut tx, unit, &season, None, troop_id).await;
    let (_, troop) = found.map_err(|error| match error.code() {
        Some(Code::NotFound) => ApiError::new(Code::UnknownReference).errors(vec![unknown()]),
        _ => error,
    })?;
    let told = told::of_troop(&mut tx, unit, &troop).await?;
    if told.is_empty() {
        return Err(ApiError::new(Code::WrongState).detail("Nothing of this troop is open that somebody with a place in it could do now (find_standing says what is, and who can close it)."));
    }
    // Two at once must not both be the first of the day.
    tx.seq().await?;
    let today = tx.now().with_timezone(&season.zone).date_naive().and_time(NaiveTime::MIN);
    let since = season.zone.from_local_datetime(&today).earliest().map_or_else(|| tx.now(), |at| at.to_utc());
    let mut items = Vec::new();
    for one in told {
        let person = one.whom.to.person;
        if mail::written_since(&mut tx, unit, (person, Kind::Missing), since).await? {
            continue;
        }
        let about = (one.whom.first_name.as_str(), troop.number.as_str());
        let fields = roster::about_troop(&mut tx, unit, (from, season.label.as_str()), about, &one.open).await?;
        let new = NewMessage { kind: Kind::Missing, to: one.whom.to, troop: Some(troop_id), fields, link: None };
        let written = mail::write(&mut tx, unit, &around, new).await?;
        let (message_id, goes, how_many) = (written.message_id, written.goes, one.open.len());
        items.push(WrittenMessage { message_id, person_id: person, goes, how_many });
    }
    if items.is_empty() {
        return Err(ApiError::new(Code::WrongState).detail("Everybody who could do something for this troop was written to today already. Call them, or write tomorrow."));
    }
    tx.about("troop", troop_id);
    let address = format!("/v1/units/{unit}/messages?troop={troop_id}");
    tx.commit_with(Created::new(&WrittenMessages { items })?.location(address)).await
}
