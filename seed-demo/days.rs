//! The demo's calendar: day 0 is the day on which the demo is loaded, day 24 is its "today".

use chrono::{NaiveDate, TimeDelta};

/// The demo's "today": what came before was lived through by moving the clock.
pub const TODAY: i64 = 24;

/// Day `n` of a demo that began on `zero`.
pub fn day(zero: NaiveDate, n: i64) -> NaiveDate {
    zero.checked_add_signed(TimeDelta::days(n)).unwrap_or(zero)
}

/// Fills the days into a list: `{iso+7}`, `{dmy-5}` and `{mdy+0}` are days counted from day 0, written year, day or month first.
pub fn fill_in(template: &str, zero: NaiveDate) -> Result<String, String> {
    let mut filled = String::new();
    let mut rest = template;
    while let Some((before, after)) = rest.split_once('{') {
        let (mark, tail) = after.split_once('}').ok_or("a { without its }")?;
        let (order, offset) = mark.split_at_checked(3).ok_or_else(|| format!("{{{mark}}} is no day"))?;
        let offset: i64 = offset.parse().map_err(|_| format!("{{{mark}}} is no day"))?;
        let format = match order {
            "iso" => "%Y-%m-%d",
            "dmy" => "%d.%m.%Y",
            "mdy" => "%m/%d/%Y",
            _ => return Err(format!("{{{mark}}} is no day")),
        };
        filled.push_str(before);
        filled.push_str(&day(zero, offset).format(format).to_string());
        rest = tail;
    }
    filled.push_str(rest);
    Ok(filled)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_filled_in_in_the_order_that_the_list_wants() {
        let zero = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
        assert_eq!(fill_in("a {iso+7};{dmy-5};{mdy+0}", zero).unwrap(), "a 2026-12-02;20.11.2026;11/25/2026");
        assert!(fill_in("{week+1}", zero).is_err() && fill_in("{iso", zero).is_err() && fill_in("{é}", zero).is_err());
    }
}
