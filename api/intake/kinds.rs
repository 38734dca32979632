//! The kinds of list that are read, and the columns that each kind may have.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a posted list is about; it decides which columns are looked for and what a row can state.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ListKind {
    /// Who is registered as coordinator of which troop, with membership and screening.
    RoleList,
    /// Which troops' bank details forms have been received.
    BankDetails,
    /// Who has completed which course, with the score where there is one.
    Certificates,
    /// The unit's troops as head office knows them.
    TroopList,
}

/// A column that a list may have, whatever its heading is called in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = FileColumn)]
pub enum ListColumn {
    /// The troop's number.
    TroopNumber,
    /// Given name.
    FirstName,
    /// Family name.
    LastName,
    /// Both names in one cell: `First Last` or `Last, First`.
    FullName,
    /// E-mail address.
    Email,
    /// Telephone number.
    Phone,
    /// Membership number.
    MembershipNumber,
    /// The day until which the membership holds.
    MembershipValidUntil,
    /// Whether the screening is on file.
    ScreeningOutcome,
    /// The day until which the screening holds.
    ScreeningValidUntil,
    /// The day on which the form was received.
    ReceivedOn,
    /// The code of the course.
    CourseCode,
    /// The day on which the course was completed.
    CompletedOn,
    /// The score reached, in per cent.
    Score,
    /// What the troop is called.
    TroopName,
    /// The troop's age band.
    AgeBand,
    /// Where the troop meets.
    MeetingPlace,
    /// How many of the troop's youths sell.
    SellingYouths,
    /// Whether the troop sells for the first time.
    FirstSeason,
}

impl ListKind {
    /// The kind as people call such a list.
    #[must_use]
    pub const fn called(self) -> &'static str {
        match self {
            Self::RoleList => "role list",
            Self::BankDetails => "bank details list",
            Self::Certificates => "list of certificates",
            Self::TroopList => "troop list",
        }
    }

    /// Whether its rows are troops, not people.
    #[must_use]
    pub const fn is_about_troops(self) -> bool {
        matches!(self, Self::BankDetails | Self::TroopList)
    }

    /// Every kind, in the order in which they are shown.
    pub const ALL: [Self; 4] = [Self::RoleList, Self::BankDetails, Self::Certificates, Self::TroopList];

    /// The name under which the kind is stored and sent.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::RoleList => "role_list",
            Self::BankDetails => "bank_details",
            Self::Certificates => "certificates",
            Self::TroopList => "troop_list",
        }
    }

    /// The kind with this name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The columns that this kind looks for, in the order in which they are shown.
    #[must_use]
    pub const fn columns(self) -> &'static [ListColumn] {
        use ListColumn as C;
        match self {
            Self::RoleList => &[
                C::TroopNumber,
                C::FirstName,
                C::LastName,
                C::FullName,
                C::Email,
                C::Phone,
                C::MembershipNumber,
                C::MembershipValidUntil,
                C::ScreeningOutcome,
                C::ScreeningValidUntil,
            ],
            Self::BankDetails => &[C::TroopNumber, C::ReceivedOn],
            Self::Certificates => &[
                C::FirstName,
                C::LastName,
                C::FullName,
                C::TroopNumber,
                C::Email,
                C::MembershipNumber,
                C::CourseCode,
                C::CompletedOn,
                C::Score,
            ],
            Self::TroopList => {
                &[C::TroopNumber, C::TroopName, C::AgeBand, C::MeetingPlace, C::SellingYouths, C::FirstSeason]
            }
        }
    }

    /// Groups of columns of which at least one must be there; without them a row says nothing that can be used.
    #[must_use]
    pub const fn wanted(self) -> &'static [&'static [ListColumn]] {
        use ListColumn as C;
        match self {
            Self::RoleList => &[&[C::TroopNumber], &[C::FirstName, C::FullName], &[C::LastName, C::FullName]],
            Self::BankDetails => &[&[C::TroopNumber], &[C::ReceivedOn]],
            Self::Certificates => &[
                &[C::FirstName, C::FullName, C::MembershipNumber],
                &[C::LastName, C::FullName, C::MembershipNumber],
                &[C::Email, C::MembershipNumber, C::TroopNumber],
                &[C::CourseCode],
                &[C::CompletedOn],
            ],
            Self::TroopList => {
                &[&[C::TroopNumber], &[C::TroopName, C::AgeBand, C::MeetingPlace, C::SellingYouths, C::FirstSeason]]
            }
        }
    }
}

impl ListColumn {
    /// The name under which the column is stored and sent.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TroopNumber => "troop_number",
            Self::FirstName => "first_name",
            Self::LastName => "last_name",
            Self::FullName => "full_name",
            Self::Email => "email",
            Self::Phone => "phone",
            Self::MembershipNumber => "membership_number",
            Self::MembershipValidUntil => "membership_valid_until",
            Self::ScreeningOutcome => "screening_outcome",
            Self::ScreeningValidUntil => "screening_valid_until",
            Self::ReceivedOn => "received_on",
            Self::CourseCode => "course_code",
            Self::CompletedOn => "completed_on",
            Self::Score => "score",
            Self::TroopName => "troop_name",
            Self::AgeBand => "age_band",
            Self::MeetingPlace => "meeting_place",
            Self::SellingYouths => "selling_youths",
            Self::FirstSeason => "first_season",
        }
    }

    /// Whether it speaks of a screening: withheld from readers who may not read screenings.
    #[must_use]
    pub const fn is_screening(self) -> bool {
        matches!(self, Self::ScreeningOutcome | Self::ScreeningValidUntil)
    }

    /// True for columns whose cells are days.
    #[must_use]
    pub const fn is_date(self) -> bool {
        matches!(self, Self::MembershipValidUntil | Self::ScreeningValidUntil | Self::ReceivedOn | Self::CompletedOn)
    }
}
