//! Days as lists write them, in each order. A day that was read reads the same when it is written year first.
#![no_main]

use caselot::intake::columns::dates::{DateOrder, order_of, read};
use caselot::intake::parse::table::{Cell, CellKind};
use libfuzzer_sys::fuzz_target;

const ORDERS: [DateOrder; 3] = [DateOrder::DayFirst, DateOrder::MonthFirst, DateOrder::YearFirst];
const KINDS: [CellKind; 4] = [CellKind::Text, CellKind::Number, CellKind::Date, CellKind::Boolean];

fuzz_target!(|text: &str| {
    for kind in KINDS {
        let cell = Cell { text: text.to_owned(), kind };
        let _found = order_of([cell.clone()].iter());
        for order in ORDERS {
            let Some(day) = read(&cell, order) else { continue };
            for again in ORDERS {
                let written = Cell { text: day.to_string(), kind: CellKind::Text };
                assert_eq!(read(&written, again), Some(day), "{text:?}");
            }
        }
    }
});
