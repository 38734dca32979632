//! What a milestone is: a deadline, an opening or an event. Pure.

use chrono::{NaiveDate, NaiveTime};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::calendar::When;
use crate::error::FieldError;

/// What a milestone is. New values may come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MilestoneKind {
    /// Something is due: its day counts to its end, and ours is never after head office's.
    #[default]
    Deadline,
    /// Something begins: its day counts from its beginning, and ours is never before head office's.
    Opening,
    /// Something takes place: its day counts to its end, on whichever side of head office's.
    Event,
}

impl MilestoneKind {
    /// Its name in the database.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Deadline => "deadline",
            Self::Opening => "opening",
            Self::Event => "event",
        }
    }

    /// The kind of this name.
    pub(super) fn named(name: &str) -> Self {
        match name {
            "opening" => Self::Opening,
            "event" => Self::Event,
            _ => Self::Deadline,
        }
    }

    /// What a day means for it, with a time of day or without.
    pub(super) fn when(self, day: NaiveDate, time: Option<NaiveTime>) -> When {
        match (time, self) {
            (Some(time), _) => When::Hour(day.and_time(time)),
            (None, Self::Opening) => When::Begin(day),
            (None, Self::Deadline | Self::Event) => When::Day(day),
        }
    }

    /// What is wrong with a pair of dates, if anything: who keeps our deadline must keep head office's with it, and who
    /// begins on our day must not begin before head office lets them.
    pub(super) fn pair_fault(
        self,
        (our_day, our_time): (Option<NaiveDate>, Option<NaiveTime>),
        (their_day, their_time): (Option<NaiveDate>, Option<NaiveTime>),
    ) -> Option<FieldError> {
        let (ours, theirs) = (our_day?, their_day?);
        // Without a time of day a deadline is the end of its day, later than every time of it, and an opening its beginning.
        let (late, early) = (|time: Option<NaiveTime>| (time.is_none(), time), |time: Option<NaiveTime>| time);
        let (ours_at, theirs_at) = (said(ours, our_time), said(theirs, their_time));
        let detail = match self {
            Self::Deadline if (ours, late(our_time)) > (theirs, late(their_time)) => format!(
                "{theirs_at} or earlier: our deadline ({ours_at}) would lie after head office's ({theirs_at}), and whoever keeps ours would miss theirs. Move ours, or correct theirs; where it is no deadline, say so with kind"
            ),
            Self::Opening if (ours, early(our_time)) < (theirs, early(their_time)) => format!(
                "{theirs_at} or later: ours ({ours_at}) would begin before head office's ({theirs_at}). Move ours, or correct theirs; where it is no opening, say so with kind"
            ),
            Self::Deadline | Self::Opening | Self::Event => return None,
        };
        let code = if self == Self::Deadline { "after_head_office" } else { "before_head_office" };
        let place = if ours == theirs { "/at_local_time" } else { "/on_day" };
        Some(FieldError::at(place, code, detail))
    }
}

fn said(day: NaiveDate, time: Option<NaiveTime>) -> String {
    time.map_or_else(|| day.to_string(), |time| format!("{day} at {}", time.format("%H:%M")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn when(text: &str) -> (Option<NaiveDate>, Option<NaiveTime>) {
        let (day, time) = text.split_once(' ').unwrap_or((text, ""));
        (day.parse().ok(), NaiveTime::parse_from_str(time, "%H:%M").ok())
    }

    /// By hand, from what each kind promises.
    #[test]
    fn a_deadline_of_ours_is_not_after_head_offices_and_an_opening_not_before() {
        for (kind, ours, theirs, told) in [
            (MilestoneKind::Deadline, "2027-01-04", "2027-01-04", None),
            (MilestoneKind::Deadline, "2027-01-03", "2027-01-04", None),
            (MilestoneKind::Deadline, "2027-01-05", "2027-01-04", Some(("/on_day", "after_head_office"))),
            (MilestoneKind::Deadline, "2027-01-04", "2027-01-04 17:00", Some(("/at_local_time", "after_head_office"))),
            (MilestoneKind::Deadline, "2027-01-04 17:00", "2027-01-04", None),
            (
                MilestoneKind::Deadline,
                "2027-01-04 17:00",
                "2027-01-04 16:59",
                Some(("/at_local_time", "after_head_office")),
            ),
            (MilestoneKind::Deadline, "", "2027-01-04", None),
            (MilestoneKind::Deadline, "2027-01-05", "", None),
            (MilestoneKind::Opening, "2027-01-05", "2027-01-04", None),
            (MilestoneKind::Opening, "2027-01-04", "2027-01-04", None),
            (MilestoneKind::Opening, "2027-01-03", "2027-01-04", Some(("/on_day", "before_head_office"))),
            (MilestoneKind::Opening, "2027-01-04", "2027-01-04 09:00", Some(("/at_local_time", "before_head_office"))),
            (MilestoneKind::Opening, "2027-01-04 09:00", "2027-01-04", None),
            (MilestoneKind::Event, "2027-01-05", "2027-01-04", None),
            (MilestoneKind::Event, "2027-01-03", "2027-01-04", None),
        ] {
            let fault = kind.pair_fault(when(ours), when(theirs));
            let fault = fault.as_ref().map(|fault| (fault.pointer.as_deref().unwrap_or_default(), &*fault.code));
            assert_eq!(fault, told, "{kind:?} {ours} {theirs}");
        }
    }

    #[test]
    fn what_is_told_names_both_days() {
        let fault = MilestoneKind::Deadline.pair_fault(when("2027-01-06"), when("2027-01-04 17:00")).unwrap();
        let told = "2027-01-04 at 17:00 or earlier: our deadline (2027-01-06) would lie after head office's (2027-01-04 at 17:00)";
        assert!(fault.detail.starts_with(told), "{}", fault.detail);
    }

    #[test]
    fn a_kind_is_found_by_its_name() {
        for kind in [MilestoneKind::Deadline, MilestoneKind::Opening, MilestoneKind::Event] {
            assert_eq!(MilestoneKind::named(kind.name()), kind);
        }
    }
}
