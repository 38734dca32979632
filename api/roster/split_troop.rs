//! Make a part of a troop a troop of its own.

use actix_web::post;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::find_troop::{Troop, TroopPath};
use super::list_troop_contacts::{Duty, TroopContact};
use super::merging::keep;
use super::regrouping::{self, Moving, RegroupedCoordinator, RegroupingKind, refuse_merged};
use super::rules::number_key;
use super::sql::assignments::{self, AssignmentRow};
use super::sql::contacts::TroopContactRow;
use super::sql::regrouping::{self as sql, RegroupingRow};
use super::sql::troops::{self, Place, TroopRow};
use crate::auth::permission::{AssignmentsChange, Permission as _, TroopsRegroup};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{AssignmentId, PersonId, RegroupingId, TroopId};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;
use crate::seasons::policy::{OutsideEvent, OutsideStep};

/// The new troop, and who and what goes to it.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"number": "0978", "name": "Juniper Ridge 0978", "age_band": "seniors", "selling_youths": 4, "first_season": false, "reason": "The older ones want to sell on their own.", "coordinators": [], "contacts": []}))]
pub struct TroopSplit {
    /// The new troop's number, as head office writes it.
    #[garde(length(chars, min = 1, max = 20), custom(text::line))]
    #[schema(min_length = 1, max_length = 20)]
    number: String,
    /// Its name, if it has one.
    #[garde(length(chars, max = 120), custom(text::one_line))]
    #[serde(default)]
    #[schema(max_length = 120)]
    name: String,
    /// Where it meets, if that is known.
    #[garde(inner(length(chars, min = 1, max = 200), custom(text::line)))]
    #[schema(min_length = 1, max_length = 200)]
    meeting_place: Option<String>,
    /// Its age band in this season.
    #[garde(length(chars, min = 1, max = 40), custom(text::line))]
    #[schema(min_length = 1, max_length = 40)]
    age_band: String,
    /// How many of the old troop's selling youths go along; the old one has so many fewer.
    #[garde(range(min = 0, max = 500))]
    #[schema(minimum = 0, maximum = 500)]
    selling_youths: i32,
    /// Whether the new troop sells for the first time.
    #[garde(skip)]
    first_season: bool,
    /// Why.
    #[garde(length(chars, min = 1, max = 400), custom(text::line))]
    #[schema(min_length = 1, max_length = 400)]
    reason: String,
    /// The coordinators who go to the new troop.
    #[garde(dive, length(max = 100))]
    #[serde(default)]
    #[schema(required = false, max_items = 100)]
    coordinators: Vec<MovingCoordinator>,
    /// The contacts who go to the new troop.
    #[garde(dive, length(max = 100))]
    #[serde(default)]
    #[schema(required = false, max_items = 100)]
    contacts: Vec<MovingContact>,
}

/// A coordinator who goes to the new troop.
#[derive(Clone, Copy, Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MovingCoordinator {
    /// The assignment to the old troop.
    #[garde(skip)]
    assignment_id: AssignmentId,
    /// Whether as the new troop's lead.
    #[garde(skip)]
    #[serde(default)]
    #[schema(required = false)]
    lead: bool,
    /// Whether the old troop keeps the coordinator too.
    #[garde(skip)]
    #[serde(default)]
    #[schema(required = false)]
    stays: bool,
}

/// A contact who goes to the new troop.
#[derive(Clone, Copy, Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MovingContact {
    /// Who.
    #[garde(skip)]
    person_id: PersonId,
    /// With which duty.
    #[garde(skip)]
    duty: Duty,
    /// Whether the person keeps the duty in the old troop as well.
    #[garde(skip)]
    #[serde(default)]
    #[schema(required = false)]
    stays: bool,
}

/// A troop of which a part became a troop of its own.
#[derive(Debug, Serialize, ToSchema)]
pub struct SplitTroop {
    /// The split.
    pub regrouping_id: RegroupingId,
    /// When.
    pub split_at: DateTime<Utc>,
    /// The old troop, which keeps its history.
    pub from: Troop,
    /// The new troop.
    pub troop: Troop,
    /// The coordinators who went along.
    #[schema(max_items = 100)]
    pub coordinators: Vec<RegroupedCoordinator>,
    /// The contacts who went along.
    #[schema(max_items = 100)]
    pub contacts: Vec<TroopContact>,
    /// What the policy wants repeated in head office's system (`list_outside_steps`).
    #[schema(max_items = 40)]
    pub outside_steps: Vec<OutsideStep>,
}

/// Make a part of a troop a troop of its own in the current season.
///
/// The new troop takes some of the youths, and the coordinators and contacts who are named. The old one keeps its history,
/// its proofs and its other people; the new one begins with its own requirements, and who goes along is appointed there
/// anew. It has no place in answers as of an earlier instant.
#[utoipa::path(tag = "roster", params(TroopPath), request_body = TroopSplit, extensions(("x-permission" = json!(TroopsRegroup::NAME))), responses((status = 201, description = "Both troops.", body = SplitTroop), Problems))]
#[post("/v1/units/{unit_id}/troops/{troop_id}/split")]
pub async fn split_troop(
    permit: Permit<TroopsRegroup>,
    path: Path<TroopPath>,
    body: Json<TroopSplit>,
) -> Result<Created<SplitTroop>, ApiError> {
    permit.also::<AssignmentsChange>()?;
    let (unit, old, new) = (permit.unit()?, path.troop_id, body.0);
    let mut tx = permit.tx()?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    let season_id = season.season_id;
    let people = sql::people_of(&mut tx, unit, season_id, &[old]).await?;
    let held = Touched::some(season_id, people.clone(), vec![old]);
    change::hold(&mut tx, unit, &held).await?;
    troops::lock(&mut tx, &permit, old).await?;
    let found = troops::find(&mut tx, unit, permit.read_scope(), season_id, old).await?;
    let mut from = found.ok_or(Code::NotFound)?;
    tx.replay().await?;
    season.open()?;
    let log_seq = tx.seq().await?;
    let stamp = (tx.logged_at(), log_seq);
    assignments::end_what_ran_out(&mut tx, &permit, season_id, old, log_seq).await?;
    let open = sql::open_in(&mut tx, &permit, season_id, old).await?;
    let duties = sql::contacts_of(&mut tx, &permit, old).await?;
    refuse(&from, &new, &open, &duties)?;
    let troop = TroopId::new();
    let row = new_row(troop, &from, &new);
    troops::insert(&mut tx, &permit, &row, &number_key(&row.number), log_seq).await?;
    let place =
        Place { age_band: new.age_band.trim(), selling_youths: new.selling_youths, first_season: new.first_season };
    troops::keep_place(&mut tx, &permit, season_id, troop, place, log_seq).await?;
    from.selling_youths = from.selling_youths.map(|youths| youths - new.selling_youths);
    keep(&mut tx, &permit, &from, season_id, log_seq).await?;
    from.version += 1;
    let moving = Moving { by: &permit, season: season_id, to: troop, stamp };
    let (coordinators, contacts) = people_go(&mut tx, &moving, &new, &open, &duties).await?;
    let regrouping = RegroupingRow {
        regrouping_id: RegroupingId::new().0,
        season_id: season_id.0,
        kind: RegroupingKind::Split.name().to_owned(),
        from_troop_id: old.0,
        from_number: from.number.clone(),
        to_troop_id: troop.0,
        to_number: row.number.clone(),
        reason: Some(new.reason.trim().to_owned()),
        selling_youths: new.selling_youths,
        regrouped_at: stamp.0,
    };
    sql::insert(&mut tx, &permit, &regrouping, log_seq).await?;
    tx.about("regrouping", regrouping.regrouping_id);
    for id in [old, troop] {
        tx.about("troop", id);
    }
    change::refresh(&mut tx, unit, &Touched::some(season_id, people, vec![old, troop])).await?;
    let answer = SplitTroop {
        regrouping_id: RegroupingId(regrouping.regrouping_id),
        split_at: stamp.0,
        from: Troop::shown(from, season_id, permit.actor()),
        troop: Troop::shown(row, season_id, permit.actor()),
        coordinators,
        contacts,
        outside_steps: regrouping::outside_steps(&mut tx, unit, season_id, OutsideEvent::TroopSplit).await?,
    };
    tx.commit_with(Created::new(&answer)?.location(format!("/v1/units/{unit}/troops/{troop}"))).await
}

fn new_row(troop: TroopId, from: &TroopRow, new: &TroopSplit) -> TroopRow {
    TroopRow {
        troop_id: troop.0,
        number: new.number.trim().to_owned(),
        name: new.name.trim().to_owned(),
        kind: from.kind.clone(),
        meeting_place: new.meeting_place.as_deref().map(|place| place.trim().to_owned()),
        version: 1,
        age_band: Some(new.age_band.trim().to_owned()),
        selling_youths: Some(new.selling_youths),
        first_season: Some(new.first_season),
        ended_at: None,
        merged_into: None,
        split_from: Some(from.troop_id),
    }
}

/// What is wrong with the request as things stand.
fn refuse(
    from: &TroopRow,
    new: &TroopSplit,
    open: &[AssignmentRow],
    duties: &[TroopContactRow],
) -> Result<(), ApiError> {
    refuse_merged(from)?;
    let Some(youths) = from.selling_youths else {
        let detail = "This troop has no place in the current season, so nothing of it can become a troop of its own. Enter its age band and selling youths first (change_troop).";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    };
    let named: Vec<_> = new.coordinators.iter().map(|one| (one.assignment_id, one.lead)).collect();
    let mut faults = regrouping::faults(open, &named, "coordinators");
    if new.selling_youths > youths {
        let wanted = format!("at most {youths}, which is what the old troop has");
        faults.push(FieldError::at("/selling_youths", "too_large", wanted));
    }
    for (place, one) in new.contacts.iter().enumerate() {
        let pointer = format!("/contacts/{place}");
        let same = |other: &&MovingContact| other.person_id == one.person_id && other.duty == one.duty;
        if !duties.iter().any(|row| row.person_id == one.person_id.0 && row.duty == one.duty.name()) {
            let wanted = "a person and a duty that this troop has now (list_troop_contacts)";
            faults.push(FieldError::at(pointer, "unknown", wanted));
        } else if new.contacts.iter().take(place).any(|other| same(&other)) {
            faults.push(FieldError::at(pointer, "twice", "each contact once"));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(Code::Invalid).errors(faults)) }
}

/// Those who are named go to the new troop.
async fn people_go(
    tx: &mut Tx,
    moving: &Moving<'_>,
    new: &TroopSplit,
    open: &[AssignmentRow],
    duties: &[TroopContactRow],
) -> Result<(Vec<RegroupedCoordinator>, Vec<TroopContact>), ApiError> {
    let mut coordinators = Vec::new();
    for one in &new.coordinators {
        let Some(row) = open.iter().find(|row| row.assignment_id == one.assignment_id.0) else { continue };
        if !one.stays {
            moving.end(tx, row).await?;
        }
        let (outcome, lead, to) = moving.go_on(tx, row, one.lead).await?;
        coordinators.push(RegroupedCoordinator {
            assignment_id: one.assignment_id,
            person_id: PersonId(row.person_id),
            outcome,
            lead,
            to_assignment_id: Some(to),
        });
    }
    let mut contacts = Vec::new();
    for one in &new.contacts {
        let held = duties.iter().find(|row| row.person_id == one.person_id.0 && row.duty == one.duty.name());
        if let Some(row) = held {
            contacts.push(moving.carry_over(tx, row, one.stays).await?);
        }
    }
    Ok((coordinators, contacts))
}
