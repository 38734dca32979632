//! Checking a policy as a whole: every fault at once, each with its place and with what would be right.

mod one_requirement;

use std::collections::{BTreeMap, BTreeSet};

use super::{AnyOf, Gate, GateName, GateRule, LONGEST_CODE, MoneyConditionKind, NeededBy, Policy, Requirement, Whose};

/// One thing that is wrong in a policy.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Where, as a JSON pointer (RFC 6901) into the policy.
    pub pointer: String,
    /// What, as a lasting code.
    pub code: &'static str,
    /// What would be right, in plain words.
    pub detail: String,
}

/// Every fault of a policy, in the order of its places; none when it may be used.
///
/// `milestones` are the codes that a gate may name: those of the season, dated or not.
#[must_use]
pub fn validate(policy: &Policy, milestones: &[&str]) -> Vec<Fault> {
    let mut faults = Faults::default();
    numbers(policy, &mut faults);
    let known: BTreeMap<&str, &Requirement> = policy.requirements.iter().rev().map(|r| (&*r.code, r)).collect();
    let mut seen = BTreeSet::new();
    for (at, requirement) in policy.requirements.iter().enumerate() {
        let place = format!("/requirements/{at}");
        check_code(&place, &requirement.code, &mut seen, &mut faults);
        one_requirement::check(&place, requirement, &known, &mut faults);
    }
    cycles(policy, &known, &mut faults);
    let mut grouped = BTreeSet::new();
    for (at, group) in policy.any_of.iter().enumerate() {
        let place = format!("/any_of/{at}");
        check_code(&place, &group.code, &mut seen, &mut faults);
        check_group(&place, group, &known, &mut grouped, &mut faults);
    }
    let mut named = BTreeSet::new();
    for (at, gate) in policy.gates.iter().enumerate() {
        check_gate(at, gate, &mut named, &mut faults);
        for (number, rule) in gate.rules.iter().enumerate() {
            check_rule(&format!("/gates/{at}/rules/{number}"), rule, &known, milestones, &mut faults);
        }
    }
    outside_steps(policy, &mut faults);
    faults.0
}

fn outside_steps(policy: &Policy, faults: &mut Faults) {
    faults.within("/outside_steps", policy.outside_steps.len(), 0, 20);
    let mut seen = BTreeSet::new();
    for (at, step) in policy.outside_steps.iter().enumerate() {
        let place = format!("/outside_steps/{at}");
        check_code(&place, &step.code, &mut seen, faults);
        let title = step.title.trim();
        if title.is_empty() || step.title.chars().count() > 120 || step.title.contains(char::is_control) {
            faults.add(
                format!("{place}/title"),
                "bad_title",
                "Say in 1 to 120 letters, on one line, what is to be done there.",
            );
        }
    }
}

/// The faults found so far.
#[derive(Default)]
struct Faults(Vec<Fault>);

impl Faults {
    fn add(&mut self, pointer: impl Into<String>, code: &'static str, detail: impl Into<String>) {
        self.0.push(Fault { pointer: pointer.into(), code, detail: detail.into() });
    }

    fn within<N: Copy + PartialOrd + std::fmt::Display>(&mut self, pointer: &str, value: N, least: N, most: N) {
        if value < least {
            self.add(pointer, "too_small", format!("At least {least}."));
        } else if value > most {
            self.add(pointer, "too_large", format!("At most {most}."));
        }
    }
}

fn numbers(policy: &Policy, faults: &mut Faults) {
    faults.within("/grace_days", policy.grace_days, 0, 90);
    faults.within("/mass_lapse_percent", policy.mass_lapse_percent, 1, 100);
    faults.within("/requirements", policy.requirements.len(), 0, 40);
    faults.within("/any_of", policy.any_of.len(), 0, 20);
    let intake = &policy.intake;
    faults.within("/intake/match_accept_percent", intake.match_accept_percent, 50, 100);
    faults.within("/intake/match_review_percent", intake.match_review_percent, 50, 100);
    faults.within("/intake/mass_change_percent", intake.mass_change_percent, 1, 100);
    faults.within("/intake/keep_list_files_days", intake.keep_list_files_days, 30, 3650);
    if intake.match_review_percent > intake.match_accept_percent {
        faults.add(
            "/intake/match_review_percent",
            "lines_crossed",
            format!(
                "The review line may not lie above the accept line ({} %): between the two a person decides.",
                intake.match_accept_percent
            ),
        );
    }
}

fn check_code<'a>(place: &str, code: &'a str, seen: &mut BTreeSet<&'a str>, faults: &mut Faults) {
    let pointer = format!("{place}/code");
    if !is_code(code) {
        faults.add(
            &pointer,
            "bad_code",
            format!("A code is 1 to {LONGEST_CODE} small letters, digits and underscores, and begins with a letter."),
        );
    }
    if !seen.insert(code) {
        faults.add(pointer, "duplicate_code", format!("\"{code}\" is used above; give each its own code."));
    }
}

/// Whether a text can be a code.
fn is_code(text: &str) -> bool {
    text.len() <= LONGEST_CODE
        && text.starts_with(|c: char| c.is_ascii_lowercase())
        && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
}

fn unknown_requirement(pointer: &str, code: &str, known: &BTreeMap<&str, &Requirement>, faults: &mut Faults) {
    let codes: Vec<&str> = known.keys().copied().collect();
    let detail = format!("There is no requirement \"{code}\" in this policy; it has: {}.", codes.join(", "));
    faults.add(pointer, "unknown_requirement", detail);
}

/// Tells each requirement that waits for itself, once per circle, at the first of its members.
fn cycles(policy: &Policy, known: &BTreeMap<&str, &Requirement>, faults: &mut Faults) {
    let mut told = BTreeSet::new();
    for (at, requirement) in policy.requirements.iter().enumerate() {
        let own = &*requirement.code;
        let mut reached = BTreeSet::new();
        let mut ahead: Vec<&str> = requirement.after.iter().map(|code| &**code).collect();
        while let Some(code) = ahead.pop() {
            if reached.insert(code)
                && let Some(next) = known.get(code)
            {
                ahead.extend(next.after.iter().map(|code| &**code));
            }
        }
        if reached.contains(own) && !told.contains(own) {
            told.extend(reached);
            faults.add(
                format!("/requirements/{at}/after"),
                "cycle",
                format!("\"{own}\" would have to be met before itself; take one requirement out of the circle."),
            );
        }
    }
}

fn check_group<'a>(
    place: &str,
    group: &'a AnyOf,
    known: &BTreeMap<&str, &Requirement>,
    grouped: &mut BTreeSet<&'a str>,
    faults: &mut Faults,
) {
    faults.within(&format!("{place}/requirements"), group.requirements.len(), 2, 20);
    let mut alike: Option<(Whose, NeededBy)> = None;
    for (at, code) in group.requirements.iter().enumerate() {
        let pointer = format!("{place}/requirements/{at}");
        match known.get(&**code) {
            None => unknown_requirement(&pointer, code, known, faults),
            Some(member) => {
                let same = (member.whose, member.needed_by);
                if *alike.get_or_insert(same) != same {
                    faults.add(
                        &pointer,
                        "other_subject",
                        "All of a group must have the same \"whose\" and \"needed_by\".",
                    );
                }
            }
        }
        if !grouped.insert(&**code) {
            faults.add(pointer, "in_two_groups", format!("\"{code}\" is in a group already; once is enough."));
        }
    }
}

fn check_gate(at: usize, gate: &Gate, named: &mut BTreeSet<GateName>, faults: &mut Faults) {
    if !named.insert(gate.gate) {
        faults.add(
            format!("/gates/{at}/gate"),
            "duplicate_gate",
            "This gate is described above; put all its rules into one entry.",
        );
    }
    faults.within(&format!("/gates/{at}/rules"), gate.rules.len(), 0, 20);
}

fn check_rule(
    place: &str,
    rule: &GateRule,
    known: &BTreeMap<&str, &Requirement>,
    milestones: &[&str],
    faults: &mut Faults,
) {
    for (key, milestone) in [("from", &rule.from), ("until", &rule.until)] {
        if let Some(code) = milestone
            && !milestones.contains(&&**code)
        {
            let detail = format!(
                "This season has no milestone \"{code}\" that comes once; add it, or name one of: {}.",
                milestones.join(", ")
            );
            faults.add(format!("{place}/{key}"), "unknown_milestone", detail);
        }
    }
    if rule.from.is_some() && rule.from == rule.until {
        faults.add(format!("{place}/until"), "never_in_force", "A rule must end after it begins.");
    }
    let mut seen = BTreeSet::new();
    for (at, code) in rule.needs_requirements.iter().enumerate() {
        let pointer = format!("{place}/needs_requirements/{at}");
        match known.get(&**code) {
            None => unknown_requirement(&pointer, code, known, faults),
            Some(asked) if asked.whose == Whose::UnitRole => faults.add(
                &pointer,
                "other_subject",
                format!("\"{code}\" is asked of people with a unit role; a troop's gate cannot wait for it."),
            ),
            Some(_) => {}
        }
        if !seen.insert(&**code) {
            faults.add(pointer, "duplicate_code", format!("\"{code}\" is named twice; once is enough."));
        }
    }
    if let Some(money) = rule.needs_money {
        let name = match money.kind {
            MoneyConditionKind::NothingOverdue => "nothing overdue",
            MoneyConditionKind::ExposureUnder => "exposure under an amount",
            MoneyConditionKind::NoDebtCarriedIn => "no debt carried in",
        };
        let detail = format!("\"{name}\" cannot be asked yet: this program keeps no money. Leave needs_money null.");
        faults.add(format!("{place}/needs_money"), "money_not_kept", detail);
    } else if rule.needs_requirements.is_empty() && !rule.needs_appointment {
        faults.add(place, "needs_nothing", "A rule must need something: requirements or appointment.");
    }
}

#[cfg(test)]
mod tests;
