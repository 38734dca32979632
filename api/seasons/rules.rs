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
