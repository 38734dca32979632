//! A name as it is compared: folded once, held against many, and left out early where it cannot be near enough.

use rapidfuzz::distance::jaro_winkler::{self, Args, BatchComparator};

use super::nicknames;
use crate::common::fold;

/// True when the two first names are the same, short for one another, or agree in their first word (`Mary Ann`, `Mary`).
#[must_use]
pub fn first_names_agree(one: &str, other: &str) -> bool {
    agree(&Part::new(one), &Part::new(other))
}

/// The likeness of two texts from 0 to 1 by the measure of Jaro and Winkler.
pub(super) fn text_likeness(one: &str, other: &str) -> f64 {
    jaro_winkler::similarity(one.chars(), other.chars())
}

/// A name of somebody known, as it is compared.
#[derive(Debug)]
pub(super) struct Folded {
    first: Part,
    last: Part,
    /// First and last in one.
    whole: Vec<char>,
    /// How many of each letter it has; whatever is no letter from a to z counts together.
    letters: [u8; 32],
}

/// A name of a list, made ready to be held against many.
pub(super) struct Sought {
    folded: Folded,
    /// First and last in one, and the two swapped, since lists have columns mixed up.
    straight: Written,
    swapped: Written,
}

/// One of the two names in a name.
#[derive(Debug)]
struct Part {
    /// With what the first word begins: most names differ in it, which is found without looking at the words.
    initial: Option<char>,
    first_word: Option<String>,
    /// The groups of names that are short for one another in which the first word stands.
    nicknames: &'static [usize],
    /// Its words without what parts them.
    joined: String,
    key: String,
}

/// A whole name with what makes comparing it with many quick.
struct Written {
    signs: Vec<char>,
    comparator: BatchComparator<char>,
}

/// How many letters of a common start count: Winkler's four.
const COUNTED_START: usize = 4;
/// A tenth for each letter of a start that is the same.
const MOST_FOR_START: f64 = 0.4;
/// What is allowed for rounding where a likeness is left out unseen.
const HAIRS_BREADTH: f64 = 1e-9;

/// Jaro's measure with what Winkler adds for a common start.
fn winkler_at_most(jaro: f64, for_start: f64) -> f64 {
    jaro + for_start * (1.0 - jaro)
}

impl Written {
    fn new(signs: Vec<char>) -> Self {
        let comparator = BatchComparator::new(signs.iter().copied());
        Self { signs, comparator }
    }

    /// The likeness, if it can reach `least` where Jaro's cannot exceed `jaro`: Winkler adds a tenth of what is missing to
    /// one for each letter of a common start.
    fn likeness_from(&self, other: &Folded, jaro: f64, least: f64) -> Option<f64> {
        if self.signs.is_empty() || other.whole.is_empty() {
            return Some(0.0);
        }
        let same = self.signs.iter().zip(&other.whole).take(COUNTED_START).take_while(|(one, other)| one == other);
        let start = f64::from(u8::try_from(same.count()).unwrap_or(u8::MAX));
        let least = least - HAIRS_BREADTH;
        if winkler_at_most(jaro, 0.1 * start) < least {
            return None;
        }
        let args = Args::default().score_cutoff(least);
        self.comparator.similarity_with_args(other.whole.iter().copied(), &args)
    }
}

impl Part {
    fn new(text: &str) -> Self {
        let words = fold::words(text);
        let (joined, key) = (words.concat(), words.join(" "));
        let first_word = words.into_iter().next();
        let initial = first_word.as_deref().and_then(|word| word.chars().next());
        let nicknames = first_word.as_deref().map(nicknames::groups_of).unwrap_or_default();
        Self { initial, first_word, nicknames, joined, key }
    }
}

impl Folded {
    pub(super) fn new((first, last): (&str, &str)) -> Self {
        let (first, last) = (Part::new(first), Part::new(last));
        let whole = in_one(&first.key, &last.key);
        let mut letters = [0_u8; 32];
        for sign in &whole {
            let place = u32::from(*sign).checked_sub(u32::from('a')).filter(|place| *place < 26).unwrap_or(26);
            if let Some(count) = usize::try_from(place).ok().and_then(|place| letters.get_mut(place)) {
                *count = count.saturating_add(1);
            }
        }
        Self { first, last, whole, letters }
    }

    /// What Jaro's measure of the two cannot exceed: it counts the letters that both have near the same place, so no more
    /// than both have at all.
    fn jaro_at_most(&self, other: &Self) -> f64 {
        let longest = usize::from(u8::MAX);
        if self.whole.len() > longest || other.whole.len() > longest {
            return 1.0; // more letters than are counted
        }
        // 32 counts of 255 do not overflow; said so, the sum is one instruction for many
        let both = self.letters.iter().zip(&other.letters).map(|(one, other)| u16::from(*one.min(other)));
        let shared = f64::from(both.fold(0_u16, u16::wrapping_add));
        let part = |of: usize| if of == 0 { 0.0 } else { shared / f64::from(u32::try_from(of).unwrap_or(u32::MAX)) };
        ((part(self.whole.len()) + part(other.whole.len()) + 1.0) / 3.0).min(1.0)
    }

    /// The first name and the family name, as people are looked up by either.
    pub(super) fn keys(&self) -> [&str; 2] {
        [&self.first.key, &self.last.key]
    }
}

impl Sought {
    pub(super) fn new(name: (&str, &str)) -> Self {
        let folded = Folded::new(name);
        let straight = Written::new(folded.whole.clone());
        let swapped = Written::new(in_one(&folded.last.key, &folded.first.key));
        Self { folded, straight, swapped }
    }

    /// Their likeness, if it can reach `least`; what cannot is not worked out.
    pub(super) fn likeness_from(&self, other: &Folded, least: f64) -> Option<f64> {
        let Folded { first, last, .. } = &self.folded;
        let jaro = self.folded.jaro_at_most(other);
        let out_of_reach = winkler_at_most(jaro, MOST_FOR_START) < least - HAIRS_BREADTH;
        let read = |(first, last): (&Part, &Part), written: &Written| {
            if out_of_reach && !agree(first, &other.first) {
                None
            } else if first.key == other.first.key || !agree(first, &other.first) {
                written.likeness_from(other, jaro, least)
            } else {
                // a nickname counts as the name
                Written::new(in_one(&other.first.key, &last.key)).likeness_from(other, 1.0, least)
            }
        };
        match (read((first, last), &self.straight), read((last, first), &self.swapped)) {
            (Some(one), Some(other)) => Some(one.max(other)),
            (one, other) => one.or(other),
        }
    }

    /// True when the first names are the same or short for one another, and the family names the same; or so with the two of
    /// the list swapped.
    pub(super) fn is_name_of(&self, other: &Folded) -> bool {
        let same = |first: &Part, last: &Part| last.key == other.last.key && agree(first, &other.first);
        let Folded { first, last, .. } = &self.folded;
        same(first, last) || same(last, first)
    }

    /// The first name and the family name, as people are looked up by either.
    pub(super) fn keys(&self) -> [&str; 2] {
        self.folded.keys()
    }
}

fn agree(one: &Part, other: &Part) -> bool {
    let (Some(word), Some(of_other)) = (&one.first_word, &other.first_word) else { return false };
    let same = one.initial == other.initial && (one.joined == other.joined || word == of_other);
    same || one.nicknames.iter().any(|group| other.nicknames.contains(group))
}

fn in_one(first: &str, last: &str) -> Vec<char> {
    let parted = !first.is_empty() && !last.is_empty();
    first.chars().chain(parted.then_some(' ')).chain(last.chars()).collect()
}
