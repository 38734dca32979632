//! Searching for names as people type them: accents, letter case, apostrophes and short forms do not tell names apart.

use super::{fold, nicknames};

/// What somebody typed to find a name, made comparable once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NameSearch {
    words: Vec<String>,
    /// The words without what parts them, for names written as one word or as two.
    joined: String,
}

impl NameSearch {
    /// What was typed; a text without letter or digit finds nothing.
    #[must_use]
    pub fn new(typed: &str) -> Self {
        let words = fold::words(typed);
        let joined = words.concat();
        Self { words, joined }
    }

    /// True when every word typed is in the name: as the beginning of one of its words, or as a first name for which it
    /// is used. Also true when the name contains what was typed as it stands, whatever parts its words.
    #[must_use]
    pub fn finds(&self, name: &str) -> bool {
        if self.joined.is_empty() {
            return false;
        }
        let theirs = fold::words(name);
        let said = |word: &String| {
            theirs.iter().any(|one| one.starts_with(word.as_str()) || nicknames::same_or_short(one, word))
        };
        self.words.iter().all(said) || theirs.concat().contains(&self.joined)
    }
}

#[cfg(test)]
mod tests {
    use super::NameSearch;

    #[test]
    fn names_are_found_as_people_type_them() {
        for (typed, name) in [
            ("szalai", "Rubén Szalai"),
            ("ruben", "Rubén Szalai"),
            ("RUBÉN SZ", "Rubén Szalai"),
            ("szalai ruben", "Rubén Szalai"),
            ("okonkwo", "Tobias Okonkwo-Lind"),
            ("lind", "Tobias Okonkwo-Lind"),
            ("o'brien", "Peggy O’Brien"),
            ("obrien", "Peggy O’Brien"),
            ("margaret", "Peggy O’Brien"),
            ("peggy obrien", "Margaret OBrien"),
            ("liz", "Elizabeth Ngata"),
            ("annemarie", "Anne-Marie Bó"),
            ("anne marie", "AnneMarie Bó"),
            ("ostergard", "Kit ØSTERGÅRD"),
            ("zalai", "Rubén Szalai"),
            ("小龍", "李 小龍"),
        ] {
            assert!(NameSearch::new(typed).finds(name), "{typed} should find {name}");
        }
        for (typed, name) in [
            ("", "Rubén Szalai"),
            ("%", "Rubén Szalai"),
            (" ' ", "Peggy O’Brien"),
            ("ruben lind", "Rubén Szalai"),
            ("bob", "Elizabeth Ngata"),
            ("szalaix", "Rubén Szalai"),
        ] {
            assert!(!NameSearch::new(typed).finds(name), "{typed} should not find {name}");
        }
    }
}
