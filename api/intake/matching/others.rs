//! Other rows of a list, in numbers and in words.

/// Other rows that a row is told of: the first of them by number, of the rest how many there are.
#[derive(Debug)]
pub struct Others {
    /// The first of them.
    pub numbers: Vec<u32>,
    more: usize,
}

/// How many of them are named.
const NAMED: usize = 20;

impl Others {
    /// All of these rows but one, the first twenty of them named.
    pub(super) fn of(all: &[u32], but: u32) -> Self {
        let others = all.iter().copied().filter(|number| *number != but);
        let numbers: Vec<u32> = others.clone().take(NAMED).collect();
        Self { more: others.count() - numbers.len(), numbers }
    }

    /// All of these rows, so many of them named.
    #[must_use]
    pub fn first(named: usize, all: &[u32]) -> Self {
        let numbers: Vec<u32> = all.iter().copied().take(named).collect();
        Self { more: all.len() - numbers.len(), numbers }
    }

    /// `row 3 is`, `rows 3 and 5 are`.
    pub(super) fn are(&self) -> String {
        format!("{} {}", self.named(), if self.numbers.len() == 1 { "is" } else { "are" })
    }

    /// `row 3`, `rows 3, 5 and 7`, `rows 3, 5 and 900 more`.
    #[must_use]
    pub fn named(&self) -> String {
        let mut words: Vec<String> = self.numbers.iter().map(u32::to_string).collect();
        if self.more > 0 {
            words.push(format!("{} more", self.more));
        }
        match words.split_last() {
            Some((last, [])) => format!("row {last}"),
            Some((last, others)) => format!("rows {} and {last}", others.join(", ")),
            None => "no row".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_row_is_and_several_are() {
        assert_eq!(Others::of(&[2, 3], 2).are(), "row 3 is");
        assert_eq!(Others::of(&[2, 3, 5], 2).are(), "rows 3 and 5 are");
        assert_eq!(Others::of(&[3, 5, 6, 7], 6).named(), "rows 3, 5 and 7");
    }

    #[test]
    fn of_many_rows_the_first_are_named_and_the_others_counted() {
        let all: Vec<u32> = (2..=1_001).collect();
        let others = Others::of(&all, 3);
        assert_eq!(others.numbers, [2, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22]);
        assert_eq!(
            others.named(),
            "rows 2, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22 and 979 more"
        );
        assert_eq!(Others::first(2, &all).named(), "rows 2, 3 and 998 more");
    }
}
