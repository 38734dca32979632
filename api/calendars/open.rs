//! The calendar itself, for whatever program has its address.

use actix_web::get;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::{ics, sql};
use crate::auth::{Public, Scope, Tx, token};
use crate::common::answer::File;
use crate::common::body::Path;
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons::policy::{Policy, RequirementKind};
use crate::seasons::{self, DatedEvent, Starts, ThisSeason};
use crate::server::run::Around;
use crate::{standings, units};

/// The secret of the address: which unit, and thirty-two bytes by chance.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct SecretPath {
    /// What stands last in the address.
    #[param(min_length = 64, max_length = 64, pattern = "^[A-Za-z0-9_-]{64}$")]
    secret: String,
}

/// How long a secret is, as bytes: the unit's id before what is secret.
const UNIT_BYTES: usize = 16;

/// A new secret, and the digest that is kept of it.
pub(super) fn new_secret(unit: UnitId) -> (String, Vec<u8>) {
    let secret = [unit.0.as_bytes().as_slice(), &token::chance::<32>()].concat();
    let secret = URL_SAFE_NO_PAD.encode(secret);
    let digest = token::digest(&secret);
    (secret, digest)
}

/// The unit that a secret names.
fn unit_of(secret: &str) -> Option<UnitId> {
    let bytes = URL_SAFE_NO_PAD.decode(secret).ok().filter(|bytes| bytes.len() == UNIT_BYTES + 32)?;
    Some(UnitId(Uuid::from_slice(bytes.get(..UNIT_BYTES)?).ok()?))
}

/// Read a calendar (RFC 5545) by its secret address: the season's dates, and when something of one's own stops holding.
///
/// For calendar programs, which send no sign-in. An address that was ended or replaced, or whose owner has no place in the
/// unit any more, is not found. Dates that were taken away are marked as cancelled.
#[utoipa::path(tag = "calendars", params(SecretPath), extensions(("x-permission" = json!("public"))), responses((status = 200, description = "The calendar.", body = String, content_type = "text/calendar"), Problems))]
#[get("/calendar/{secret}")]
pub async fn open_calendar(_public: Public, around: Around, path: Path<SecretPath>) -> Result<File, ApiError> {
    let unit = unit_of(&path.secret).ok_or(Code::NotFound)?;
    let mut tx = around.system.open(Some(unit), "open_calendar").await?;
    let holder = sql::holder(&mut tx, unit, &token::digest(&path.secret)).await?;
    let (person, troops) = holder.ok_or(Code::NotFound)?;
    let name = units::name(&mut tx, unit).await?.unwrap_or_default();
    let Ok(season) = seasons::current(&mut tx, unit).await else {
        return Ok(File::page(TYPE, ics::written(&name, &[])));
    };
    let mut events = seasons::events(&mut tx, unit, &season).await?;
    events.extend(own(&mut tx, unit, &season, (person, troops)).await?);
    Ok(File::page(TYPE, ics::written(&format!("{name}, {}", season.label), &events)))
}

const TYPE: &str = "text/calendar; charset=utf-8";

/// When something of one's own stops holding before a milestone. Nothing of a screening: a calendar is read by others.
async fn own(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    (person, troops): (PersonId, Vec<TroopId>),
) -> Result<Vec<DatedEvent>, ApiError> {
    if troops.is_empty() {
        return Ok(Vec::new());
    }
    let policy = seasons::policy_of(tx, unit, season.season_id).await?;
    let then = standings::all(tx, unit, season, None, &Scope::Troops(troops)).await?;
    let lapses =
        then.troops.iter().flat_map(|troop| &troop.standing.lapses).filter(|lapse| lapse.person_id == Some(person));
    let mut events: Vec<DatedEvent> =
        lapses.filter_map(|lapse| ending(&policy, season, person, (&lapse.requirement, lapse.lapses_at))).collect();
    events.sort_by(|one, other| one.uid.cmp(&other.uid));
    events.dedup();
    Ok(events)
}

fn ending(
    policy: &Policy,
    season: &ThisSeason,
    person: PersonId,
    (requirement, at): (&str, DateTime<Utc>),
) -> Option<DatedEvent> {
    let asked = policy.requirements.iter().find(|asked| asked.code == requirement)?;
    if asked.kind == RequirementKind::Screening {
        return None;
    }
    // What holds to the end of a day stops at the first instant of the next: the last day is shown.
    let last = (at - TimeDelta::seconds(1)).with_timezone(&season.zone).date_naive();
    Some(DatedEvent {
        // Another end is another entry, so that none needs to know how often it was moved.
        uid: format!("{person}-{requirement}-{last}"),
        title: format!("Last day: {}", asked.title),
        starts: Starts::Day(last),
        note: "Renew it before then, and tell your unit manager.".to_owned(),
        sequence: 0,
        changed_at: DateTime::<Utc>::UNIX_EPOCH,
        cancelled: false,
    })
}
