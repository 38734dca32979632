//! Let one troop through a closed gate, or propose it.

use actix_web::post;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::outlived::Look;
use super::rules::{self, Course};
use super::{ExceptionState, invalid};
use crate::auth::permission::{OverridesGive, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{OverrideId, SeasonId, TroopId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;
use crate::seasons::calendar::Calendar;
use crate::seasons::policy::GateName;
use crate::standings::list::StandingsPath;
use crate::standings::load::gate_named;
use crate::standings::rules::{GateStanding, TroopState};
use crate::standings::sql::exceptions::{self, OverrideRow};
use crate::standings::{has_troop, read};

/// A gate that one troop is to pass all the same.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"gate": "order", "troop_id": "0198c0de-0000-7000-8000-000000000031", "reason": "Head office has agreed on the phone."}))]
pub struct NewOverride {
    /// The gate.
    #[garde(skip)]
    gate: GateName,
    /// The troop, and no other.
    #[garde(skip)]
    troop_id: TroopId,
    /// Why, for whoever asks later. Only the unit manager and the overseer read it.
    #[garde(length(chars, min = 1, max = 400), custom(text::line))]
    #[schema(min_length = 1, max_length = 400)]
    reason: String,
    /// Its last day: today or later, within the season; leave it out for the season's last day. It ends by itself at the
    /// end of that day.
    #[garde(inner(custom(text::day)))]
    until_on: Option<NaiveDate>,
}

/// An override of a gate for one troop. It ends.
#[derive(Debug, Serialize, ToSchema)]
pub struct GateOverride {
    /// Which one.
    pub override_id: OverrideId,
    /// Its season.
    pub season_id: SeasonId,
    /// The gate.
    pub gate: GateName,
    /// The troop.
    pub troop_id: TroopId,
    /// Why.
    #[schema(max_length = 400)]
    pub reason: String,
    /// Its last day.
    pub until_on: NaiveDate,
    /// How far it has come.
    pub state: ExceptionState,
    /// Whether two people were needed: then it also reaches rules that one person may not override.
    pub needs_two_people: bool,
    /// When it was asked for.
    pub asked_at: DateTime<Utc>,
    /// By whom, as the log names them.
    #[schema(max_length = 60)]
    pub asked_by: String,
    /// From when it is in force; null while it waits for a second person.
    #[schema(required = true)]
    pub granted_at: Option<DateTime<Utc>>,
    /// Whose word made it so, as the log names them; null while it waits.
    #[schema(required = true, max_length = 60)]
    pub granted_by: Option<String>,
    /// When it was taken back; null when it was not.
    #[schema(required = true)]
    pub taken_back_at: Option<DateTime<Utc>>,
    /// From when on it does not reach any more, before its last day: a rule of the policy begins then that takes two people,
    /// or that nobody may override. Null when it reaches to its end.
    #[schema(required = true)]
    pub not_enough_from_at: Option<DateTime<Utc>>,
    /// Whether somebody else coordinates the troop now than when it came into force.
    pub coordinator_changed: bool,
    /// What of it to look at twice, in plain words; null where there is nothing to say.
    #[schema(required = true, max_length = 800)]
    pub caution: Option<String>,
}

impl GateOverride {
    pub(super) fn new(
        row: OverrideRow,
        state: ExceptionState,
        (not_enough_from_at, coordinator_changed, caution): (Option<DateTime<Utc>>, bool, Option<String>),
    ) -> Result<Self, ApiError> {
        Ok(Self {
            state,
            not_enough_from_at,
            coordinator_changed,
            caution,
            override_id: OverrideId(row.override_id),
            season_id: SeasonId(row.season_id),
            gate: gate_named(&row.gate)?,
            troop_id: TroopId(row.troop_id),
            reason: row.reason,
            until_on: row.until_on,
            needs_two_people: row.needs_two,
            asked_at: row.asked_at,
            asked_by: row.asked_by,
            granted_at: row.granted_at,
            granted_by: row.granted_by,
            taken_back_at: row.revoked_at,
        })
    }
}

pub(super) fn course(row: &OverrideRow) -> Course {
    Course { until_on: row.until_on, granted_at: row.granted_at, revoked_at: row.revoked_at }
}

/// Whom an override touches.
pub(super) fn touched(row: &OverrideRow) -> Touched {
    Touched::some(SeasonId(row.season_id), vec![], vec![TroopId(row.troop_id)])
}

/// Let one troop through a gate that something holds shut, until a day.
///
/// The policy's rules say who may: nobody (refused, naming what must be met), the unit manager (in force at once), or
/// two people (it waits until a second person agrees, `approve_override`). It can be given ahead of a milestone that
/// will close the gate; the answer says from when on it is not enough. The gate's answer shows what is let through, by which override and until when.
#[utoipa::path(tag = "standings", params(StandingsPath), request_body = NewOverride, extensions(("x-permission" = json!(OverridesGive::NAME))), responses((status = 201, description = "The override, in force or waiting.", body = GateOverride), Problems))]
#[post("/v1/units/{unit_id}/overrides")]
pub async fn override_gate(
    permit: Permit<OverridesGive>,
    _path: Path<StandingsPath>,
    body: Json<NewOverride>,
) -> Result<Created<GateOverride>, ApiError> {
    let NewOverride { gate, troop_id, reason, until_on } = body.0;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let season = seasons::hold_current(&mut tx, unit).await?;
    let touched = Touched::some(season.season_id, vec![], vec![troop_id]);
    change::hold(&mut tx, unit, &touched).await?;
    let known = has_troop(&mut tx, unit, season.season_id, troop_id).await? && permit.scope().reaches(troop_id);
    if !known {
        let fault = FieldError::at("/troop_id", "unknown", "a troop of this season");
        return Err(ApiError::new(Code::UnknownReference).errors(vec![fault]));
    }
    tx.replay().await?;
    season.open()?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    let until_on = until_on.unwrap_or(season.ends_on);
    invalid(rules::until_fault(until_on, calendar.date(tx.now()), season.ends_on).into_iter().collect())?;
    let (_, found) = read::one(&mut tx, unit, &season, None, troop_id).await?;
    if found.standing.state == TroopState::SittingOut {
        let detail = "The troop sits out this season, so there is nothing to let it through to. Let it rejoin first (rejoin_troop).";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let standing = found.standing.gates.into_iter().find(|one| one.gate == gate);
    let standing = standing.ok_or_else(|| ApiError::broken("a standing without a gate"))?;
    let before = exceptions::overrides(&mut tx, unit, season.season_id, Some(troop_id.0)).await?;
    refuse_second(&before, &standing, &calendar, tx.now())?;
    let needs_two = rules::override_needs_two(&standing, &calendar)?;
    let log_seq = tx.seq().await?;
    let asked_at = tx.logged_at();
    let asked_by = tx.actor().to_owned();
    let row = OverrideRow {
        override_id: OverrideId::new().0,
        season_id: season.season_id.0,
        troop_id: troop_id.0,
        gate: gate.name().to_owned(),
        reason: reason.trim().to_owned(),
        until_on,
        needs_two,
        asked_at,
        granted_at: (!needs_two).then_some(asked_at),
        granted_by: (!needs_two).then(|| asked_by.clone()),
        asked_by,
        revoked_at: None,
        log_seq,
    };
    exceptions::insert_override(&mut tx, &permit, &row, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    about(&mut tx, &row);
    let address = format!("/v1/units/{unit}/overrides/{}", row.override_id);
    let look = Look::at(&mut tx, unit, &season, std::slice::from_ref(&row), asked_at).await?;
    tx.commit_with(Created::new(&look.show(row)?)?.location(address)).await
}

/// Names in the log what an override is about.
pub(super) fn about(tx: &mut Tx, row: &OverrideRow) {
    tx.about("override", row.override_id);
    tx.about("troop", row.troop_id);
}

/// One at a time for a gate, unless the one in force does not reach far enough any more.
fn refuse_second(
    before: &[OverrideRow],
    gate: &GateStanding,
    calendar: &Calendar,
    at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let of_gate = before.iter().filter(|row| row.gate == gate.gate.name());
    let live = of_gate.clone().find_map(|row| match rules::state(course(row), calendar, at) {
        ExceptionState::Waiting => Some(("waits for a second person", row)),
        ExceptionState::InForce if gate.open => Some(("is in force", row)),
        _ => None,
    });
    let Some((how, row)) = live else { return Ok(()) };
    let detail = format!(
        "An override of this gate {how}, until {}. End that one first (end_override) if it should be another.",
        row.until_on
    );
    Err(ApiError::new(Code::WrongState).detail(detail))
}
