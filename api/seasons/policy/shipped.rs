//! The policy that a new season starts with: this project's own requirements and numbers, to be changed by each unit.

use super::Policy;

/// The shipped policy as the document that a volunteer could have sent.
const DOCUMENT: &str = include_str!("shipped.json");

/// The policy that a new season starts with: seven requirements, a pass mark of 80 %, five days of grace, the lead
/// coordinator counted.
///
/// # Errors
/// When the document inside this program cannot be read, which the tests of this file rule out.
pub fn shipped_policy() -> Result<Policy, serde_json::Error> {
    serde_json::from_str(DOCUMENT)
}

/// The shipped policy as a volunteer's program would send it, for the API's document.
pub(super) fn as_sent() -> serde_json::Value {
    serde_json::from_str(DOCUMENT).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::{NeededBy, WaivableBy, validate};
    use super::*;
    use crate::seasons::calendar::SHIPPED_MILESTONES;

    #[test]
    fn the_shipped_policy_reads_and_has_no_fault() {
        let policy = shipped_policy().unwrap();
        let known: Vec<&str> = SHIPPED_MILESTONES.iter().map(|(code, ..)| *code).collect();
        assert_eq!(validate(&policy, &known), vec![]);
    }

    #[test]
    fn the_shipped_numbers_are_the_projects_own() {
        let policy = shipped_policy().unwrap();
        assert_eq!(policy.requirements.len(), 7);
        assert_eq!(policy.grace_days, 5);
        let scores: Vec<_> = policy.requirements.iter().filter_map(|r| r.minimum_score).collect();
        assert_eq!(scores, [80, 80]);
        let first: Vec<_> =
            policy.requirements.iter().filter(|r| r.needed_by == NeededBy::FirstSeason).map(|r| &*r.code).collect();
        assert_eq!(first, ["first_season_course"]);
        for careful in ["membership", "screening"] {
            let requirement = policy.requirements.iter().find(|r| r.code == careful).unwrap();
            assert_eq!(requirement.who_may_waive(), WaivableBy::Never, "{careful}");
        }
    }

    #[test]
    fn a_policy_that_was_kept_before_files_had_a_time_keeps_them_400_days() {
        let mut document: serde_json::Value = serde_json::from_str(DOCUMENT).unwrap();
        document["intake"].as_object_mut().unwrap().remove("keep_list_files_days");
        let policy: Policy = serde_json::from_value(document).unwrap();
        assert_eq!(policy.intake.keep_list_files_days, 400);
    }

    #[test]
    fn writing_and_reading_changes_nothing() {
        let policy = shipped_policy().unwrap();
        let text = serde_json::to_string(&policy).unwrap();
        assert_eq!(serde_json::from_str::<Policy>(&text).unwrap(), policy);
    }
}
