//! A coordinator's own steps.

use actix_web::get;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::list::StandingsPath;
use super::read;
use super::rules::{CoordinatorState, GateStanding, Lapse, RequirementStanding, Step, TroopState};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, ScreeningsRead, StepsRead};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId};
use crate::error::{ApiError, Problems};
use crate::seasons;

/// Your own steps, one entry for each troop that you coordinate.
#[derive(Debug, Serialize, ToSchema)]
pub struct MySteps {
    /// Who you are in this unit.
    pub person_id: PersonId,
    /// The current season.
    pub season_id: SeasonId,
    /// The instant at which this stands.
    pub stands_at: DateTime<Utc>,
    /// Your troops, those with something to do now first.
    #[schema(max_items = 100)]
    pub troops: Vec<MyTroop>,
}

/// Your steps for one of your troops.
#[derive(Debug, Serialize, ToSchema)]
pub struct MyTroop {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Your place in it.
    pub assignment_id: AssignmentId,
    /// Where the troop stands.
    pub troop_state: TroopState,
    /// Where you stand.
    pub your_state: CoordinatorState,
    /// The one thing to do next; null when nothing is to be done.
    #[schema(required = true)]
    pub next_step: Option<Step>,
    /// What is asked of you and of the troop: what can be done now first, then what waits, then what is done.
    #[schema(max_items = 80)]
    pub steps: Vec<RequirementStanding>,
    /// What the troop may do now, and what opens the rest.
    #[schema(max_items = 3)]
    pub gates: Vec<GateStanding>,
    /// What of yours or the troop's will lapse before a milestone.
    #[schema(max_items = 1000)]
    pub lapses: Vec<Lapse>,
}

/// Show your own steps to appointment, the next one first.
#[utoipa::path(tag = "standings", params(StandingsPath), extensions(("x-permission" = json!(StepsRead::NAME))), responses((status = 200, description = "Your steps.", body = MySteps), Problems))]
#[get("/v1/units/{unit_id}/my-steps")]
pub async fn list_my_steps(permit: Permit<StepsRead>, _path: Path<StandingsPath>) -> Result<Answer<MySteps>, ApiError> {
    let (mut tx, unit, person_id) = (permit.tx()?, permit.unit()?, permit.person()?);
    let season = seasons::current(&mut tx, unit).await?;
    let then = read::all(&mut tx, unit, &season, None, permit.scope()).await?;
    let mut troops: Vec<MyTroop> =
        then.troops.into_iter().filter_map(|troop| mine(&permit, troop, person_id)).collect();
    troops.sort_by_key(|troop| troop.next_step.is_none());
    let steps = MySteps { person_id, season_id: season.season_id, stands_at: then.at, troops };
    Ok(Answer::new(&steps)?.tag_without(&["stands_at"]))
}

fn mine(permit: &Permit<StepsRead>, troop: read::TroopThen, person: PersonId) -> Option<MyTroop> {
    let standing =
        if permit.holds::<ScreeningsRead>() { troop.standing } else { troop.standing.masked_but_for(Some(person)) };
    let own = standing.coordinators.into_iter().find(|one| one.person_id == person)?;
    let mut steps: Vec<_> = own.requirements.into_iter().chain(standing.requirements).collect();
    let next = own.next_step.as_ref().and_then(|step| step.requirement.clone());
    steps.sort_by_key(|row| (Some(&row.requirement) != next.as_ref(), row.closed, !row.can_be_done_now));
    Some(MyTroop {
        troop_id: troop.troop_id,
        number: troop.number,
        name: troop.name,
        assignment_id: own.assignment_id,
        troop_state: standing.state,
        your_state: own.state,
        next_step: own.next_step,
        steps,
        gates: standing.gates,
        lapses: standing.lapses.into_iter().filter(|lapse| lapse.person_id.is_none_or(|who| who == person)).collect(),
    })
}
