//! What one requirement must look like.

use std::collections::{BTreeMap, BTreeSet};

use super::super::{LONGEST_CODE, ProofKind, Requirement, ValidityKind};
use super::{Faults, is_code, unknown_requirement};

/// Every fault of one requirement; what it waits for must be among the `known`.
pub(super) fn check(place: &str, asked: &Requirement, known: &BTreeMap<&str, &Requirement>, faults: &mut Faults) {
    if asked.title.trim().is_empty() {
        faults.add(format!("{place}/title"), "blank", "Say in a few words what must be met.");
    } else if asked.title.chars().count() > 120 || asked.title.chars().any(char::is_control) {
        faults.add(format!("{place}/title"), "too_long", "At most 120 characters, on one line.");
    }
    if let Some(score) = asked.minimum_score {
        faults.within(&format!("{place}/minimum_score"), score, 1, 100);
        if asked.proof.kind == ProofKind::PostedList {
            faults.add(
                format!("{place}/minimum_score"),
                "no_score",
                "A posted list states no score; only a certificate or the manager's record does. Leave it null.",
            );
        }
    }
    check_proof(&format!("{place}/proof"), asked, faults);
    check_validity(&format!("{place}/validity"), asked, faults);
    if asked.proof.kind == ProofKind::Manager && !asked.manager_may_enter {
        faults.add(
            format!("{place}/manager_may_enter"),
            "nobody_can_close",
            "What the manager proves, the manager must be able to enter: say true, or name another proof.",
        );
    }
    faults.within(&format!("{place}/after"), asked.after.len(), 0, 20);
    let mut seen = BTreeSet::new();
    for (at, earlier) in asked.after.iter().enumerate() {
        let pointer = format!("{place}/after/{at}");
        match known.get(&**earlier) {
            None => unknown_requirement(&pointer, earlier, known, faults),
            Some(other) if other.whose != asked.whose => faults.add(
                &pointer,
                "other_subject",
                format!("\"{earlier}\" is met by somebody else; name one with the same \"whose\"."),
            ),
            Some(_) => {}
        }
        if !seen.insert(&**earlier) {
            faults.add(pointer, "duplicate_code", format!("\"{earlier}\" is named twice; once is enough."));
        }
    }
}

fn check_proof(place: &str, asked: &Requirement, faults: &mut Faults) {
    let proof = &asked.proof;
    let (listed, course) = match proof.kind {
        ProofKind::PostedList => (true, false),
        ProofKind::Certificate => (false, true),
        ProofKind::Manager => (false, false),
    };
    for (key, present, wanted) in [
        ("list", proof.list.is_some(), listed),
        ("column", proof.column.is_some(), listed),
        ("course", proof.course.is_some(), course),
    ] {
        let pointer = format!("{place}/{key}");
        if wanted && !present {
            faults.add(pointer, "missing", format!("This kind of proof needs \"{key}\"."));
        } else if present && !wanted {
            faults.add(pointer, "not_used", format!("This kind of proof does not use \"{key}\"; leave it null."));
        }
    }
    if let (true, Some(list), Some(column)) = (listed, proof.list, proof.column)
        && column.list() != list
    {
        faults.add(format!("{place}/column"), "not_on_list", "That list has no such column; name one that it has.");
    }
    if let (true, Some(course)) = (course, &proof.course)
        && !is_code(course)
    {
        faults.add(
            format!("{place}/course"),
            "bad_code",
            format!("A course code is 1 to {LONGEST_CODE} small letters, digits and underscores."),
        );
    }
}

fn check_validity(place: &str, asked: &Requirement, faults: &mut Faults) {
    let pointer = format!("{place}/months");
    match (asked.validity.kind, asked.validity.months) {
        (ValidityKind::Months, None) => faults.add(pointer, "missing", "Say for how many months it holds."),
        (ValidityKind::Months, Some(months)) => faults.within(&pointer, months, 1, 240),
        (ValidityKind::Season | ValidityKind::UntilEvidenceDate, Some(_)) => {
            faults.add(pointer, "not_used", "Only the kind \"months\" counts months; leave it null.");
        }
        (ValidityKind::Season | ValidityKind::UntilEvidenceDate, None) => {}
    }
}
