//! The wordings that come with the program. A unit can put its own in their place, in any language.

use super::Kind;

/// A wording: the subject, and the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wording {
    /// The subject; no line end, no amount, no reason.
    pub subject: String,
    /// The text, in plain lines.
    pub body: String,
}

/// The languages that wordings are shipped in.
pub const LANGUAGES: [&str; 2] = ["en", "es"];

/// The shipped wording in this language, or in English.
#[must_use]
pub fn wording(kind: Kind, language: &str) -> Wording {
    let (subject, body) = match (kind, language) {
        (Kind::Invitation, "es") => ("Su acceso a {{ unit_name }}", include_str!("texts/invitation.es.txt")),
        (Kind::Invitation, _) => ("Your access to {{ unit_name }}", include_str!("texts/invitation.en.txt")),
        (Kind::Missing, "es") => ("Tropa {{ troop }}: lo que falta", include_str!("texts/missing.es.txt")),
        (Kind::Missing, _) => ("Troop {{ troop }}: what is still missing", include_str!("texts/missing.en.txt")),
        (Kind::Welcome, "es") => ("Tropa {{ troop }}: su nombramiento", include_str!("texts/welcome.es.txt")),
        (Kind::Welcome, _) => ("Troop {{ troop }}: you are appointed", include_str!("texts/welcome.en.txt")),
        (Kind::Suspended, "es") => ("Tropa {{ troop }}: por favor, lea esto", include_str!("texts/suspended.es.txt")),
        (Kind::Suspended, _) => ("Troop {{ troop }}: please read this", include_str!("texts/suspended.en.txt")),
        (Kind::BeforeMilestone, "es") => {
            ("Tropa {{ troop }}: antes del {{ milestone_on }}", include_str!("texts/before_milestone.es.txt"))
        }
        (Kind::BeforeMilestone, _) => {
            ("Troop {{ troop }}: before {{ milestone_on }}", include_str!("texts/before_milestone.en.txt"))
        }
    };
    Wording { subject: subject.to_owned(), body: body.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::{LANGUAGES, wording};
    use crate::mail::{Kind, grammar};

    #[test]
    fn every_shipped_wording_keeps_to_what_a_wording_may_say() {
        for kind in Kind::ALL {
            for language in LANGUAGES {
                let shipped = wording(kind, language);
                assert_eq!(grammar::faults(kind, &shipped.subject), []);
                assert_eq!(grammar::faults(kind, &shipped.body), [], "{kind:?} in {language}");
                assert!(!shipped.subject.contains('\n') && shipped.body.ends_with('\n'));
            }
            assert_ne!(wording(kind, "en"), wording(kind, "es"));
            assert_eq!(wording(kind, "en"), wording(kind, "uk"), "an unknown language reads English");
        }
    }
}
