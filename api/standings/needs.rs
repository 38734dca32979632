//! What of the standings needs a person now: troops without a coordinator, coordinators who have lapsed, reports that wait
//! for a look, and what will lapse before a milestone.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde_json::json;

use super::exceptions;
use super::read::{self, TroopThen};
use super::rules::{
    Closer, CoordinatorState, Lapse, LapseCause, RequirementOutcome, RequirementStanding, Standing, StepCode,
    TroopState,
};
use super::sql::needs as sql;
use crate::auth::permission::{AssignmentsChange, DecisionsTake, EvidenceRecord, IntakesUpload};
use crate::auth::{Scope, Tx};
use crate::common::ids::{PersonId, TroopId};
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};
use crate::seasons::policy::{Policy, PostedList, ProofKind, Requirement, ValidityKind};
use crate::seasons::{self};

/// Looks at the standings of a season.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let then = read::all(tx, asked.unit, &asked.season, None, &Scope::Unit).await?;
    let policy = seasons::policy_of(tx, asked.unit, asked.season.season_id).await?;
    let seqs: Vec<i64> = then.troops.iter().map(|troop| troop.log_seq).collect();
    let since: BTreeMap<i64, DateTime<Utc>> = sql::logged_at(tx, asked.unit, &seqs).await?.into_iter().collect();
    let mut found = Looking { asked, policy: &policy, found: BTreeMap::new() };
    for TroopThen { troop_id, standing, log_seq, .. } in &then.troops {
        let standing = if asked.sees_screenings { standing.clone() } else { standing.clone().masked() };
        let troop = Troop { id: *troop_id, since_at: since.get(log_seq).copied() };
        found.troop(&troop, &standing);
    }
    let mut needs: Vec<Need> = found.found.into_values().collect();
    needs.extend(super::chase::look(asked, &policy, &then.troops));
    needs.extend(exceptions::needs::look(tx, asked, &policy, &then.troops).await?);
    Ok(needs)
}

/// A troop.
struct Troop {
    id: TroopId,
    /// When its standing last changed.
    since_at: Option<DateTime<Utc>>,
}

struct Looking<'a> {
    asked: &'a Asked,
    policy: &'a Policy,
    /// By kind and key: what concerns a person in two troops is one item.
    found: BTreeMap<(NeedKind, String), Need>,
}

impl Looking<'_> {
    fn troop(&mut self, troop: &Troop, standing: &Standing) {
        if standing.state == TroopState::SittingOut {
            return;
        }
        if standing.state == TroopState::Vacant {
            self.vacant(troop, standing);
        }
        for one in &standing.coordinators {
            let own = one.requirements.iter().map(|row| (Some(one.person_id), row));
            let rows: Vec<_> = own.chain(standing.requirements.iter().map(|row| (None, row))).collect();
            for (person, row) in rows {
                if one.state == CoordinatorState::Lapsed && !row.holds() {
                    let suspend = self.asked.path(format_args!("assignments/{}/suspend", one.assignment_id));
                    self.lapsed(troop, standing, (person, one.person_id), row, suspend);
                } else if row.outcome == RequirementOutcome::Reported && row.can_be_done_now {
                    self.reported(troop, (person, row));
                }
            }
        }
        for lapse in standing.lapses.iter().filter(|lapse| lapse.lapses_at <= self.asked.ahead_until) {
            self.lapsing(troop, lapse);
        }
    }

    fn add(&mut self, troop: &Troop, need: Need) {
        let kept = self.found.entry((need.kind, need.key.clone())).or_insert(need);
        if !kept.troops.contains(&troop.id) {
            kept.troops.push(troop.id);
            kept.since_at = kept.since_at.min(troop.since_at);
        }
    }

    fn vacant(&mut self, troop: &Troop, standing: &Standing) {
        let (kind, what) = match standing.next_step.as_ref().map(|step| step.code) {
            Some(StepCode::FindCoordinator) => {
                (NeedKind::FindCoordinator, "Find a coordinator for {troops}; its contacts can help.")
            }
            Some(StepCode::NameLead) => (NeedKind::NameLead, "Say who leads as coordinator of {troops}."),
            // A proposal is the roster's to tell.
            _ => return,
        };
        let body = json!({"troop_id": troop.id, "lead": true});
        let name = Request::post::<AssignmentsChange>(self.asked.path("assignments"), body).fill_in("/person_id");
        let leads = standing.coordinators.iter().map(|one| {
            Request::bare::<AssignmentsChange>(
                self.asked.path(format_args!("assignments/{}/make-lead", one.assignment_id)),
            )
        });
        let why = standing.reasons.first().map(|reason| reason.sentence.clone()).unwrap_or_default();
        // Who begins later helps a troop without anybody, not one that lacks only a lead.
        let next = standing.begins.first().filter(|_| kind == NeedKind::FindCoordinator);
        let until = next.map(|one| self.asked.calendar.date(one.from_at));
        let what = until.map_or_else(
            || what.to_owned(),
            |day| {
                format!("Nobody coordinates {{troops}} until {day}, when {{who}} begins: find somebody for that time if it cannot wait.")
            },
        );
        let need = Need {
            kind,
            key: troop.id.to_string(),
            what,
            why,
            since_at: troop.since_at,
            by_at: standing.next_step.as_ref().and_then(|step| Some(step.by.as_ref()?.at)),
            stake: Stake::Vacancy,
            troops: vec![troop.id],
            person: next.map(|one| one.person_id),
            look: Some(self.asked.path(format_args!("troops/{}/contacts", troop.id))),
            settle: leads.chain([name]).collect(),
        };
        self.add(troop, need);
    }

    fn lapsed(
        &mut self,
        troop: &Troop,
        standing: &Standing,
        (person, coordinator): (Option<PersonId>, PersonId),
        row: &RequirementStanding,
        suspend: String,
    ) {
        let mut settle = self.proving(row, person, troop.id);
        settle.push(Request::post::<DecisionsTake>(suspend, json!({})).fill_in("/reason"));
        let shut = standing.gates.iter().filter(|gate| !gate.open).map(|gate| gate.gate).collect();
        let what = format!("Get \"{}\" in order for {{who}} ({{troops}}), or suspend.", row.title);
        let how = row.how.as_deref().unwrap_or_default();
        let why = format!("The coordinator is appointed, but this is open and no grace is left. {how}");
        let about = person.map_or_else(|| troop.id.to_string(), |person| person.to_string());
        let need = Need {
            kind: NeedKind::CloseRequirement,
            key: format!("{}:{about}", row.requirement),
            what,
            why,
            since_at: troop.since_at,
            by_at: None,
            stake: Stake::Gates { shut, ahead: true },
            troops: vec![troop.id],
            person: Some(coordinator),
            look: Some(self.asked.path(format_args!("standings/{}", troop.id))),
            settle,
        };
        self.add(troop, need);
    }

    fn reported(&mut self, troop: &Troop, (person, row): (Option<PersonId>, &RequirementStanding)) {
        let by_hand = self.asked_for(row).is_some_and(|asked| asked.manager_may_enter);
        if !(by_hand && row.who_can_close.contains(&Closer::UnitManager)) {
            return;
        }
        let about = person.map_or_else(|| troop.id.to_string(), |person| person.to_string());
        let need = Need {
            kind: NeedKind::CheckReport,
            key: format!("{}:{about}", row.requirement),
            what: format!("Look whether \"{}\" is done for {{who}} ({{troops}}), and record it.", row.title),
            why: "It is reported as done, and a report alone confirms nothing.".to_owned(),
            since_at: troop.since_at,
            by_at: None,
            stake: Stake::Nobody,
            troops: vec![troop.id],
            person,
            look: Some(self.asked.path(format_args!("standings/{}", troop.id))),
            settle: self.proving(row, person, troop.id),
        };
        self.add(troop, need);
    }

    fn lapsing(&mut self, troop: &Troop, lapse: &Lapse) {
        let Some(asked_for) = self.policy.requirements.iter().find(|asked| asked.code == lapse.requirement) else {
            return;
        };
        let about = lapse.person_id.map_or_else(|| troop.id.to_string(), |person| person.to_string());
        let day = self.asked.calendar.date(lapse.lapses_at);
        let (now, ends) = match lapse.cause {
            LapseCause::Expires => ("holds", "runs out"),
            LapseCause::WaiverEnds => ("is waived, not met,", "is waived no longer"),
            LapseCause::GraceEnds => ("is tolerated, not met,", "is tolerated no longer"),
        };
        let need = Need {
            kind: NeedKind::RenewRequirement,
            key: format!("{}:{about}", lapse.requirement),
            what: format!("Have \"{}\" renewed for {{who}} ({{troops}}) before {day}.", asked_for.title),
            why: format!("It {now} now and {ends} when {day} begins, ahead of \"{}\".", lapse.before.title),
            since_at: None,
            by_at: Some(lapse.lapses_at),
            stake: Stake::Date,
            troops: vec![troop.id],
            person: lapse.person_id,
            look: Some(self.asked.path(format_args!("standings/{}", troop.id))),
            settle: proving(self.asked, asked_for, lapse.person_id, troop.id),
        };
        self.add(troop, need);
    }

    fn asked_for(&self, row: &RequirementStanding) -> Option<&Requirement> {
        self.policy.requirements.iter().find(|asked| asked.code == row.requirement)
    }

    fn proving(&self, row: &RequirementStanding, person: Option<PersonId>, troop: TroopId) -> Vec<Request> {
        self.asked_for(row).map(|asked_for| proving(self.asked, asked_for, person, troop)).unwrap_or_default()
    }
}

/// The list that states a requirement, where one does.
pub(super) const fn list_of(of: &Requirement) -> Option<&'static str> {
    match (of.proof.kind, of.proof.list) {
        (ProofKind::PostedList, Some(PostedList::RoleList)) => Some("role_list"),
        (ProofKind::PostedList, Some(PostedList::BankDetails)) => Some("bank_details"),
        (ProofKind::Certificate, _) => Some("certificates"),
        _ => None,
    }
}

/// The requests by which a requirement is proven: the list that states it, or the manager's own word where it counts.
fn proving(asked: &Asked, of: &Requirement, person: Option<PersonId>, troop: TroopId) -> Vec<Request> {
    let list = list_of(of);
    let mut ways: Vec<Request> = list.map(|kind| Request::upload::<IntakesUpload>(asked, kind)).into_iter().collect();
    if of.proof.kind == ProofKind::Manager || of.manager_may_enter {
        let mut body = json!({"requirement": of.code, "outcome": "met"});
        if let Some(entries) = body.as_object_mut() {
            match person {
                Some(person) => entries.insert("person_id".to_owned(), json!(person)),
                None => entries.insert("troop_id".to_owned(), json!(troop)),
            };
        }
        let mut record = Request::post::<EvidenceRecord>(asked.path("evidence"), body);
        if of.validity.kind == ValidityKind::UntilEvidenceDate {
            record = record.fill_in("/valid_until_on");
        }
        ways.push(record);
    }
    ways
}
