//! What a season's fields must be: pure.

use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;

use crate::error::FieldError;

/// The currencies in which a unit can keep its books: ISO 4217, list one, as Debian's package iso-codes 4.15.0 has it,
/// without metals, funds and test codes; `XCG` and `ZWG`, which are younger than that package, from memory.
const CURRENCIES: &str = "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN \
    BZD CAD CDF CHF CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD \
    HKD HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD \
    MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON \
    RSD RUB RWF SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX \
    USD UYU UZS VED VES VND VUV WST XAF XCD XCG XOF XPF YER ZAR ZMW ZWG";

/// The zone of this IANA name.
pub(super) fn zone(name: &str) -> Option<Tz> {
    name.parse().ok()
}

/// What is wrong with a time zone, if anything.
pub(super) fn zone_fault(name: &str) -> Option<FieldError> {
    zone(name).is_none().then(|| {
        FieldError::at("/time_zone", "unknown_time_zone", "an IANA time zone by its full name, such as America/Chicago")
    })
}

/// What is wrong with a currency, if anything.
pub(super) fn currency_fault(code: &str) -> Option<FieldError> {
    let known = code.len() == 3 && CURRENCIES.split(' ').any(|known| known == code);
    (!known).then(|| {
        FieldError::at("/currency", "unknown_currency", "a currency by its three letters (ISO 4217), such as USD")
    })
}

/// What is wrong with a season's days, if anything.
pub(super) fn days_fault(starts_on: NaiveDate, ends_on: NaiveDate) -> Option<FieldError> {
    (ends_on <= starts_on).then(|| FieldError::at("/ends_on", "too_early", "a day after the season's first day"))
}

/// The seasons of a unit, as (label, first day, last day), that share days with one.
pub(super) fn shared_days<'a>(
    (starts_on, ends_on): (NaiveDate, NaiveDate),
    others: impl Iterator<Item = (&'a str, NaiveDate, NaiveDate)>,
) -> Vec<FieldError> {
    let shared = others.filter(|(_, from, to)| *from <= ends_on && starts_on <= *to);
    let said = shared.map(|(label, from, to)| format!("\"{label}\" runs from {from} to {to}."));
    said.map(|detail| FieldError::matter("shares_days", detail)).collect()
}

/// A season that is already over says nothing that anybody could still do; most often its year is mistyped.
pub(super) fn over_fault(zone: Option<Tz>, ends_on: NaiveDate, now: DateTime<Utc>) -> Option<FieldError> {
    let today = now.with_timezone(&zone?).date_naive();
    (ends_on < today).then(|| {
        FieldError::at("/ends_on", "in_past", format!("today ({today}) or later: the season would be over already"))
    })
}

/// How far outside its season a milestone may lie: what is prepared before the first day, and settled after the last.
const AROUND_SEASON_DAYS: u64 = 92;

/// What is wrong with a milestone's days, if anything: far from their season, their year is mistyped.
pub(super) fn far_faults(
    (starts_on, ends_on): (NaiveDate, NaiveDate),
    days: [(&'static str, Option<NaiveDate>); 3],
) -> Vec<FieldError> {
    let around = Days::new(AROUND_SEASON_DAYS);
    let first = starts_on.checked_sub_days(around).unwrap_or(starts_on);
    let last = ends_on.checked_add_days(around).unwrap_or(ends_on);
    days.into_iter()
        .filter(|(_, day)| day.is_some_and(|day| day < first || day > last))
        .map(|(pointer, _)| {
            let expected = format!(
                "a day from {first} to {last}: the season runs from {starts_on} to {ends_on}, so look at the year, or move the season first (change_season)"
            );
            FieldError::at(pointer, "far_from_season", expected)
        })
        .collect()
}

/// Shipped milestones of which the first cannot come after the second.
const IN_ORDER: [(&str, &str); 4] = [
    ("opening_orders_due", "delivery_day"),
    ("sale_opens", "sale_closes"),
    ("web_sale_opens", "sale_closes"),
    ("sale_closes", "close_out_due"),
];

/// What is wrong with the order of our days of milestones by code, if anything, when `code` is to be on `on_day`.
pub(super) fn order_fault(
    code: &str,
    on_day: Option<NaiveDate>,
    others: &[(&str, &str, Option<NaiveDate>)],
) -> Option<FieldError> {
    let on_day = on_day?;
    let found = |named: &str| others.iter().find(|(code, ..)| *code == named);
    IN_ORDER.iter().find_map(|&(first, second)| {
        let (other, wrong, word): (_, fn(NaiveDate, NaiveDate) -> bool, _) = match code {
            _ if code == first => (found(second)?, |day, other| day > other, "at the latest"),
            _ if code == second => (found(first)?, |day, other| day < other, "at the earliest"),
            _ => return None,
        };
        let (_, title, other_day) = *other;
        let other_day = other_day.filter(|other| wrong(on_day, *other))?;
        let expected = format!("{other_day} {word}, the day of \"{title}\"; move that one first if both move");
        Some(FieldError::at("/on_day", "out_of_order", expected))
    })
}

/// A season that has begun, in its zone, does not begin later: what was recorded in it would fall outside and count no
/// more.
pub(super) fn begun_fault(
    (zone, began_on): (Option<Tz>, NaiveDate),
    starts_on: NaiveDate,
    now: DateTime<Utc>,
) -> Option<FieldError> {
    let begun = zone.is_some_and(|zone| now.with_timezone(&zone).date_naive() >= began_on);
    (begun && starts_on > began_on).then(|| {
        let detail =
            format!("{began_on} or earlier: the season has begun, and what was recorded in it would count no more");
        FieldError::at("/starts_on", "has_begun", detail)
    })
}

/// A time of day says nothing without its day.
pub(super) fn time_faults(
    ours: (Option<NaiveDate>, Option<NaiveTime>),
    head_office: (Option<NaiveDate>, Option<NaiveTime>),
) -> Vec<FieldError> {
    let fault = |pointer: &str| FieldError::at(pointer, "needs_day", "a time of day only together with its day");
    [(ours, "/at_local_time"), (head_office, "/head_office_at_local_time")]
        .into_iter()
        .filter(|((day, time), _)| day.is_none() && time.is_some())
        .map(|(_, pointer)| fault(pointer))
        .collect()
}

/// What is wrong with a weekly repetition, if anything: it needs a first day, and it goes on for at most 60 weeks.
pub(super) fn repeat_fault(on_day: Option<NaiveDate>, repeats_until_on: Option<NaiveDate>) -> Option<FieldError> {
    let until = repeats_until_on?;
    let fault = |code: &str, detail: String| Some(FieldError::at("/repeats_until_on", code, detail));
    let Some(first) = on_day else {
        return fault("needs_day", "a last day only together with the first one (on_day)".to_owned());
    };
    let most = first.checked_add_days(Days::new(420)).unwrap_or(first);
    if until <= first {
        return fault("too_early", format!("a day after {first}, the first one"));
    }
    (until > most)
        .then(|| FieldError::at("/repeats_until_on", "too_far", format!("at most 60 weeks: {most} or earlier")))
}

/// The days of something that comes every week from a day on; only that day where it does not repeat.
pub(super) fn weekly(first: NaiveDate, until: Option<NaiveDate>) -> impl Iterator<Item = NaiveDate> {
    let days = (0_u64..).step_by(7).map_while(move |days| first.checked_add_days(Days::new(days)));
    days.take_while(move |day| *day == first || until.is_some_and(|until| *day <= until))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zones_and_currencies_are_known_by_their_full_names() {
        for (name, good) in
            [("America/Chicago", true), ("UTC", true), ("Europe/Oslo", true), ("america/chicago", false)]
        {
            assert_eq!(zone_fault(name).is_none(), good, "{name}");
        }
        for bad in ["", "Chicago", "+01:00", "America/Juniper_Ridge"] {
            assert!(zone_fault(bad).is_some(), "{bad}");
        }
        for (code, good) in
            [("USD", true), ("XOF", true), ("JPY", true), ("usd", false), ("XXX", false), ("XAU", false)]
        {
            assert_eq!(currency_fault(code).is_none(), good, "{code}");
        }
        for bad in ["", "US", "USD ", "D E", "ABC"] {
            assert!(currency_fault(bad).is_some(), "{bad}");
        }
    }

    #[test]
    fn what_repeats_comes_every_seventh_day_up_to_its_last_day() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let days = |until: Option<&str>| -> Vec<String> {
            weekly(day("2027-02-24"), until.map(day)).map(|day| day.to_string()).collect()
        };
        assert_eq!(days(None), ["2027-02-24"]);
        assert_eq!(days(Some("2027-03-02")), ["2027-02-24"]);
        assert_eq!(days(Some("2027-03-17")), ["2027-02-24", "2027-03-03", "2027-03-10", "2027-03-17"]);
        for (first, until, expected) in [
            (Some("2027-02-24"), None, None),
            (Some("2027-02-24"), Some("2027-02-25"), None),
            (Some("2027-02-24"), Some("2028-04-19"), None),
            (Some("2027-02-24"), Some("2028-04-20"), Some("too_far")),
            (Some("2027-02-24"), Some("2027-02-24"), Some("too_early")),
            (None, Some("2027-02-24"), Some("needs_day")),
        ] {
            let told = repeat_fault(first.map(day), until.map(day)).map(|fault| fault.code);
            assert_eq!(told.as_deref(), expected, "{first:?} {until:?}");
        }
    }

    #[test]
    fn a_milestone_lies_near_its_season() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let season = (day("2026-09-01"), day("2027-03-31"));
        // 2026-09-01 less 92 days is 2026-06-01; 2027-03-31 and 92 days is 2027-07-01: counted on a calendar.
        for (text, good) in [
            ("2026-06-01", true),
            ("2026-05-31", false),
            ("2027-07-01", true),
            ("2027-07-02", false),
            ("2036-12-01", false),
        ] {
            let faults = far_faults(season, [("/on_day", Some(day(text))), ("/b", None), ("/c", None)]);
            assert_eq!(faults.is_empty(), good, "{text}");
        }
        let both =
            far_faults(season, [("/on_day", None), ("/b", Some(day("1999-01-01"))), ("/c", Some(day("2099-01-01")))]);
        assert_eq!(both.len(), 2, "each is named");
    }

    #[test]
    fn what_must_come_first_comes_first() {
        let day = |text: &str| text.parse::<NaiveDate>().ok();
        let others = [
            ("delivery_day", "Delivery day", day("2027-01-30")),
            ("sale_closes", "Sale closes", day("2027-03-14")),
            ("sale_opens", "Sale opens", None),
        ];
        for (code, on_day, good) in [
            ("opening_orders_due", "2027-01-30", true),
            ("opening_orders_due", "2027-01-31", false),
            ("close_out_due", "2027-03-13", false),
            ("sale_opens", "2027-03-15", false),
            ("sale_closes", "2020-01-01", true),
            ("site_visit", "2030-01-01", true),
        ] {
            assert_eq!(order_fault(code, day(on_day), &others).is_none(), good, "{code} {on_day}");
        }
        assert!(order_fault("sale_opens", None, &others).is_none(), "not fixed yet");
    }

    #[test]
    fn a_season_that_is_over_is_not_made() {
        let (zone, now) = (zone("America/Chicago"), "2027-01-02T03:00:00Z".parse().unwrap());
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        assert!(over_fault(zone, day("2027-01-01"), now).is_none(), "it is still the first of January there");
        assert!(over_fault(zone, day("2026-12-31"), now).is_some());
    }

    #[test]
    fn seasons_share_days_when_one_begins_before_the_other_has_ended() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let shared = |from, to| {
            let there = [("2026/27", day("2026-09-01"), day("2027-05-31"))];
            shared_days((day(from), day(to)), there.into_iter()).len()
        };
        assert_eq!(shared("2027-06-01", "2027-12-31"), 0);
        assert_eq!(shared("2027-05-31", "2027-12-31"), 1, "the last day is of both");
        assert_eq!(shared("2026-01-01", "2026-08-31"), 0);
        assert_eq!(shared("2026-01-01", "2026-09-01"), 1);
        assert_eq!(shared("2026-10-01", "2026-10-31"), 1);
        assert_eq!(shared("2020-01-01", "2030-01-01"), 1);
    }

    #[test]
    fn a_season_ends_after_it_starts() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        assert!(days_fault(day("2026-09-01"), day("2027-03-31")).is_none());
        assert!(days_fault(day("2026-09-01"), day("2026-09-01")).is_some());
    }

    #[test]
    fn a_time_without_its_day_is_a_fault_at_its_place() {
        let day = NaiveDate::from_ymd_opt(2027, 1, 15);
        let time = NaiveTime::from_hms_opt(17, 0, 0);
        let places =
            |ours, office| time_faults(ours, office).into_iter().filter_map(|fault| fault.pointer).collect::<Vec<_>>();
        assert!(places((day, time), (day, None)).is_empty());
        assert_eq!(places((None, time), (None, time)), ["/at_local_time", "/head_office_at_local_time"]);
        assert_eq!(places((day, None), (None, time)), ["/head_office_at_local_time"]);
    }
}
