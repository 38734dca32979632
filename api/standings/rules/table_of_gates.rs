//! Who counts, gates, steps and masking: cases typed by hand.
//!
//! The rules tested are this project's own (domain.md section 3); there is no outside source for them.

use super::worlds::*;
use super::*;
use crate::seasons::policy::{CountedCoordinators, GateName};
use DecisionKind::{Appoint, Suspend};
use EvidenceOutcome::{Absent, NotMet, Reported};

const NOVEMBER: &str = "2026-11-01T17:00:00Z";

#[test]
fn the_policy_says_which_coordinators_count() {
    use CountedCoordinators::{All, Any, Lead};
    let both = Told::all_met().coordinator(SECOND, false).decided(Appoint, Some(LEAD), "2026-10-05T12:00:00Z");
    let suspended = both.clone().decided(Suspend, Some(LEAD), "2026-10-06T12:00:00Z");
    let none = Told::default().coordinator(SECOND, false);
    for (name, told, counted, expected) in [
        ("lead appointed, second gathers", &both, Lead, TroopState::Appointed),
        ("lead appointed, second gathers", &both, Any, TroopState::Appointed),
        ("lead appointed, second gathers", &both, All, TroopState::Gathering),
        ("lead suspended, second gathers", &suspended, Lead, TroopState::Suspended),
        ("lead suspended, second gathers", &suspended, Any, TroopState::Gathering),
        ("lead suspended, second gathers", &suspended, All, TroopState::Suspended),
        ("no lead", &none, Lead, TroopState::Vacant),
        ("no lead", &none, Any, TroopState::Gathering),
        ("no lead", &none, All, TroopState::Gathering),
    ] {
        let changed = Policy { counted_coordinators: counted, ..policy() };
        assert_eq!(told.under(&changed, NOVEMBER).state, expected, "{name}, {counted:?}");
    }
    assert_eq!(none.at(NOVEMBER).next_step.unwrap().code, StepCode::NameLead);
}

#[test]
fn a_gate_is_held_by_the_rules_in_force() {
    let told =
        Told::with_lead().met("membership", Some(LEAD), "2026-10-01").met("registration", Some(LEAD), "2026-10-01");
    // Orders are due on 15 January; its end is five o'clock in the morning of the 16th, UTC.
    let before = told.at("2027-01-16T04:59:59Z");
    let order = gate(&before, GateName::Order);
    assert!(order.open);
    assert_eq!(order.changes_at, Some(at("2027-01-16T05:00:00Z")));
    let [ahead] = &order.ahead[..] else { panic!("{:?}", order.ahead) };
    assert_eq!(ahead.code, ReasonCode::NotAppointed);
    assert_eq!(ahead.from.as_ref().unwrap().at, at("2027-01-16T05:00:00Z"));
    let after = told.at("2027-01-16T05:00:00Z");
    let order = gate(&after, GateName::Order);
    assert!(!order.open);
    assert_eq!(order.reasons[0].code, ReasonCode::NotAppointed);
    let collect = gate(&after, GateName::Collect);
    let held: Vec<_> = collect.reasons.iter().map(|reason| reason.requirement.clone().unwrap()).collect();
    assert_eq!(held, ["screening", "bank_details"]);
    assert!(!gate(&after, GateName::Earn).open);
}

#[test]
fn an_override_reaches_as_far_as_the_policy_says_and_ends() {
    let told = Told::with_lead();
    // Until 15 January membership and registration hold the gate shut, which the manager may override; after it the
    // missing appointment, which two people may; 16 January five o'clock UTC is the milestone's instant.
    let one = told.clone().let_through(GateName::Order, false, "2026-11-01T12:00:00Z", "2027-01-20");
    let two = told.clone().let_through(GateName::Order, true, "2026-11-01T12:00:00Z", "2027-01-20");
    for (name, told, when, open) in [
        ("nobody let it through", &told, NOVEMBER, false),
        ("by one", &one, "2026-11-01T11:59:59Z", false),
        ("by one", &one, "2026-11-01T12:00:00Z", true),
        ("by one", &one, "2027-01-16T04:59:59Z", true),
        ("by one", &one, "2027-01-16T05:00:00Z", false),
        ("by two", &two, "2027-01-16T05:00:00Z", true),
        ("by two", &two, "2027-01-21T04:59:59Z", true),
        ("by two", &two, "2027-01-21T05:00:00Z", false),
    ] {
        assert_eq!(gate(&told.at(when), GateName::Order).open, open, "{name} {when}");
    }
    let seen = one.at(NOVEMBER);
    let order = gate(&seen, GateName::Order);
    assert_eq!((order.let_through.len(), order.ahead.len()), (2, 1));
    assert_eq!(order.changes_at, Some(at("2027-01-16T05:00:00Z")));
    let seen = two.at(NOVEMBER);
    let order = gate(&seen, GateName::Order);
    assert_eq!((order.let_through.len(), order.ahead.len()), (3, 0));
    assert_eq!(order.changes_at, Some(at("2027-01-21T05:00:00Z")));
    let never = told.clone().let_through(GateName::Collect, true, "2026-11-01T12:00:00Z", "2027-01-20");
    assert!(!gate(&never.at(NOVEMBER), GateName::Collect).open, "the policy lets nobody override it");
    assert!(!gate(&one.at(NOVEMBER), GateName::Earn).open, "another gate");
    let mut back = one.clone();
    back.facts.overrides[0].revoked_at = Some(at("2026-12-01T12:00:00Z"));
    assert!(gate(&back.at("2026-12-01T11:59:59Z"), GateName::Order).open);
    assert!(!gate(&back.at("2026-12-01T12:00:00Z"), GateName::Order).open);
}

#[test]
fn an_undated_milestone_never_starts_a_rule_and_never_ends_one() {
    let mut undated = policy();
    undated.gates[0].rules[0].until = Some("sale_opens".to_owned());
    undated.gates[0].rules[1].from = Some("sale_opens".to_owned());
    let told = Told::with_lead();
    let late = "2027-06-01T12:00:00Z";
    let standing = told.under(&undated, late);
    let order = gate(&standing, GateName::Order);
    let held: Vec<_> = order.reasons.iter().map(|reason| reason.requirement.as_deref()).collect();
    assert_eq!(held, [Some("membership"), Some("registration")]);
    undated.gates[0].rules.remove(0);
    assert!(gate(&told.under(&undated, late), GateName::Order).open);
    undated.gates.clear();
    assert!(told.under(&undated, late).gates.iter().all(|gate| gate.open));
}

#[test]
fn only_the_first_thing_that_can_be_done_is_asked_for() {
    let told = Told::with_lead();
    let step = |told: &Told| {
        let step = told.at(NOVEMBER).next_step.unwrap();
        (step.code, step.requirement.unwrap_or_default())
    };
    assert_eq!(step(&told), (StepCode::CloseRequirement, "membership".to_owned()));
    let standing = told.at(NOVEMBER);
    assert!(!row(&standing, "registration").can_be_done_now, "it comes after membership");
    let told = told.met("membership", Some(LEAD), "2026-10-01");
    assert_eq!(step(&told), (StepCode::CloseRequirement, "registration".to_owned()));
    let told = told.evidence("registration", Some(LEAD), Reported, "2026-10-02", |fact| {
        fact.source = EvidenceSource::Person;
    });
    assert_eq!(step(&told), (StepCode::CloseRequirement, "screening".to_owned()), "what is reported waits");
    let told = told.met("screening", Some(LEAD), "2026-10-03").met("agreement", Some(LEAD), "2026-10-03").met(
        "bank_details",
        None,
        "2026-10-03",
    );
    assert_eq!(step(&told), (StepCode::CheckReport, "registration".to_owned()));
    assert_eq!(step(&Told::all_met()), (StepCode::Appoint, String::new()));
    assert_eq!(step(&Told::default()), (StepCode::FindCoordinator, String::new()));
}

#[test]
fn a_step_names_the_gates_it_blocks_and_by_when() {
    let told =
        Told::with_lead().met("membership", Some(LEAD), "2026-10-01").met("registration", Some(LEAD), "2026-10-01");
    let step = told.at(NOVEMBER).next_step.unwrap();
    assert_eq!(step.requirement.as_deref(), Some("screening"));
    assert_eq!(step.blocks, [GateName::Collect, GateName::Earn]);
    assert_eq!(step.by.unwrap().milestone, "opening_orders_due");
}

#[test]
fn a_proposal_waits_to_be_confirmed() {
    let mut told = Told::with_lead();
    told.facts.assignments[0].confirmed_at = None;
    told.facts.assignments[0].proposed_at = Some(at("2026-10-01T12:00:00Z"));
    let standing = told.at(NOVEMBER);
    assert_eq!((standing.state, standing.next_step.unwrap().code), (TroopState::Vacant, StepCode::ConfirmCoordinator));
    told.facts.assignments[0].declined_at = Some(at("2026-10-02T12:00:00Z"));
    assert_eq!(told.at(NOVEMBER).next_step.unwrap().code, StepCode::FindCoordinator);
}

/// Whatever is the matter with a screening, the masked answers are the same to the last byte.
#[test]
fn masked_answers_do_not_tell_why_a_screening_is_not_met() {
    let base = Told::all_met().at(NOVEMBER);
    assert_eq!(row(&base.clone().masked(), "screening").outcome, RequirementOutcome::Met);
    // When it was seen and how long it holds is the manager's and the overseer's, and the person's own.
    let dates = |standing: &Standing| {
        let row = row(standing, "screening");
        (row.observed_on.is_some(), row.source.is_some())
    };
    assert_eq!(dates(&base), (true, true));
    assert_eq!(dates(&base.clone().masked()), (false, false));
    assert_eq!(dates(&base.clone().masked_but_for(Some(person(LEAD)))), (true, true));
    assert_eq!(dates(&base.clone().masked_but_for(None)), (false, false));
    let open = |outcome: Option<EvidenceOutcome>| {
        let mut told = Told::all_met();
        told.facts.evidence.retain(|fact| fact.requirement != "screening");
        match outcome {
            Some(outcome) => told.evidence("screening", Some(LEAD), outcome, "2026-10-20", |_| {}),
            None => told,
        }
        .at(NOVEMBER)
        .masked()
    };
    let missing = open(None);
    assert_eq!(row(&missing, "screening").outcome, RequirementOutcome::NotConfirmed);
    for outcome in [NotMet, Absent, Reported] {
        let masked = open(Some(outcome));
        assert_eq!(serde_json::to_string(&masked).unwrap(), serde_json::to_string(&missing).unwrap(), "{outcome:?}");
    }
    let graced = Told::all_met()
        .decided(Appoint, Some(LEAD), "2026-10-05T12:00:00Z")
        .evidence("screening", Some(LEAD), Absent, "2026-10-30", |_| {})
        .at(NOVEMBER);
    assert_eq!(graced.reasons[0].code, ReasonCode::WithinGrace);
    let text = serde_json::to_string(&graced.masked()).unwrap();
    for word in ["absent", "grace\"", "within_grace", "2026-10-30", "newest list"] {
        assert!(!text.contains(word), "{word}: {text}");
    }
}

#[test]
fn a_viewer_sees_states_and_gates_only() {
    let text = serde_json::to_string(&Told::with_lead().at(NOVEMBER).states_only()).unwrap();
    assert!(!text.contains("screening") && !text.contains("membership"), "{text}");
    assert!(text.contains("\"state\":\"gathering\"") && text.contains("\"open\":false"), "{text}");
}
