//! The kinds of message, and the fields that the wording of each can name.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a message is for. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = MessageKind)]
pub enum Kind {
    /// An invitation to sign in.
    Invitation,
    /// What is missing of a coordinator, or of the troop.
    Missing,
    /// A welcome on being appointed.
    Welcome,
    /// A suspension.
    Suspended,
    /// Something is missing shortly before a milestone.
    BeforeMilestone,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Invitation, Self::Missing, Self::Welcome, Self::Suspended, Self::BeforeMilestone];

    /// Its lasting word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Invitation => "invitation",
            Self::Missing => "missing",
            Self::Welcome => "welcome",
            Self::Suspended => "suspended",
            Self::BeforeMilestone => "before_milestone",
        }
    }

    /// The kind with this word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// The fields that its wording can name.
    #[must_use]
    pub const fn fields(self) -> &'static [&'static str] {
        match self {
            Self::Invitation => &["first_name", "unit_name", "from_name", "link", "link_until"],
            Self::Welcome => &["first_name", "unit_name", "from_name", "season", "troop"],
            Self::Missing | Self::Suspended => &["first_name", "unit_name", "from_name", "season", "troop", "how_many"],
            Self::BeforeMilestone => &[
                "first_name",
                "unit_name",
                "from_name",
                "season",
                "troop",
                "how_many",
                "milestone",
                "milestone_on",
                "days_left",
            ],
        }
    }

    /// The lists that its wording can go through, each with the fields of its items.
    #[must_use]
    pub const fn lists(self) -> &'static [(&'static str, &'static [&'static str])] {
        match self {
            Self::Invitation | Self::Welcome => &[],
            Self::Missing | Self::Suspended | Self::BeforeMilestone => &[("missing", &["title", "how"])],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Kind;

    #[test]
    fn each_kind_is_found_by_its_word() {
        for kind in Kind::ALL {
            assert_eq!(Kind::of(kind.word()), Some(kind));
            assert_eq!(serde_json::to_value(kind).unwrap(), kind.word());
        }
        assert_eq!(Kind::of("Invitation"), None);
    }
}
