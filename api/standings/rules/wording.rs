//! The message catalogue of standings: every sentence that a volunteer reads, in one place.
//!
//! A sentence about a screening is the same for every reason why it is not met, so that masking need not rewrite it.

use chrono::NaiveDate;

use super::{
    Closer, CoordinatorStanding, CoordinatorState, Lapse, LapseCause, Reason, ReasonCode, RequirementOutcome,
    RequirementStanding, StepCode, TroopState, World, coordinators,
};
use crate::common::ids::PersonId;
use crate::seasons::policy::{ListColumn, ProofKind, Requirement, RequirementKind, Whose};

/// Who can close an open requirement.
pub(super) fn who_can_close(asked: &Requirement, outcome: RequirementOutcome) -> Vec<Closer> {
    if outcome == RequirementOutcome::Reported && asked.kind != RequirementKind::Screening {
        return vec![Closer::UnitManager];
    }
    let mut who = match asked.whose {
        Whose::Coordinator | Whose::UnitRole => vec![Closer::Coordinator],
        Whose::Troop => vec![Closer::Coordinator, Closer::TroopContact],
    };
    match asked.proof.kind {
        ProofKind::PostedList => who.push(Closer::HeadOffice),
        ProofKind::Certificate => {}
        ProofKind::Manager => who.push(Closer::UnitManager),
    }
    who
}

/// How an open requirement is closed.
pub(super) fn how(asked: &Requirement, outcome: RequirementOutcome) -> String {
    if asked.kind == RequirementKind::Screening {
        return SCREENING_WAY.to_owned();
    }
    let begin = match outcome {
        RequirementOutcome::Reported => "Reported, not confirmed. ",
        RequirementOutcome::NotMet => "Found not met. ",
        RequirementOutcome::Absent => "Not on the newest list. ",
        RequirementOutcome::Expired => "Its time is over. ",
        RequirementOutcome::BelowMinimum => "The score was too low. ",
        _ => "",
    };
    format!("{begin}{}", proof_way(asked))
}

/// How a screening comes about, whatever is known of it.
const SCREENING_WAY: &str =
    "Head office runs the screening and posts its outcome; it closes when a list that shows it is loaded.";

fn proof_way(asked: &Requirement) -> String {
    match (asked.proof.kind, asked.proof.column) {
        (ProofKind::PostedList, Some(ListColumn::MembershipValidUntil)) => {
            "Renew the membership with head office; it closes when a role list with the new date is loaded.".to_owned()
        }
        (ProofKind::PostedList, Some(ListColumn::ReceivedOn)) => {
            "Send the form to head office; it closes when a bank details list that names the troop is loaded."
                .to_owned()
        }
        (ProofKind::PostedList, _) => {
            "Register with head office; it closes when a role list that names the person is loaded.".to_owned()
        }
        (ProofKind::Certificate, _) => {
            let course = asked.proof.course.as_deref().unwrap_or_default();
            let score = asked.minimum_score.map(|score| format!(" with at least {score} %")).unwrap_or_default();
            format!("Take the course \"{course}\"{score}; it closes when the certificate is loaded or recorded.")
        }
        (ProofKind::Manager, _) => "Hand it to the unit manager, who records it.".to_owned(),
    }
}

/// That a requirement is open.
pub(super) fn requirement_open(asked: &Requirement, outcome: RequirementOutcome) -> String {
    let title = &asked.title;
    if asked.kind == RequirementKind::Screening {
        return not_confirmed(title);
    }
    match outcome {
        RequirementOutcome::Reported => format!("\"{title}\" is reported, not confirmed."),
        RequirementOutcome::NotMet => format!("\"{title}\" was found not met."),
        RequirementOutcome::Absent => format!("\"{title}\" is no longer on the newest list."),
        RequirementOutcome::Expired => format!("The time of \"{title}\" is over."),
        RequirementOutcome::BelowMinimum => format!("The score for \"{title}\" was too low."),
        _ => format!("\"{title}\" is still open."),
    }
}

/// That a screening is not met, whatever the cause.
pub(super) fn not_confirmed(title: &str) -> String {
    format!("\"{title}\" is not confirmed.")
}

/// That a gate waits for the appointment.
pub(super) fn gate_not_appointed(state: TroopState) -> String {
    let why = match state {
        TroopState::SittingOut => "the troop sits out",
        TroopState::Vacant => "it has no coordinator",
        TroopState::Suspended => "its coordinator is suspended",
        TroopState::Lapsed => "something that was met is open again",
        TroopState::Appointed | TroopState::Ready => "the appointment is missing",
        TroopState::Gathering => "something is still open",
    };
    format!("The troop must stand as appointed: {why}.")
}

/// That a gate waits for a coordinator who meets something.
pub(super) fn gate_no_coordinator(asked: &Requirement) -> String {
    format!("Nobody coordinates the troop, so nobody can meet \"{}\".", asked.title)
}

/// The step that closes a requirement.
pub(super) fn close_step(asked: &Requirement, outcome: RequirementOutcome) -> String {
    format!("{}: {}", asked.title, how(asked, outcome))
}

/// The step that keeps a requirement from lapsing; `over_on` is the first day without it.
pub(super) fn renew_step(asked: &Requirement, lapse: &Lapse, over_on: NaiveDate) -> String {
    let what = match lapse.cause {
        LapseCause::Expires => "it runs out",
        LapseCause::WaiverEnds => "its waiver ends",
        LapseCause::GraceEnds => "its grace ends",
    };
    let before = &lapse.before.title;
    let way = if asked.kind == RequirementKind::Screening { SCREENING_WAY.to_owned() } else { proof_way(asked) };
    format!("{}: {what} before {over_on}, ahead of \"{before}\". {way}", asked.title)
}

/// A step that the unit decides.
pub(super) fn decide_step(code: StepCode) -> &'static str {
    match code {
        StepCode::FindCoordinator => "Find a coordinator for this troop; its contacts can help.",
        StepCode::ConfirmCoordinator => "A list proposes a coordinator for this troop: confirm or decline.",
        StepCode::NameLead => "Say which of the troop's coordinators is the lead.",
        StepCode::Appoint => "Everything asked for is in order: appoint the coordinator.",
        StepCode::Restore => "The coordinator is suspended: restore, or find another.",
        StepCode::CloseRequirement | StepCode::CheckReport | StepCode::Renew => "Close what is open.",
    }
}

/// Why the troop is in its state.
pub(super) fn troop_reasons(
    world: &World<'_>,
    state: TroopState,
    troop: &[RequirementStanding],
    all: &[CoordinatorStanding],
) -> Vec<Reason> {
    let speaks = match state {
        TroopState::SittingOut => return vec![plain(ReasonCode::SitsOut, None, "The troop sits out this season.")],
        TroopState::Vacant => {
            let mut reasons = vec![if all.is_empty() {
                plain(ReasonCode::NoCoordinator, None, "Nobody coordinates this troop.")
            } else {
                plain(ReasonCode::NoLead, None, "None of the troop's coordinators is its lead.")
            }];
            if coordinators::proposal_waits(world) {
                let sentence = "A list proposes a coordinator; somebody must confirm or decline.";
                reasons.push(plain(ReasonCode::CoordinatorProposed, None, sentence));
            }
            return reasons;
        }
        TroopState::Suspended => CoordinatorState::Suspended,
        TroopState::Lapsed => CoordinatorState::Lapsed,
        TroopState::Appointed => CoordinatorState::Appointed,
        TroopState::Ready => CoordinatorState::Ready,
        TroopState::Gathering => CoordinatorState::Gathering,
    };
    let mut reasons = Vec::new();
    for one in all.iter().filter(|one| one.counted && one.state == speaks) {
        let person = Some(one.person_id);
        if speaks == CoordinatorState::Suspended {
            reasons.push(plain(ReasonCode::SuspendedByDecision, person, "The coordinator was suspended."));
        }
        reasons.extend(one.requirements.iter().filter_map(|row| open_reason(world, row, person)));
        if speaks == CoordinatorState::Ready {
            let sentence = "All is met or waived; the appointment is missing.";
            reasons.push(plain(ReasonCode::NotYetAppointed, person, sentence));
        }
    }
    reasons.extend(troop.iter().filter_map(|row| open_reason(world, row, None)));
    if reasons.is_empty() {
        let counted = all.iter().filter(|one| one.counted).flat_map(|one| &one.requirements);
        let waived = counted.chain(troop).any(|row| row.outcome == RequirementOutcome::Waived);
        let sentence = if waived {
            "Appointed; everything asked for is met, or waived for a time."
        } else {
            "Appointed, and everything asked for is in order."
        };
        reasons.push(plain(ReasonCode::AllInOrder, None, sentence));
    }
    reasons
}

fn plain(code: ReasonCode, person_id: Option<PersonId>, sentence: &str) -> Reason {
    Reason { code, requirement: None, person_id, sentence: sentence.to_owned() }
}

fn open_reason(world: &World<'_>, row: &RequirementStanding, person_id: Option<PersonId>) -> Option<Reason> {
    let asked = world.policy.requirements.iter().find(|asked| asked.code == row.requirement && !row.closed)?;
    let (code, sentence) = match row.grace_until_at {
        None => (ReasonCode::RequirementOpen, requirement_open(asked, row.outcome)),
        Some(until) => {
            let over_on = world.calendar.date(until);
            let sentence = format!("{} It is tolerated until {over_on} begins.", requirement_open(asked, row.outcome));
            (ReasonCode::WithinGrace, sentence)
        }
    };
    Some(Reason { code, requirement: Some(row.requirement.clone()), person_id, sentence })
}
