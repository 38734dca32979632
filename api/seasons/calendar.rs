//! The calendar of a season: its time zone, its dated milestones, and the instants that they mean.
//!
//! A milestone is a day, which as a deadline means the day's end and as an opening its beginning, or a day and an hour;
//! all are local. The end of a day is the first instant of the next local date: some zones skip midnight when their clocks change, some repeat it,
//! and one once skipped a whole day. An hour that the clocks skip is read with the offset from before the gap, and an
//! hour that they repeat is its first occurrence (RFC 5545, section 3.3.5).

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;

use super::kind::MilestoneKind::{self, Deadline, Event, Opening};

/// The milestones that a new season starts with, all undated: code, title and kind.
pub const SHIPPED_MILESTONES: [(&str, &str, MilestoneKind); 13] = [
    ("kits_out", "Kits out", Event),
    ("opening_orders_due", "Opening orders due", Deadline),
    ("return_due", "Season return due", Deadline),
    ("web_sale_opens", "Web sale opens", Opening),
    ("sale_opens", "Sale opens", Opening),
    ("delivery_day", "Delivery day", Event),
    ("youth_count_fixed", "Youth count fixed", Deadline),
    ("first_payment", "First payment", Deadline),
    ("final_payment", "Final payment", Deadline),
    ("last_exchange", "Last exchange", Deadline),
    ("sale_closes", "Sale closes", Deadline),
    ("items_due", "Items due", Deadline),
    ("close_out_due", "Close-out due", Deadline),
];

/// What the rules need to know of a season's calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// The zone in which every day and hour of the season is meant.
    pub zone: Tz,
    /// The first day of the season: evidence from before it is not of this season.
    pub starts_on: NaiveDate,
    /// The milestones, dated or not.
    pub milestones: Vec<Milestone>,
}

/// A milestone, with our date and, where it differs, head office's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Milestone {
    /// The lasting name by which a policy refers to it.
    pub code: String,
    /// What a volunteer reads.
    pub title: String,
    /// Our date; none while it is not fixed.
    pub ours: Option<When>,
    /// Head office's date, where it is known.
    pub head_office: Option<When>,
}

/// A day, or a day and an hour, local to the season.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// A deadline: the end of this day.
    Day(NaiveDate),
    /// An opening: the beginning of this day.
    Begin(NaiveDate),
    /// This hour.
    Hour(NaiveDateTime),
}

impl When {
    /// The local date.
    #[must_use]
    pub fn day(self) -> NaiveDate {
        match self {
            Self::Day(day) | Self::Begin(day) => day,
            Self::Hour(local) => local.date(),
        }
    }

    /// The same on another local date.
    #[must_use]
    pub fn on(self, day: NaiveDate) -> Self {
        match self {
            Self::Day(_) => Self::Day(day),
            Self::Begin(_) => Self::Begin(day),
            Self::Hour(local) => Self::Hour(day.and_time(local.time())),
        }
    }
}

impl Calendar {
    /// The instant of a milestone: ours, else head office's; none for an unknown or undated one.
    #[must_use]
    pub fn instant(&self, code: &str) -> Option<DateTime<Utc>> {
        let milestone = self.milestones.iter().find(|milestone| milestone.code == code)?;
        Some(self.resolve(milestone.ours.or(milestone.head_office)?))
    }

    /// The instant that a local day (its end or its beginning) or hour means.
    #[must_use]
    pub fn resolve(&self, when: When) -> DateTime<Utc> {
        match when {
            When::Day(day) => end_of_day(self.zone, day),
            When::Begin(day) => start_of_day(self.zone, day),
            When::Hour(local) => local_instant(self.zone, local),
        }
    }

    /// The dated milestones with their instants, earliest first.
    #[must_use]
    pub fn dated(&self) -> Vec<(&Milestone, DateTime<Utc>)> {
        let mut dated: Vec<_> =
            self.milestones.iter().filter_map(|milestone| Some((milestone, self.instant(&milestone.code)?))).collect();
        dated.sort_by(|a, b| (a.1, &a.0.code).cmp(&(b.1, &b.0.code)));
        dated
    }

    /// The first instant of a local date.
    #[must_use]
    pub fn start_of_day(&self, day: NaiveDate) -> DateTime<Utc> {
        start_of_day(self.zone, day)
    }

    /// The end of a local date: the first instant of the next one.
    #[must_use]
    pub fn end_of_day(&self, day: NaiveDate) -> DateTime<Utc> {
        end_of_day(self.zone, day)
    }

    /// The local date at an instant.
    #[must_use]
    pub fn date(&self, at: DateTime<Utc>) -> NaiveDate {
        at.with_timezone(&self.zone).date_naive()
    }
}

/// The end of a local date: the first instant at which the next local date has begun.
#[must_use]
pub fn end_of_day(zone: Tz, day: NaiveDate) -> DateTime<Utc> {
    start_of_day(zone, day.checked_add_days(Days::new(1)).unwrap_or(day))
}

/// The first instant at which a local date has begun, also where the clocks skip midnight or the whole date.
#[must_use]
pub fn start_of_day(zone: Tz, day: NaiveDate) -> DateTime<Utc> {
    let midnight = within_reach(day).and_time(NaiveTime::MIN);
    match zone.from_local_datetime(&midnight) {
        chrono::LocalResult::Single(at) | chrono::LocalResult::Ambiguous(at, _) => at.to_utc(),
        chrono::LocalResult::None => gap_around(zone, midnight).1,
    }
}

/// The instant of a local date and time: in a gap with the offset from before it, in an overlap the first.
#[must_use]
pub fn local_instant(zone: Tz, local: NaiveDateTime) -> DateTime<Utc> {
    let local = within_reach(local.date()).and_time(local.time());
    match zone.from_local_datetime(&local) {
        chrono::LocalResult::Single(at) | chrono::LocalResult::Ambiguous(at, _) => at.to_utc(),
        chrono::LocalResult::None => Utc.from_utc_datetime(&(local - gap_around(zone, local).0)),
    }
}

/// The day, brought between the years 1000 and 9000, where no calendar arithmetic overflows.
fn within_reach(day: NaiveDate) -> NaiveDate {
    match day.year() {
        ..1000 => NaiveDate::from_ymd_opt(1000, 1, 1),
        9001.. => NaiveDate::from_ymd_opt(9000, 12, 31),
        _ => None,
    }
    .unwrap_or(day)
}

/// The gap in which a local time falls: the offset before it, and the instant at which the clocks jump.
///
/// No zone has changed its clocks twice within the two days around a gap, so halving finds the one jump.
fn gap_around(zone: Tz, local: NaiveDateTime) -> (TimeDelta, DateTime<Utc>) {
    let offset =
        |at: NaiveDateTime| TimeDelta::seconds(zone.offset_from_utc_datetime(&at).fix().local_minus_utc().into());
    // Offsets reach from -12 to +14 hours (and a jump over a whole day is one of 24), so a day and a half either side.
    let (mut before, mut after) = (local - TimeDelta::hours(36), local + TimeDelta::hours(36));
    let earlier = offset(before);
    while after - before > TimeDelta::seconds(1) {
        let middle = before + TimeDelta::seconds((after - before).num_seconds() / 2);
        if offset(middle) == earlier {
            before = middle;
        } else {
            after = middle;
        }
    }
    (earlier, Utc.from_utc_datetime(&after))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// Expected instants from the IANA time zone database as Python's zoneinfo shows it, typed by hand.
    #[test]
    fn a_day_ends_where_the_next_local_date_begins() {
        for (zone, date, end) in [
            (Tz::UTC, "2027-01-15", "2027-01-16T00:00:00Z"),
            (Tz::America__New_York, "2026-01-15", "2026-01-16T05:00:00Z"),
            (Tz::America__New_York, "2026-07-15", "2026-07-16T04:00:00Z"),
            // 23 and 25 hours long: the clocks change at two in the night.
            (Tz::America__New_York, "2026-03-08", "2026-03-09T04:00:00Z"),
            (Tz::America__New_York, "2026-11-01", "2026-11-02T05:00:00Z"),
            // Midnight was skipped: 4 November 2018 began at one o'clock there.
            (Tz::America__Sao_Paulo, "2018-11-03", "2018-11-04T03:00:00Z"),
            // The last hour before midnight came twice on 17 February 2018.
            (Tz::America__Sao_Paulo, "2018-02-17", "2018-02-18T03:00:00Z"),
            // Midnight is repeated: in Havana one o'clock falls back to midnight; the first one counts.
            (Tz::America__Havana, "2026-10-31", "2026-11-01T04:00:00Z"),
            // The 30th of December 2011 did not take place in Samoa.
            (Tz::Pacific__Apia, "2011-12-29", "2011-12-30T10:00:00Z"),
            (Tz::Pacific__Apia, "2011-12-30", "2011-12-30T10:00:00Z"),
            (Tz::Pacific__Apia, "2011-12-31", "2011-12-31T10:00:00Z"),
        ] {
            assert_eq!(end_of_day(zone, day(date)), at(end), "{zone} {date}");
        }
    }

    /// RFC 5545, section 3.3.5, with the dates of check-values 8.15.
    #[test]
    fn hours_in_gaps_and_overlaps_are_read_as_rfc_5545_says() {
        for (local, instant) in [
            ("2026-03-08T01:59:59", "2026-03-08T06:59:59Z"),
            ("2026-03-08T02:30:00", "2026-03-08T07:30:00Z"),
            ("2026-03-08T03:30:00", "2026-03-08T07:30:00Z"),
            ("2026-11-01T01:30:00", "2026-11-01T05:30:00Z"),
            ("2026-11-01T02:30:00", "2026-11-01T07:30:00Z"),
        ] {
            assert_eq!(local_instant(Tz::America__New_York, local.parse().unwrap()), at(instant), "{local}");
        }
    }

    #[test]
    fn a_day_is_its_end_and_an_hour_is_itself() {
        let calendar = Calendar {
            zone: Tz::America__New_York,
            starts_on: day("2026-09-01"),
            milestones: vec![
                milestone("sale_opens", Some(When::Hour("2027-01-08T09:00:00".parse().unwrap())), None),
                milestone("return_due", Some(When::Day(day("2027-01-15"))), Some(When::Day(day("2027-01-18")))),
                milestone("delivery_day", None, Some(When::Day(day("2026-12-20")))),
                milestone("sale_closes", None, None),
                milestone("web_sale_opens", Some(When::Begin(day("2027-01-05"))), None),
            ],
        };
        assert_eq!(calendar.instant("sale_opens"), Some(at("2027-01-08T14:00:00Z")));
        assert_eq!(calendar.instant("return_due"), Some(at("2027-01-16T05:00:00Z")));
        assert_eq!(calendar.instant("delivery_day"), Some(at("2026-12-21T05:00:00Z")));
        assert_eq!(calendar.instant("sale_closes"), None);
        assert_eq!(calendar.instant("moon"), None);
        assert_eq!(
            calendar.instant("web_sale_opens"),
            Some(at("2027-01-05T05:00:00Z")),
            "an opening begins with its day"
        );
        let order: Vec<_> = calendar.dated().iter().map(|(milestone, _)| milestone.code.clone()).collect();
        assert_eq!(order, ["delivery_day", "web_sale_opens", "sale_opens", "return_due"]);
        assert_eq!(calendar.date(at("2027-01-16T04:59:59Z")), day("2027-01-15"));
        assert_eq!(calendar.date(at("2027-01-16T05:00:00Z")), day("2027-01-16"));
    }

    #[test]
    fn no_date_is_out_of_reach() {
        for date in [NaiveDate::MIN, NaiveDate::MAX] {
            for zone in [Tz::UTC, Tz::Pacific__Apia, Tz::America__Sao_Paulo] {
                assert!(start_of_day(zone, date) <= end_of_day(zone, date));
                let _ = local_instant(zone, date.and_time(NaiveTime::MIN));
            }
        }
    }

    /// The promise itself, in every zone there is, over three years of clock changes: the instant is the first one
    /// whose local date is that day or a later one.
    #[test]
    fn the_start_of_a_day_is_its_first_instant_in_every_zone() {
        for zone in chrono_tz::TZ_VARIANTS {
            for date in day("2024-01-01").iter_days().take(3 * 365) {
                let start = start_of_day(zone, date);
                let local = |at: DateTime<Utc>| at.with_timezone(&zone).date_naive();
                assert!(local(start) >= date, "{zone} {date}");
                assert!(local(start - TimeDelta::seconds(1)) < date, "{zone} {date}");
            }
        }
    }

    fn milestone(code: &str, ours: Option<When>, head_office: Option<When>) -> Milestone {
        Milestone { code: code.to_owned(), title: code.to_owned(), ours, head_office }
    }
}
