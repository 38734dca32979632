//! The one way in which two troops become one, for the act and for its preview.

use super::merge_troops::{MergedTroop, TroopMergePlan, TroopMerger};
use super::regrouping::{self, Moving, RegroupedAs, RegroupedCoordinator, RegroupingKind, refuse_merged};
use super::rules::number_key;
use super::sql::assignments::{self, AssignmentRow};
use super::sql::leads;
use super::sql::regrouping::{self as sql, RegroupingRow};
use super::sql::troops::{self, Place, TroopRow};
use crate::auth::permission::TroopsRegroup;
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::ids::{AssignmentId, PersonId, RegroupingId, SeasonId, TroopId};
use crate::error::{ApiError, Code, FieldError};
use crate::frozen::{canonical, sha256_hex};
use crate::one_troop::{self, OneTroop};
use crate::seasons::policy::OutsideEvent;
use crate::seasons::{self, ThisSeason};

/// Two troops in reach, with everything that a merge touches held.
pub(super) struct Held {
    pub season: ThisSeason,
    pub touched: Touched,
    pub from: TroopRow,
    pub into: TroopRow,
}

/// What a merge has done.
pub(super) struct Merged {
    pub regrouping_id: RegroupingId,
    pub plan: TroopMergePlan,
    /// What confirms exactly this plan.
    pub stamp: String,
    pub from: TroopRow,
    pub into: TroopRow,
}

impl TroopMergePlan {
    /// Without the ids that a later request would make anew.
    pub(super) fn without_ids(mut self) -> Self {
        for one in &mut self.coordinators {
            if one.outcome == RegroupedAs::Begins {
                one.to_assignment_id = None;
            }
        }
        self
    }

    /// The digest of what is told, without what differs from one request to the next.
    fn stamp(&self) -> Result<String, ApiError> {
        let mut plan = self.clone().without_ids();
        // Since when a duty lasts that begins with the merge.
        for contact in &mut plan.contacts {
            contact.from_at = chrono::DateTime::UNIX_EPOCH;
        }
        let value = serde_json::to_value(plan).map_err(|error| ApiError::internal(&error))?;
        let text = canonical(&value).map_err(|error| ApiError::internal(&error))?;
        Ok(sha256_hex(text.as_bytes()))
    }
}

/// Holds the season, the people and both troops, answers a repeated request, and refuses what cannot be merged.
pub(super) async fn hold(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    from: TroopId,
    new: &TroopMerger,
) -> Result<Held, ApiError> {
    let (unit, into) = (by.unit()?, new.into_troop_id);
    let season = seasons::hold_current(tx, unit).await?;
    let people = sql::people_of(tx, unit, season.season_id, &[from, into]).await?;
    let touched = Touched::some(season.season_id, people, vec![from, into]);
    change::hold(tx, unit, &touched).await?;
    let scope = by.read_scope();
    let fault = |code: &'static str, wanted: &str| vec![FieldError::at("/into_troop_id", code, wanted)];
    troops::find(tx, unit, scope, season.season_id, from).await?.ok_or(Code::NotFound)?;
    if troops::find(tx, unit, scope, season.season_id, into).await?.is_none() {
        let fault = fault("unknown", "the id of a troop of this unit (list_troops)");
        return Err(ApiError::new(Code::UnknownReference).errors(fault));
    }
    // In the order of their ids; what they say is read after that.
    for troop in [from.min(into), from.max(into)] {
        troops::lock(tx, by, troop).await?;
    }
    let from_row = troops::find(tx, unit, scope, season.season_id, from).await?.ok_or(Code::NotFound)?;
    let into_row = troops::find(tx, unit, scope, season.season_id, into).await?.ok_or(Code::NotFound)?;
    tx.replay().await?;
    season.open()?;
    if from == into {
        let fault = fault("same_troop", "another troop than the one in the address");
        return Err(ApiError::new(Code::Invalid).errors(fault));
    }
    for row in [&from_row, &into_row] {
        refuse_merged(row)?;
        if row.age_band.is_none() {
            let detail = format!(
                "Troop {} has no place in the current season, so there is nothing in it to be merged. Enter its age band and selling youths first (change_troop) if it takes part.",
                row.number
            );
            return Err(ApiError::new(Code::WrongState).detail(detail));
        }
    }
    Ok(Held { season, touched, from: from_row, into: into_row })
}

/// Lets one troop go into the other one. Whoever called it commits it, or drops the transaction for a preview.
pub(super) async fn merge(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    held: &Held,
    new: TroopMerger,
) -> Result<Merged, ApiError> {
    let (unit, season) = (by.unit()?, held.season.season_id);
    let (mut from, mut into) = (held.from.clone(), held.into.clone());
    let (from_id, into_id) = (TroopId(from.troop_id), TroopId(into.troop_id));
    let youths = |row: &TroopRow| row.selling_youths.unwrap_or(0);
    let selling_youths = new.selling_youths.unwrap_or_else(|| youths(&from) + youths(&into));
    let log_seq = tx.seq().await?;
    let stamp = (tx.logged_at(), log_seq);
    for troop in [from_id, into_id] {
        assignments::end_what_ran_out(tx, by, season, troop, log_seq).await?;
    }
    let open = sql::open_in(tx, by, season, from_id).await?;
    refuse(tx, by, (season, into_id), &open, &new, selling_youths).await?;
    let moving = Moving { by, season, to: into_id, stamp };
    let coordinators = coordinators(tx, &moving, &open, &new).await?;
    let mut contacts = Vec::new();
    for contact in sql::contacts_of(tx, by, from_id).await? {
        contacts.push(moving.carry_over(tx, &contact, false).await?);
    }
    let one = OneTroop { season: held.season.clone(), from: from_id, into: into_id };
    let ended = one_troop::merge(tx, by, &one).await?;
    let told = |row: &TroopRow| MergedTroop {
        troop_id: TroopId(row.troop_id),
        number: row.number.clone(),
        name: row.name.clone(),
        selling_youths: youths(row),
    };
    let plan = TroopMergePlan {
        season_id: season,
        from: told(&from),
        into: told(&into),
        selling_youths,
        coordinators,
        contacts,
        ended,
        outside_steps: regrouping::outside_steps(tx, unit, season, OutsideEvent::TroopMerged).await?,
    };
    let regrouping = RegroupingRow {
        regrouping_id: RegroupingId::new().0,
        season_id: season.0,
        kind: RegroupingKind::Merge.name().to_owned(),
        from_troop_id: from.troop_id,
        from_number: from.number.clone(),
        to_troop_id: into.troop_id,
        to_number: into.number.clone(),
        reason: Some(new.reason.trim().to_owned()),
        selling_youths: youths(&from),
        regrouped_at: stamp.0,
    };
    sql::insert(tx, by, &regrouping, log_seq).await?;
    sql::end_place(tx, by, season, from_id, stamp).await?;
    into.selling_youths = Some(selling_youths);
    keep(tx, by, &into, season, log_seq).await?;
    troops::update(tx, by, &from, &number_key(&from.number), log_seq).await?;
    from.ended_at = Some(stamp.0);
    from.merged_into = Some(into.troop_id);
    for row in [&mut from, &mut into] {
        row.version += 1;
        tx.about("troop", row.troop_id);
    }
    tx.about("regrouping", regrouping.regrouping_id);
    let stamp = plan.stamp()?;
    Ok(Merged { regrouping_id: RegroupingId(regrouping.regrouping_id), plan, stamp, from, into })
}

/// What is wrong with the request as things stand.
async fn refuse(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    (season, into): (SeasonId, TroopId),
    open: &[AssignmentRow],
    new: &TroopMerger,
    selling_youths: i32,
) -> Result<(), ApiError> {
    let named: Vec<_> = new.continuing.iter().map(|one| (one.assignment_id, one.lead)).collect();
    let mut faults = regrouping::faults(open, &named, "continuing");
    if selling_youths > 500 {
        let wanted =
            format!("the number of youths in both troops: at most 500, and together they have {selling_youths}");
        faults.push(FieldError::at("/selling_youths", "too_large", wanted));
    }
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let Some(place) = new.continuing.iter().position(|one| one.lead) else { return Ok(()) };
    let leads = open.iter().find(|row| named.get(place).is_some_and(|(id, _)| row.assignment_id == id.0));
    let lead_there = leads::lead_of(tx, by, season, into).await?;
    if lead_there.is_some_and(|(_, person)| leads.is_none_or(|row| row.person_id != person)) {
        let wanted = "false: the troop that stays has a lead, and one troop has one; who is to lead it can be said afterwards (make_lead)";
        let fault = FieldError::at(format!("/continuing/{place}/lead"), "lead_taken", wanted);
        return Err(ApiError::new(Code::LeadTaken).errors(vec![fault]));
    }
    Ok(())
}

/// Ends what goes on in the troop that goes, and lets those go on who are named.
async fn coordinators(
    tx: &mut Tx,
    moving: &Moving<'_>,
    open: &[AssignmentRow],
    new: &TroopMerger,
) -> Result<Vec<RegroupedCoordinator>, ApiError> {
    let mut told = Vec::new();
    for row in open {
        moving.end(tx, row).await?;
        let named = new.continuing.iter().find(|one| one.assignment_id.0 == row.assignment_id);
        let (outcome, lead, to) = match named {
            Some(one) => {
                let (outcome, lead, to) = moving.go_on(tx, row, one.lead).await?;
                (outcome, lead, Some(to))
            }
            None if row.confirmed_at.is_none() => (RegroupedAs::ProposalEnds, false, None),
            None => (RegroupedAs::Ends, false, None),
        };
        told.push(RegroupedCoordinator {
            assignment_id: AssignmentId(row.assignment_id),
            person_id: PersonId(row.person_id),
            outcome,
            lead,
            to_assignment_id: to,
        });
    }
    Ok(told)
}

/// Writes a troop with its place in the season.
pub(super) async fn keep(
    tx: &mut Tx,
    by: &Permit<TroopsRegroup>,
    row: &TroopRow,
    season: SeasonId,
    log_seq: i64,
) -> Result<(), ApiError> {
    troops::update(tx, by, row, &number_key(&row.number), log_seq).await?;
    let place = Place {
        age_band: row.age_band.as_deref().unwrap_or_default(),
        selling_youths: row.selling_youths.unwrap_or(0),
        first_season: row.first_season.unwrap_or(false),
    };
    troops::keep_place(tx, by, season, TroopId(row.troop_id), place, log_seq).await
}
