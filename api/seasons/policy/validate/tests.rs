//! Each fault by name, at its place, and many in one answer.

use serde_json::{Value, json};

use super::*;
use crate::seasons::policy::shipped_policy;

const MILESTONES: [&str; 3] = ["opening_orders_due", "delivery_day", "sale_closes"];

/// The shipped policy with parts replaced, read again as a document.
fn changed(changes: &[(&str, Value)]) -> Policy {
    let mut document = serde_json::to_value(shipped_policy().unwrap()).unwrap();
    for (pointer, value) in changes {
        *document.pointer_mut(pointer).unwrap_or_else(|| panic!("no {pointer}")) = value.clone();
    }
    serde_json::from_value(document).unwrap()
}

fn faults(changes: &[(&str, Value)]) -> Vec<(String, &'static str)> {
    validate(&changed(changes), &MILESTONES).into_iter().map(|f| (f.pointer, f.code)).collect()
}

#[test]
fn each_fault_is_told_at_its_place() {
    let table: Vec<(&str, Value, &str, &str)> = vec![
        ("/requirements/1/after", json!(["nope"]), "/requirements/1/after/0", "unknown_requirement"),
        ("/requirements/1/after", json!(["bank_details"]), "/requirements/1/after/0", "other_subject"),
        ("/requirements/1/after", json!(["membership", "membership"]), "/requirements/1/after/1", "duplicate_code"),
        ("/requirements/0/after", json!(["membership"]), "/requirements/0/after", "cycle"),
        ("/requirements/0/after", json!(["registration"]), "/requirements/0/after", "cycle"),
        ("/requirements/3/code", json!("Agreement!"), "/requirements/3/code", "bad_code"),
        ("/requirements/3/code", json!("screening"), "/requirements/3/code", "duplicate_code"),
        ("/requirements/3/title", json!("  "), "/requirements/3/title", "blank"),
        ("/requirements/3/manager_may_enter", json!(false), "/requirements/3/manager_may_enter", "nobody_can_close"),
        ("/requirements/4/minimum_score", json!(0), "/requirements/4/minimum_score", "too_small"),
        ("/requirements/4/minimum_score", json!(101), "/requirements/4/minimum_score", "too_large"),
        ("/requirements/0/minimum_score", json!(80), "/requirements/0/minimum_score", "no_score"),
        ("/requirements/0/proof/column", json!("received_on"), "/requirements/0/proof/column", "not_on_list"),
        ("/requirements/0/proof/column", json!(null), "/requirements/0/proof/column", "missing"),
        ("/requirements/0/proof/course", json!("basics"), "/requirements/0/proof/course", "not_used"),
        ("/requirements/4/proof/course", json!("1"), "/requirements/4/proof/course", "bad_code"),
        ("/requirements/5/validity/months", json!(null), "/requirements/5/validity/months", "missing"),
        ("/requirements/5/validity/months", json!(0), "/requirements/5/validity/months", "too_small"),
        ("/requirements/4/validity/months", json!(3), "/requirements/4/validity/months", "not_used"),
        ("/gates/1/gate", json!("order"), "/gates/1/gate", "duplicate_gate"),
        ("/gates/0/rules/0/until", json!("moon"), "/gates/0/rules/0/until", "unknown_milestone"),
        ("/gates/0/rules/1/from", json!("moon"), "/gates/0/rules/1/from", "unknown_milestone"),
        ("/gates/0/rules/1/until", json!("opening_orders_due"), "/gates/0/rules/1/until", "never_in_force"),
        (
            "/gates/1/rules/0/needs_requirements",
            json!(["moon"]),
            "/gates/1/rules/0/needs_requirements/0",
            "unknown_requirement",
        ),
        ("/gates/2/rules/0/needs_appointment", json!(false), "/gates/2/rules/0", "needs_nothing"),
        ("/grace_days", json!(91), "/grace_days", "too_large"),
        ("/mass_lapse_percent", json!(0), "/mass_lapse_percent", "too_small"),
        ("/mass_lapse_percent", json!(101), "/mass_lapse_percent", "too_large"),
        ("/intake/mass_change_percent", json!(0), "/intake/mass_change_percent", "too_small"),
        ("/intake/keep_list_files_days", json!(29), "/intake/keep_list_files_days", "too_small"),
        ("/intake/keep_list_files_days", json!(3651), "/intake/keep_list_files_days", "too_large"),
        ("/intake/match_review_percent", json!(99), "/intake/match_review_percent", "lines_crossed"),
        ("/any_of", json!([{"code": "course", "requirements": ["agreement"]}]), "/any_of/0/requirements", "too_small"),
        (
            "/any_of",
            json!([{"code": "course", "requirements": ["agreement", "moon"]}]),
            "/any_of/0/requirements/1",
            "unknown_requirement",
        ),
        (
            "/any_of",
            json!([{"code": "course", "requirements": ["agreement", "bank_details"]}]),
            "/any_of/0/requirements/1",
            "other_subject",
        ),
        (
            "/any_of",
            json!([{"code": "agreement", "requirements": ["agreement", "screening"]}]),
            "/any_of/0/code",
            "duplicate_code",
        ),
    ];
    for (place, value, pointer, code) in table {
        let told = faults(&[(place, value.clone())]);
        assert!(told.contains(&(pointer.to_owned(), code)), "{place} = {value}: {told:?}");
    }
}

#[test]
fn conditions_on_money_are_refused_by_name() {
    for (kind, name) in [
        ("nothing_overdue", "nothing overdue"),
        ("exposure_under", "exposure under"),
        ("no_debt_carried_in", "no debt carried in"),
    ] {
        let policy = changed(&[("/gates/2/rules/0/needs_money", json!({"kind": kind, "amount_minor": null}))]);
        let told = validate(&policy, &MILESTONES);
        let [only] = &told[..] else { panic!("{told:?}") };
        assert_eq!((&*only.pointer, only.code), ("/gates/2/rules/0/needs_money", "money_not_kept"));
        assert!(only.detail.contains(name), "{}", only.detail);
    }
}

#[test]
fn every_fault_is_told_in_one_answer() {
    let told = faults(&[
        ("/requirements/0/after", json!(["registration"])),
        ("/requirements/4/after", json!(["nope"])),
        ("/requirements/4/minimum_score", json!(101)),
        ("/gates/1/gate", json!("order")),
        ("/gates/2/rules/0/needs_money", json!({"kind": "nothing_overdue"})),
        ("/grace_days", json!(1000)),
    ]);
    let expected = [
        ("/grace_days", "too_large"),
        ("/requirements/4/minimum_score", "too_large"),
        ("/requirements/4/after/0", "unknown_requirement"),
        ("/requirements/0/after", "cycle"),
        ("/gates/1/gate", "duplicate_gate"),
        ("/gates/2/rules/0/needs_money", "money_not_kept"),
    ];
    assert_eq!(told, expected.map(|(pointer, code)| (pointer.to_owned(), code)));
}

#[test]
fn a_circle_of_three_is_told_once() {
    let told = faults(&[
        ("/requirements/0/after", json!(["screening"])),
        ("/requirements/1/after", json!(["membership"])),
        ("/requirements/2/after", json!(["registration"])),
    ]);
    assert_eq!(told, [("/requirements/0/after".to_owned(), "cycle")]);
}

#[test]
fn unknown_keys_and_unknown_gates_do_not_read() {
    let mut document = serde_json::to_value(shipped_policy().unwrap()).unwrap();
    *document.pointer_mut("/gates/0/gate").unwrap() = json!("dance");
    assert!(serde_json::from_value::<Policy>(document.clone()).unwrap_err().to_string().contains("dance"));
    *document.pointer_mut("/gates/0/gate").unwrap() = json!("order");
    document.pointer_mut("/requirements/0").unwrap()["colour"] = json!("blue");
    assert!(serde_json::from_value::<Policy>(document).unwrap_err().to_string().contains("colour"));
}

#[test]
fn what_is_left_out_takes_its_default() {
    let requirement: Requirement = serde_json::from_value(json!({
        "code": "quiz", "title": "Quiz", "kind": "screening", "whose": "coordinator", "needed_by": "all",
        "proof": {"kind": "manager"}, "validity": {"kind": "season"}
    }))
    .unwrap();
    assert_eq!(requirement.who_may_waive(), crate::seasons::policy::WaivableBy::Never);
    assert!(requirement.manager_may_enter);
    assert!(requirement.after.is_empty());
}
