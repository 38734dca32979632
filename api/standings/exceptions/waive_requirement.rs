//! Waive a requirement, or propose it.

use actix_web::post;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::rules::{self, Course};
use super::{ExceptionState, invalid};
use crate::auth::permission::{Permission as _, WaiversGive};
use crate::auth::{Permit, Scope, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId, WaiverId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons::calendar::Calendar;
use crate::seasons::{self, ThisSeason};
use crate::standings::list::StandingsPath;
use crate::standings::read;
use crate::standings::rules::{RequirementStanding, Standing};
use crate::standings::sql::exceptions::{self, WaiverRow};
use crate::standings::{Subject, has_troop, troops_of_person};

/// A requirement to be let go for a time.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"requirement": "agreement", "person_id": "0198c0de-0000-7000-8000-000000000021", "reason": "The signed copy is in the post."}))]
pub struct NewWaiver {
    /// The code of the requirement.
    #[garde(length(min = 1, max = 40))]
    #[schema(min_length = 1, max_length = 40)]
    requirement: String,
    /// The coordinator for whom; leave it out for a requirement of the troop.
    #[garde(skip)]
    person_id: Option<PersonId>,
    /// The troop for which; leave it out for a requirement of a coordinator.
    #[garde(skip)]
    troop_id: Option<TroopId>,
    /// Why, for whoever asks later. Only the unit manager and the overseer read it.
    #[garde(length(chars, min = 1, max = 400), custom(text::line))]
    #[schema(min_length = 1, max_length = 400)]
    reason: String,
    /// Its last day: today or later, within the season; leave it out for the season's last day. It ends by itself at the
    /// end of that day.
    #[garde(inner(custom(text::day)))]
    until_on: Option<NaiveDate>,
}

/// A waiver. It never reads as met, and it ends.
#[derive(Debug, Serialize, ToSchema)]
pub struct Waiver {
    /// Which one.
    pub waiver_id: WaiverId,
    /// Its season.
    pub season_id: SeasonId,
    /// The code of the requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// The coordinator for whom; null for a troop's.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// The troop for which; null for a coordinator's.
    #[schema(required = true)]
    pub troop_id: Option<TroopId>,
    /// Why.
    #[schema(max_length = 400)]
    pub reason: String,
    /// Its last day.
    pub until_on: NaiveDate,
    /// How far it has come.
    pub state: ExceptionState,
    /// Whether the policy asked for two people when it was asked for.
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
}

impl Waiver {
    pub(super) fn new(row: WaiverRow, calendar: &Calendar, at: DateTime<Utc>) -> Self {
        let state = rules::state(course(&row), calendar, at);
        Self {
            waiver_id: WaiverId(row.waiver_id),
            season_id: SeasonId(row.season_id),
            requirement: row.requirement,
            person_id: row.person_id.map(PersonId),
            troop_id: row.troop_id.map(TroopId),
            reason: row.reason,
            until_on: row.until_on,
            state,
            needs_two_people: row.needs_two,
            asked_at: row.asked_at,
            asked_by: row.asked_by,
            granted_at: row.granted_at,
            granted_by: row.granted_by,
            taken_back_at: row.revoked_at,
        }
    }
}

pub(super) fn course(row: &WaiverRow) -> Course {
    Course { until_on: row.until_on, granted_at: row.granted_at, revoked_at: row.revoked_at }
}

/// Whom a waiver touches.
pub(super) fn touched(row: &WaiverRow) -> Touched {
    let people = row.person_id.map(PersonId).into_iter().collect();
    let troops = row.troop_id.map(TroopId).into_iter().collect();
    Touched::some(SeasonId(row.season_id), people, troops)
}

/// Waive a requirement for a coordinator or a troop, until a day.
///
/// The policy says who may: nobody (refused), the unit manager (in force at once), or two people (it waits until a
/// second person agrees, `approve_waiver`). A waiver never reads as met; it ends by itself with its last day.
#[utoipa::path(tag = "standings", params(StandingsPath), request_body = NewWaiver, extensions(("x-permission" = json!(WaiversGive::NAME))), responses((status = 201, description = "The waiver, in force or waiting.", body = Waiver), Problems))]
#[post("/v1/units/{unit_id}/waivers")]
pub async fn waive_requirement(
    permit: Permit<WaiversGive>,
    _path: Path<StandingsPath>,
    body: Json<NewWaiver>,
) -> Result<Created<Waiver>, ApiError> {
    let new = body.0;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let subject = subject(&new)?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    let (person, troop) = (new.person_id.map(|id| id.0), new.troop_id.map(|id| id.0));
    let mut row = waiting(new, &season, person, troop);
    let touched = touched(&row);
    change::hold(&mut tx, unit, &touched).await?;
    in_season(&mut tx, &permit, season.season_id, subject).await?;
    tx.replay().await?;
    season.open()?;
    let policy = seasons::policy_of(&mut tx, unit, season.season_id).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    let faults = [
        rules::requirement_fault(&policy, &row.requirement, person.is_some()),
        rules::until_fault(row.until_on, calendar.date(tx.now()), season.ends_on),
    ];
    invalid(faults.into_iter().flatten().collect())?;
    row.needs_two = rules::waiver_needs_two(&policy, &row.requirement)?;
    if let Some(standing) = standing_of(&mut tx, unit, &season, &row).await? {
        rules::nothing_to_waive(&standing, row.until_on)?;
    }
    let before = exceptions::waivers_of(&mut tx, unit, season.season_id, &row).await?;
    refuse_second(&before, &calendar, tx.now())?;
    let log_seq = tx.seq().await?;
    row.asked_at = tx.logged_at();
    tx.actor().clone_into(&mut row.asked_by);
    if !row.needs_two {
        row.granted_at = Some(row.asked_at);
        row.granted_by = Some(row.asked_by.clone());
    }
    exceptions::insert_waiver(&mut tx, &permit, &row, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    about(&mut tx, &row);
    let address = format!("/v1/units/{unit}/waivers/{}", row.waiver_id);
    let at = tx.logged_at();
    tx.commit_with(Created::new(&Waiver::new(row, &calendar, at))?.location(address)).await
}

/// Names in the log what a waiver is about.
pub(super) fn about(tx: &mut Tx, row: &WaiverRow) {
    tx.about("waiver", row.waiver_id);
    if let Some(person) = row.person_id {
        tx.about("person", person);
    }
    if let Some(troop) = row.troop_id {
        tx.about("troop", troop);
    }
}

fn subject(new: &NewWaiver) -> Result<Subject, ApiError> {
    match (new.person_id, new.troop_id) {
        (Some(person), None) => Ok(Subject::Person(person)),
        (None, Some(troop)) => Ok(Subject::Troop(troop)),
        _ => {
            let fault = FieldError::at("/person_id", "one_subject", "Send either person_id or troop_id.");
            Err(ApiError::new(Code::Invalid).errors(vec![fault]))
        }
    }
}

fn waiting(new: NewWaiver, season: &ThisSeason, person_id: Option<Uuid>, troop_id: Option<Uuid>) -> WaiverRow {
    WaiverRow {
        waiver_id: WaiverId::new().0,
        season_id: season.season_id.0,
        requirement: new.requirement,
        person_id,
        troop_id,
        reason: new.reason.trim().to_owned(),
        until_on: new.until_on.unwrap_or(season.ends_on),
        needs_two: false,
        asked_at: DateTime::UNIX_EPOCH,
        asked_by: String::new(),
        granted_at: None,
        granted_by: None,
        revoked_at: None,
        log_seq: 0,
    }
}

/// Holds a subject to the season: a troop of it, or somebody who coordinates one.
async fn in_season(
    tx: &mut Tx,
    permit: &Permit<WaiversGive>,
    season: SeasonId,
    subject: Subject,
) -> Result<(), ApiError> {
    let unit = permit.unit()?;
    let (key, detail, known) = match subject {
        Subject::Person(person) => {
            let troops = troops_of_person(tx, unit, season, person).await?;
            let seen = troops.iter().any(|troop| permit.scope().reaches(*troop));
            ("/person_id", "somebody who coordinates a troop in this season", seen)
        }
        Subject::Troop(troop) => {
            let seen = has_troop(tx, unit, season, troop).await? && permit.scope().reaches(troop);
            ("/troop_id", "a troop of this season", seen)
        }
    };
    if known {
        return Ok(());
    }
    Err(ApiError::new(Code::UnknownReference).errors(vec![FieldError::at(key, "unknown", detail)]))
}

/// How the requirement stands for whom the waiver is about.
async fn standing_of(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    waiver: &WaiverRow,
) -> Result<Option<RequirementStanding>, ApiError> {
    let troops = match (waiver.person_id, waiver.troop_id) {
        (Some(person), _) => troops_of_person(tx, unit, season.season_id, PersonId(person)).await?,
        (None, troop) => troop.map(TroopId).into_iter().collect(),
    };
    let then = read::all(tx, unit, season, None, &Scope::Troops(troops)).await?;
    let of = |standing: Standing| {
        let people = standing.coordinators.into_iter().filter(|one| Some(one.person_id.0) == waiver.person_id);
        let own = standing.requirements.into_iter().filter(|_| waiver.troop_id.is_some());
        own.chain(people.flat_map(|one| one.requirements)).find(|row| row.requirement == waiver.requirement)
    };
    Ok(then.troops.into_iter().find_map(|troop| of(troop.standing)))
}

/// One at a time: a waiver that waits or is in force is ended before another is asked for.
fn refuse_second(before: &[WaiverRow], calendar: &Calendar, at: DateTime<Utc>) -> Result<(), ApiError> {
    let live = before.iter().find_map(|row| match rules::state(course(row), calendar, at) {
        ExceptionState::Waiting => Some(("waits for a second person", row)),
        ExceptionState::InForce => Some(("is in force", row)),
        ExceptionState::Over | ExceptionState::TakenBack => None,
    });
    let Some((how, row)) = live else { return Ok(()) };
    let detail = format!(
        "A waiver of this {how}, until {}. End that one first (end_waiver) if it should be another.",
        row.until_on
    );
    Err(ApiError::new(Code::WrongState).detail(detail))
}
