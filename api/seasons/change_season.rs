//! Change a season, or make it the current one.

use actix_web::patch;
use chrono::NaiveDate;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::create_season::apart;
use super::find_season::{Season, SeasonPath};
use super::load::open;
use super::rules;
use super::sql::{self, SeasonRow};
use crate::auth::permission::{Permission as _, SeasonsChange};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::IfMatch;
use crate::common::text::{self, not_null};
use crate::error::{ApiError, Code, FieldError, Problems};

/// What to change of a season; a field that is left out stays.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"label": "Spring season"}))]
pub struct SeasonChange {
    /// What people call it.
    #[garde(inner(length(chars, min = 1, max = 80), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 1, max_length = 80)]
    label: Patch<String>,
    /// The IANA time zone in which its days and hours are meant. Every deadline moves with it.
    #[garde(inner(length(min = 1, max = 60)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 1, max_length = 60)]
    time_zone: Patch<String>,
    /// Its first day. Once it has come, only an earlier one: what was recorded since would fall outside.
    #[garde(inner(custom(text::day)))]
    #[serde(default)]
    #[schema(value_type = NaiveDate, required = false)]
    starts_on: Patch<NaiveDate>,
    /// Its last day.
    #[garde(inner(custom(text::day)))]
    #[serde(default)]
    #[schema(value_type = NaiveDate, required = false)]
    ends_on: Patch<NaiveDate>,
    /// True makes it the current season instead of the present one; false is refused, since a unit has a current one.
    #[garde(skip)]
    #[serde(default)]
    #[schema(value_type = bool, required = false)]
    is_current: Patch<bool>,
    /// True says that it is meant to share days with another season of the unit.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    overlaps: bool,
}

impl SeasonChange {
    fn faults(&self) -> Vec<FieldError> {
        let one_current = FieldError::at("/is_current", "another_first", "true; make another season current instead");
        let faults = [
            not_null("/label", &self.label),
            not_null("/time_zone", &self.time_zone),
            not_null("/starts_on", &self.starts_on),
            not_null("/ends_on", &self.ends_on),
            not_null("/is_current", &self.is_current),
            self.time_zone.value().and_then(|name| rules::zone_fault(name)),
            Some(one_current).filter(|_| self.is_current.value() == Some(&false)),
        ];
        faults.into_iter().flatten().collect()
    }

    fn apply(&self, row: &mut SeasonRow) {
        if let Some(label) = self.label.value() {
            label.trim().clone_into(&mut row.label);
        }
        if let Some(zone) = self.time_zone.value() {
            row.time_zone.clone_from(zone);
        }
        row.starts_on = self.starts_on.value().copied().unwrap_or(row.starts_on);
        row.ends_on = self.ends_on.value().copied().unwrap_or(row.ends_on);
        row.is_current |= self.is_current.value() == Some(&true);
    }

    /// The names of the fields that were sent, for the log.
    fn fields(&self) -> impl Iterator<Item = &'static str> {
        [
            (self.label != Patch::Leave, "label"),
            (self.time_zone != Patch::Leave, "time_zone"),
            (self.starts_on != Patch::Leave, "starts_on"),
            (self.ends_on != Patch::Leave, "ends_on"),
            (self.is_current != Patch::Leave, "is_current"),
        ]
        .into_iter()
        .filter_map(|(sent, name)| sent.then_some(name))
    }
}

/// Change a season, or make it the current one.
///
/// A new time zone or first day moves what counts when: every troop's standing is computed anew.
#[utoipa::path(tag = "seasons", params(SeasonPath), request_body = SeasonChange, extensions(("x-permission" = json!(SeasonsChange::NAME))), responses((status = 200, description = "The season as it is now.", body = Season), Problems))]
#[patch("/v1/units/{unit_id}/seasons/{season_id}")]
pub async fn change_season(
    permit: Permit<SeasonsChange>,
    path: Path<SeasonPath>,
    body: Json<SeasonChange>,
    if_match: IfMatch,
) -> Result<Answer<Season>, ApiError> {
    let sent = body.0;
    let faults = sent.faults();
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let seasons = sql::lock_all(&mut tx, &permit).await?;
    let mut row = seasons.iter().find(|row| row.season_id == path.season_id.0).cloned().ok_or(Code::NotFound)?;
    if_match.require(row.version)?;
    open(row.closed_at)?;
    let before = (rules::zone(&row.time_zone), row.starts_on);
    sent.apply(&mut row);
    let begun = rules::begun_fault(before, row.starts_on, permit.now());
    if let Some(fault) = rules::days_fault(row.starts_on, row.ends_on).or(begun) {
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    let moves = sent.starts_on != Patch::Leave || sent.ends_on != Patch::Leave;
    if moves && !sent.overlaps {
        let others = seasons.iter().filter(|other| other.season_id != row.season_id);
        let others = others.map(|other| (&*other.label, other.starts_on, other.ends_on));
        apart(rules::shared_days((row.starts_on, row.ends_on), others))?;
    }
    let touched = Touched::season(path.season_id);
    change::hold(&mut tx, unit, &touched).await?;
    let log_seq = tx.seq().await?;
    step_back(&mut tx, &permit, &seasons, &row, log_seq).await?;
    sql::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    tx.about("season", path.season_id);
    sent.fields().for_each(|field| tx.about("field", field));
    change::refresh(&mut tx, unit, &touched).await?;
    let version = row.version;
    tx.commit_with(Answer::new(&Season::from(row))?.version(version)).await
}

/// The season that was current before steps back first: there is never more than one.
async fn step_back(
    tx: &mut Tx,
    permit: &Permit<SeasonsChange>,
    seasons: &[SeasonRow],
    now_current: &SeasonRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    if !now_current.is_current {
        return Ok(());
    }
    for former in seasons.iter().filter(|row| row.is_current && row.season_id != now_current.season_id) {
        sql::update(tx, permit, &SeasonRow { is_current: false, ..former.clone() }, log_seq).await?;
        tx.about("season", former.season_id);
    }
    Ok(())
}
