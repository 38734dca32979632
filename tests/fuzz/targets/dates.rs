//! Days as lists write them, in each order. A day that was read reads the same when it is written year first, and what is
//! said of a column's order is what its cells say.
#![no_main]

use caselot::intake::columns::dates::{DateOrder, OrderFound, order_of, read};
use caselot::intake::parse::table::{Cell, CellKind};
use chrono::Datelike;
use libfuzzer_sys::fuzz_target;

const ORDERS: [DateOrder; 3] = [DateOrder::DayFirst, DateOrder::MonthFirst, DateOrder::YearFirst];
const KINDS: [CellKind; 5] =
    [CellKind::Text, CellKind::Number, CellKind::Date, CellKind::Boolean, CellKind::Unreadable];

fuzz_target!(|text: &str| {
    for kind in KINDS {
        let cell = Cell { text: text.to_owned(), kind };
        for order in ORDERS {
            let Some(day) = read(&cell, order) else { continue };
            assert!((1990..=2100).contains(&day.year()), "{text:?} is {day}");
            assert!(matches!(kind, CellKind::Text | CellKind::Number | CellKind::Date), "{text:?} is no day");
            for again in ORDERS {
                let written = Cell { text: day.to_string(), kind: CellKind::Text };
                assert_eq!(read(&written, again), Some(day), "{text:?}");
            }
        }
        let (day_first, month_first) = (read(&cell, DateOrder::DayFirst), read(&cell, DateOrder::MonthFirst));
        let expected = match (day_first, month_first) {
            (Some(one), Some(other)) if one != other => OrderFound::Undecidable,
            (Some(_), None) => OrderFound::Decided(DateOrder::DayFirst),
            (None, Some(_)) => OrderFound::Decided(DateOrder::MonthFirst),
            _ => OrderFound::Decided(DateOrder::YearFirst),
        };
        assert_eq!(order_of([cell.clone()].iter()), expected, "{text:?}");
        // a cell that reads alike in both orders needs none
        if day_first.is_some() && day_first == month_first {
            assert_eq!(read(&cell, DateOrder::YearFirst), day_first, "{text:?}");
        }
    }
});
