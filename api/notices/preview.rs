//! How a message would read with the data of a troop, before anything is saved or sent.

use actix_web::post;
use chrono::{DateTime, Days, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};
use utoipa::ToSchema;

use super::told;
use crate::auth::permission::{MailChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::mail::{self, Kind, MailPath};
use crate::roster;
use crate::seasons::{self, Starts, ThisSeason};
use crate::server::run::Around;
use crate::standings::{self, AskedFor};

/// Which message, about which troop, in which words.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"kind": "missing", "language": "en", "troop_id": "0198c0de-0000-7000-8000-000000000101"}))]
pub struct MessageToPreview {
    /// What it is for.
    #[garde(skip)]
    kind: Kind,
    /// Its language: two or three small letters (ISO 639).
    #[garde(length(min = 2, max = 3))]
    #[schema(min_length = 2, max_length = 3, pattern = "^[a-z]{2,3}$")]
    language: String,
    /// A troop of this season.
    #[garde(skip)]
    troop_id: TroopId,
    /// A subject that is being tried, with a text; without them the present wording.
    #[garde(length(chars, min = 1, max = 400))]
    #[serde(default)]
    #[schema(min_length = 1, max_length = 400)]
    subject: Option<String>,
    /// A text that is being tried, with a subject.
    #[garde(length(chars, min = 1, max = 10_000))]
    #[serde(default)]
    #[schema(min_length = 1, max_length = 10000)]
    body: Option<String>,
}

/// How it would read.
#[derive(Debug, Serialize, ToSchema)]
pub struct PreviewedMessage {
    /// To whom it would go first, by name; null when nobody can be written to.
    #[schema(required = true, max_length = 200)]
    pub to_name: Option<String>,
    /// The subject.
    #[schema(max_length = 150)]
    pub subject: String,
    /// The text.
    #[schema(max_length = 40000)]
    pub text: String,
    /// The same as HTML, as a mail program shows it.
    #[schema(max_length = 200_000)]
    pub html: String,
}

/// Show how a message would read with the data of a troop. Nothing is saved or sent.
///
/// With `subject` and `body` a wording is tried before it is saved; what is wrong with it is told with its line.
#[utoipa::path(tag = "notices", params(MailPath), request_body = MessageToPreview, extensions(("x-permission" = json!(MailChange::NAME))), responses((status = 200, description = "How it would read.", body = PreviewedMessage), Problems))]
#[post("/v1/units/{unit_id}/mail-templates/preview")]
pub async fn preview_message(
    permit: Permit<MailChange>,
    around: Around,
    _path: Path<MailPath>,
    body: Json<MessageToPreview>,
) -> Result<Answer<PreviewedMessage>, ApiError> {
    let MessageToPreview { kind, language, troop_id, subject, body } = body.0;
    let tried = match (subject, body) {
        (Some(subject), Some(body)) => Some(mail::wording(kind, &language, subject, &body)?),
        (None, None) => mail::wording_language(&language).map(|()| None)?,
        (subject, _) => {
            let missing = if subject.is_some() { "/body" } else { "/subject" };
            let fault = FieldError::at(missing, "missing", "both subject and body, or neither");
            return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
        }
    };
    let (mut tx, unit, from) = (permit.tx()?, permit.unit()?, permit.person()?);
    let season = seasons::current(&mut tx, unit).await?;
    let unknown = || FieldError::at("/troop_id", "unknown", "a troop of the current season (list_troops)");
    let found = standings::one(&mut tx, unit, &season, None, troop_id).await;
    let (_, troop) = found.map_err(|error| match error.code() {
        Some(Code::NotFound) => ApiError::new(Code::UnknownReference).errors(vec![unknown()]),
        _ => error,
    })?;
    let first = told::of_troop(&mut tx, unit, &troop).await?.into_iter().next();
    let person = first.as_ref().map(|told| told.whom.to.person);
    let person = person.or_else(|| troop.standing.coordinators.first().map(|one| one.person_id));
    let to_name = match person {
        Some(person) => Some(roster::name_of(&mut tx, unit, person).await?),
        None => None,
    };
    let open = first.as_ref().map_or_else(sample, |told| told.open.clone());
    let first_name = match (&first, person) {
        (Some(told), _) => told.whom.first_name.clone(),
        (None, Some(person)) => {
            roster::addressee(&mut tx, unit, person).await?.map(|whom| whom.first_name).unwrap_or_default()
        }
        (None, None) => "Robin".to_owned(),
    };
    let about = (first_name.as_str(), troop.number.as_str());
    let mut fields = roster::about_troop(&mut tx, unit, (from, season.label.as_str()), about, &open).await?;
    fill_in(&mut tx, unit, &season, (kind, &language), &mut fields).await?;
    let shown = mail::preview(&mut tx, unit, (kind, &language), tried.as_ref(), &fields).await?;
    let html = mail::html(&shown, &around.public_url);
    Answer::new(&PreviewedMessage { to_name, subject: shown.subject, text: shown.body, html })
}

/// What stands in for a list of what is open, where nothing is.
fn sample() -> Vec<AskedFor> {
    let one = |title: &str, how: &str| AskedFor { title: title.to_owned(), how: how.to_owned() };
    vec![one("Membership", "Renew it with head office."), one("Training", "Take the course, or sign up for a session.")]
}

/// What a kind says beside what every message about a troop says.
async fn fill_in(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    (kind, language): (Kind, &str),
    fields: &mut Map<String, Value>,
) -> Result<(), ApiError> {
    match kind {
        Kind::Invitation => {
            fields.insert("link".to_owned(), json!("(here stands a link that only its reader sees)"));
            let until = tx.now().checked_add_days(Days::new(3)).unwrap_or_else(|| tx.now());
            fields.insert("link_until".to_owned(), json!(mail::instant(until.with_timezone(&season.zone), language)));
        }
        Kind::BeforeMilestone => {
            let now = tx.now();
            let today = now.with_timezone(&season.zone).date_naive();
            let (title, on) = next_milestone(tx, unit, season, now).await?.unwrap_or(("Sale opens".to_owned(), today));
            fields.insert("milestone".to_owned(), json!(title));
            fields.insert("milestone_on".to_owned(), json!(mail::day(on, language)));
            fields.insert("days_left".to_owned(), json!((on - today).num_days()));
        }
        Kind::Missing | Kind::Welcome | Kind::Suspended => {}
    }
    Ok(())
}

/// The next dated milestone of the season, for a look at a wording.
async fn next_milestone(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    now: DateTime<Utc>,
) -> Result<Option<(String, NaiveDate)>, ApiError> {
    let today = now.with_timezone(&season.zone).date_naive();
    let dated = seasons::events(tx, unit, season).await?.into_iter().map(|event| {
        let on = match event.starts {
            Starts::Day(day) => day,
            Starts::At(at) => at.with_timezone(&season.zone).date_naive(),
        };
        (event.title, on)
    });
    Ok(dated.filter(|(_, on)| *on >= today).min_by_key(|(_, on)| *on))
}
