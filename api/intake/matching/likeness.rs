//! How alike two names are: Jaro-Winkler over folded words, with nicknames and swapped columns counted as the same.

use super::name::{Folded, Sought, first_names_agree, text_likeness};
use crate::common::fold;

/// The two lines between which a person decides. Both come from the season's policy.
///
/// The shipped policy's pair, 90 and 84 per cent, is what a sweep over a truth set of 5,000 people and 5,000 damaged copies
/// gives (`febrl4`, names and troop alone; tests/oracles/people.rs prints the table): from an accept line of 90 on nobody was
/// taken for somebody else (precision 1.0000), with recall .6704 at 90, .6642 at 92, .6498 at 94 and .6222 at 96; at 89 and 88
/// one was (.9997), at 84 three were (.9991). The ask line changes no match: a lower one shows more rows to a person (602 with
/// the right one among them at 84, 673 at 80), a higher one lets more of those who are known become known anew.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    /// From here one clear best is taken.
    pub accept: f64,
    /// Below this nobody is thought of.
    pub review: f64,
}

/// How far the best must be above the second; from trying values on a truth set (tests/oracles), where it cost nothing.
pub(super) const CLEAR_BY: f64 = 0.05;
/// How alike the first names alone must be to take somebody: siblings and spouses of one troop share the rest.
pub(super) const FIRST_NAME_FLOOR: f64 = 0.85;

impl Lines {
    /// The lines as a policy writes them, in per cent.
    #[must_use]
    pub fn from_percent(accept: u8, review: u8) -> Self {
        Self { accept: f64::from(accept) / 100.0, review: f64::from(review) / 100.0 }
    }
}

/// The likeness of two names from 0 to 1, each given as first and last; 0 when one of them has no letter at all.
///
/// A nickname counts as the name; first and last may be swapped, as they are when a list has its columns mixed up.
#[must_use]
pub fn name_likeness(one: (&str, &str), other: (&str, &str)) -> f64 {
    Sought::new(one).likeness_from(&Folded::new(other), 0.0).unwrap_or(0.0)
}

/// True when the first names are near enough that the whole name may be taken.
pub(super) fn first_names_near(one: (&str, &str), other: (&str, &str)) -> bool {
    let near = |one: &str, other: &str| {
        first_names_agree(one, other) || text_likeness(&fold::key(one), &fold::key(other)) >= FIRST_NAME_FLOOR
    };
    near(one.0, other.0) || (near(one.1, other.0) && near(one.0, other.1))
}

/// A likeness in per cent, cut.
pub(super) fn percent(likeness: f64) -> u8 {
    (0..=100_u8).rev().find(|percent| f64::from(*percent) <= likeness * 100.0 + 1e-9).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rapidfuzz::distance::jaro;

    /// Winkler, Overview of Record Linkage and Current Research Directions (US Census Bureau RRS2006-02), the table of
    /// Jaro and Jaro-Winkler values, as check-values.md 6.1 quotes it; printed there to three places.
    #[test]
    fn winklers_table_holds() {
        for (one, other, jaro, winkler) in [
            ("SHACKLEFORD", "SHACKELFORD", 0.970, 0.982),
            ("DUNNINGHAM", "CUNNIGHAM", 0.896, 0.896),
            ("NICHLESON", "NICHULSON", 0.926, 0.956),
            ("JONES", "JOHNSON", 0.790, 0.832),
            ("MASSEY", "MASSIE", 0.889, 0.933),
            ("ABROMS", "ABRAMS", 0.889, 0.922),
            ("JERALDINE", "GERALDINE", 0.926, 0.926),
            ("MARHTA", "MARTHA", 0.944, 0.961),
            ("MICHELLE", "MICHAEL", 0.869, 0.921),
            ("JULIES", "JULIUS", 0.889, 0.933),
            ("TANYA", "TONYA", 0.867, 0.880),
            ("DWAYNE", "DUANE", 0.822, 0.840),
            ("SEAN", "SUSAN", 0.783, 0.805),
            ("JON", "JOHN", 0.917, 0.933),
            ("DIXON", "DICKSONX", 0.767, 0.813), // 6.1: not in that table
        ] {
            assert!((jaro::similarity(one.chars(), other.chars()) - jaro).abs() < 0.000_51, "{one} {other}");
            assert!((text_likeness(one, other) - winkler).abs() < 0.000_51, "{one} {other}");
        }
    }

    /// check-values.md 6.2 and 6.3: pairs on which libraries and printed tables differ.
    #[test]
    fn the_traps_of_the_measure_are_known() {
        for (one, other, jaro, winkler) in [
            ("HARDIN", "MARTINEZ", 0.7222, 0.7222),
            ("ITMAN", "SMITH", 0.4667, 0.4667),
            ("JON", "JAN", 0.7778, 0.8000),
            ("ABCDEFGHXX", "ABCDYYYYYYYY", 0.5778, 0.5778), // no bonus for the common start below .7
            ("", "", 1.0, 1.0),                             // two empty texts are alike: hence never compared here
        ] {
            assert!((jaro::similarity(one.chars(), other.chars()) - jaro).abs() < 0.000_051, "{one} {other}");
            assert!((text_likeness(one, other) - winkler).abs() < 0.000_051, "{one} {other}");
        }
        assert!(name_likeness(("", ""), ("", "")).abs() < f64::EPSILON, "nobody is nobody's double");
    }

    /// What is left out because it cannot reach a line would not have reached it.
    #[test]
    fn nothing_is_left_out_that_would_have_been_near_enough() {
        let names = [
            "Ada Berg",
            "Aada Bergh",
            "Bjørn Ek",
            "Liz O'Brien",
            "Elizabeth Obrien",
            "Mary Ann Lee",
            "Lee Mary",
            "Zoë Quist",
            "Zoe Kvist",
            "李 小龙",
        ];
        let names: Vec<(&str, &str)> = names.iter().filter_map(|name| name.rsplit_once(' ')).collect();
        for (one, other) in names.iter().flat_map(|one| names.iter().map(move |other| (*one, *other))) {
            let (one, other) = (Sought::new(one), Folded::new(other));
            let whole = one.likeness_from(&other, 0.0).unwrap();
            for least in [0.5, 0.84, 0.9, whole] {
                assert_eq!(
                    one.likeness_from(&other, least).is_some_and(|found| found >= least),
                    whole >= least,
                    "{:?} {other:?}",
                    one.keys()
                );
            }
        }
    }

    #[test]
    fn first_names_agree_by_nickname_accent_or_first_word() {
        for (one, other) in [
            ("Liz", "Elizabeth"),
            ("José", "JOSE"),
            ("Mary Ann", "Mary"),
            ("Bob", "Robert"),
            ("Anne-Marie", "Anne Marie"),
            ("AnneMarie", "Anne-Marie"),
        ] {
            assert!(first_names_agree(one, other) && first_names_agree(other, one), "{one} {other}");
        }
        for (one, other) in
            [("Maria", "Mario"), ("Jon", "Jan"), ("", ""), ("J", "John"), ("Ann", "Hannah"), ("Bob", "Liz")]
        {
            assert!(!first_names_agree(one, other), "{one} {other}");
        }
    }

    #[test]
    fn likeness_sees_through_accents_nicknames_and_swapped_columns() {
        for (one, other) in [
            (("Peggy", "O’Brien"), ("Margaret", "OBrien")),
            (("NÚÑEZ", "Renée"), ("Renee", "Nunez")),
            (("Bill", "St. John"), ("William", "St John")),
        ] {
            assert!(name_likeness(one, other) > 0.999, "{one:?} {other:?}");
        }
        assert!(name_likeness(("Ada", "Okafor"), ("Bruno", "Silva")) < 0.6);
        assert!(!first_names_near(("Carla", "Voss"), ("Peter", "Voss")));
    }

    #[test]
    fn per_cents_are_cut() {
        for (likeness, want) in [(0.0, 0), (0.9199, 91), (0.92, 92), (1.0, 100)] {
            assert_eq!(percent(likeness), want);
        }
    }
}
