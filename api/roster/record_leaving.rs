//! Somebody leaves the unit.

use actix_web::post;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::find_person::{Person, PersonPath};
use super::rules;
use super::sql::{endings, people};
use crate::accounts;
use crate::auth::permission::{AssignmentsChange, GrantsChange, PeopleChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, GrantId, PersonId, SeasonId, TroopId};
use crate::common::text;
use crate::error::{ApiError, Code, Problems};
use crate::one_troop::{self, GoesOnWithTroop};
use crate::seasons::{self, calendar};

/// From when somebody is gone.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"left_on": "2040-02-01"}))]
pub struct NewLeaving {
    /// The first day on which the person is not there any more, in the season's time zone. A day that has passed ends
    /// everything now: nobody's reach is changed backwards.
    #[garde(custom(text::day))]
    left_on: NaiveDate,
    /// True says that a day more than a month ago is meant.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    long_ago: bool,
}

/// What ends with somebody who leaves. What the person did stays.
#[derive(Debug, Serialize, ToSchema)]
pub struct Leaving {
    /// The person.
    pub person: Person,
    /// The instant at which all of it ends.
    pub ends_at: DateTime<Utc>,
    /// The assignments that end.
    #[schema(max_items = 200)]
    pub assignments: Vec<AssignmentId>,
    /// The roles that end.
    #[schema(max_items = 200)]
    pub grants: Vec<GrantId>,
    /// The troops in which a duty (leader, treasurer) ends.
    #[schema(max_items = 200)]
    pub duties_in: Vec<TroopId>,
    /// What was let go for the troops that the person coordinates and goes on all the same: it was given to the troop, so look
    /// whether it is still meant.
    #[schema(max_items = 200)]
    pub goes_on: Vec<GoesOnWithTroop>,
}

/// Mark a person as left from a day: assignments, roles and duties in troops end then, and what was done stays.
///
/// A day ahead ends them when it begins. Somebody who comes back gets `left_on` cleared (`change_person`) and is named
/// anew. The last unit manager cannot leave.
#[utoipa::path(tag = "roster", params(PersonPath), request_body = NewLeaving, extensions(("x-permission" = json!(PeopleChange::NAME)), ("x-stepup" = json!(true))), responses((status = 200, description = "What ends.", body = Leaving), Problems))]
#[post("/v1/units/{unit_id}/people/{person_id}/leave")]
pub async fn record_leaving(
    permit: Permit<PeopleChange>,
    path: Path<PersonPath>,
    body: Json<NewLeaving>,
) -> Result<Answer<Leaving>, ApiError> {
    permit.also::<AssignmentsChange>()?;
    permit.also::<GrantsChange>()?;
    let NewLeaving { left_on, long_ago } = body.0;
    let (unit, who) = (permit.unit()?, path.person_id);
    let mut tx = permit.tx()?;
    people::reach(&mut tx, &permit, who).await?;
    let zone = seasons::current(&mut tx, unit).await?.zone;
    let mut touched = Vec::new();
    for season in endings::open_seasons_of(&mut tx, &permit, &[who]).await? {
        let held = seasons::hold(&mut tx, unit, season).await?;
        let troops = troops_in(&mut tx, &permit, season, who).await?;
        let one = Touched::some(season, vec![who], troops.clone());
        change::hold(&mut tx, unit, &one).await?;
        touched.push((one, held, troops));
    }
    people::lock_own(&mut tx, &permit, who).await?;
    endings::lock_managers(&mut tx, &permit).await?;
    let mut row = people::reach(&mut tx, &permit, who).await?;
    tx.replay().await?;
    if let Some(fault) = rules::left_fault(left_on, tx.now().with_timezone(&zone).date_naive(), long_ago) {
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    somebody_manages_without(&mut tx, &permit, who).await?;
    let log_seq = tx.seq().await?;
    let now = tx.logged_at();
    let ends_at = calendar::start_of_day(zone, left_on).max(now);
    row.left_on = Some(left_on);
    people::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    let stamp = (ends_at, now, log_seq);
    let assignments = endings::end_assignments_of(&mut tx, &permit, who, stamp).await?;
    let grants = endings::end_grants_of(&mut tx, &permit, who, stamp).await?;
    let duties = endings::end_duties_of(&mut tx, &permit, who, (ends_at, log_seq)).await?;
    accounts::void_invitations(&mut tx, unit, who).await?;
    tx.about("person", who);
    for one in &assignments {
        tx.about("assignment", one);
    }
    for one in &grants {
        tx.about("grant", one);
    }
    let mut goes_on = Vec::new();
    for (one, season, troops) in &touched {
        change::refresh(&mut tx, unit, one).await?;
        for troop in troops {
            goes_on.extend(one_troop::goes_on(&mut tx, unit, season, *troop).await?);
        }
    }
    let grants = grants.into_iter().map(GrantId).collect();
    let duties_in = duties.into_iter().map(TroopId).collect();
    let leaving = Leaving { person: Person::from(row), ends_at, assignments, grants, duties_in, goes_on };
    tx.commit_with(Answer::new(&leaving)?).await
}

/// The troops that somebody coordinates: they are touched also when nothing of that goes on after it.
async fn troops_in(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    season: SeasonId,
    person: PersonId,
) -> Result<Vec<TroopId>, ApiError> {
    let troops: Vec<Uuid> = endings::troops_of(tx, by, season, person).await?;
    Ok(troops.into_iter().map(TroopId).collect())
}

/// The unit keeps a manager who can sign in.
async fn somebody_manages_without(tx: &mut Tx, by: &Permit<PeopleChange>, who: PersonId) -> Result<(), ApiError> {
    let unit = by.unit()?;
    let managers = endings::lasting_managers(tx, unit).await?;
    if !managers.contains(&who) {
        return Ok(());
    }
    for person in managers.into_iter().filter(|person| *person != who) {
        if accounts::has_account(tx, unit, person).await? {
            return Ok(());
        }
    }
    let detail = "This would leave the unit without a unit manager who can sign in. Give the role, without an end, to somebody else who has accepted an invitation; then record the leaving.";
    Err(ApiError::new(Code::LastUnitManager).detail(detail))
}
