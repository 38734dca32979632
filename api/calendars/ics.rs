//! Entries as a calendar program reads them (RFC 5545): pure.

use chrono::Days;
use icalendar::{Calendar, Component, EventLike, EventStatus, Property};

use crate::seasons::{DatedEvent, Starts};

/// Who made it (RFC 5545, section 3.7.3).
const MADE_BY: &str = "-//Caselot//Season calendar//EN";
/// How often a program need look again (RFC 7986, section 5.7).
const LOOK_AGAIN: &str = "PT4H";

/// A calendar of this name with these entries. Days are whole days wherever they are read; hours are instants, so that no
/// program needs to know the season's time zone.
pub(super) fn written(name: &str, events: &[DatedEvent]) -> String {
    let mut calendar = Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", MADE_BY))
        .append_property(Property::new("CALSCALE", "GREGORIAN"))
        .append_property(Property::new("METHOD", "PUBLISH"))
        .append_property(Property::new("X-PUBLISHED-TTL", LOOK_AGAIN));
    calendar.append_property(Property::new("REFRESH-INTERVAL", LOOK_AGAIN).add_parameter("VALUE", "DURATION").done());
    // The crate escapes what it knows to be text, and NAME (RFC 7986, section 5.1) only where it is said.
    calendar.append_property(Property::new("NAME", name).add_parameter("VALUE", "TEXT").done());
    calendar.append_property(Property::new("X-WR-CALNAME", name));
    for event in events {
        calendar.push(entry(event));
    }
    calendar.to_string()
}

fn entry(event: &DatedEvent) -> icalendar::Event {
    let mut entry = icalendar::Event::with_uid(&event.uid);
    entry
        .timestamp(event.changed_at)
        .summary(&event.title)
        .sequence(event.sequence)
        .status(if event.cancelled { EventStatus::Cancelled } else { EventStatus::Confirmed })
        // Nobody is busy because something is due.
        .add_property("TRANSP", "TRANSPARENT");
    if !event.note.is_empty() {
        entry.description(&event.note);
    }
    match event.starts {
        Starts::Day(day) => {
            entry.starts(day);
            // The end of a whole day is the next one (RFC 5545, section 3.6.1).
            if let Some(next) = day.checked_add_days(Days::new(1)) {
                entry.ends(next);
            }
        }
        Starts::At(instant) => {
            entry.starts(instant);
        }
    }
    entry.done()
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, NaiveDate, Utc};

    use super::written;
    use crate::seasons::{DatedEvent, Starts};

    /// RFC 5545, section 3.3.11: comma, semicolon and backslash are escaped in every text; section 3.1: no line is longer than
    /// 75 octets, and a fold never parts a letter of several.
    #[test]
    fn every_text_is_escaped_and_long_lines_are_folded_between_letters() {
        let event = DatedEvent {
            uid: "0198c0de-0000-7000-8000-000000009011".to_owned(),
            title: format!(r"Stalls: oat rounds, jam; \ {}", "é".repeat(60)),
            starts: Starts::Day(NaiveDate::from_ymd_opt(2040, 1, 6).unwrap()),
            note: String::new(),
            sequence: 2,
            changed_at: DateTime::<Utc>::UNIX_EPOCH,
            cancelled: true,
        };
        let calendar = written("Juniper Ridge, north; 2040", &[event]);
        assert!(calendar.lines().all(|line| line.len() <= 75), "{calendar}");
        let unfolded: Vec<String> = calendar.replace("\r\n ", "").split("\r\n").map(str::to_owned).collect();
        for line in [
            r"NAME;VALUE=TEXT:Juniper Ridge\, north\; 2040".to_owned(),
            r"X-WR-CALNAME:Juniper Ridge\, north\; 2040".to_owned(),
            format!(r"SUMMARY:Stalls: oat rounds\, jam\; \\ {}", "é".repeat(60)),
            "STATUS:CANCELLED".to_owned(),
            "SEQUENCE:2".to_owned(),
        ] {
            assert!(unfolded.contains(&line), "{line}\n{calendar}");
        }
    }
}
