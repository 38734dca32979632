//! Headings recognised by what they say, however they are written.
//!
//! The synonyms are common practice in lists of this trade (no source). A heading is compared by its folded words, so case,
//! accents, punctuation and doubled spaces do not matter; a heading that only contains a synonym is proposed, not taken.

use super::super::kinds::{ListColumn, ListKind};
use crate::common::fold;
use rapidfuzz::distance::jaro_winkler;

/// How surely a heading names a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sureness {
    /// It holds the words of a synonym among others, or is spelled nearly like one: proposed to the person.
    Near,
    /// It is a synonym: recognised.
    Exact,
}

/// How near a misspelled heading must be to a synonym (Jaro-Winkler) to be proposed; our choice, no source.
const NEAR_SPELLING: f64 = 0.95;

/// The column that a heading names in a list of this kind, and how surely.
#[must_use]
pub fn recognise(heading: &str, kind: ListKind) -> Option<(ListColumn, Sureness)> {
    let key = fold::key(heading);
    if key.is_empty() || key.len() > 80 {
        return None;
    }
    let known = || known(kind);
    if let Some((column, _)) = known().chain(whole_only(kind)).find(|(_, name)| *name == key) {
        return Some((column, Sureness::Exact));
    }
    let spelled = known()
        .map(|(column, name)| (column, jaro_winkler::similarity(key.chars(), name.chars())))
        .filter(|(_, score)| *score >= NEAR_SPELLING && key.len() > 4)
        .max_by(|one, other| one.1.total_cmp(&other.1));
    if let Some((column, _)) = spelled {
        return Some((column, Sureness::Near));
    }
    let contains = |name: &str| format!(" {key} ").contains(&format!(" {name} "));
    let longest = known().filter(|(_, name)| name.len() > 3 && contains(name)).max_by_key(|(_, name)| name.len());
    longest.map(|(column, _)| (column, Sureness::Near))
}

/// The names under which the columns are known, folded, parted by bars.
const SYNONYMS: [(ListColumn, &str); 19] = [
    (
        ListColumn::TroopNumber,
        "troop | troop no | troop nr | troop number | troop num | troop id | troop code | \
         number of troop | troop s number | group number | group no | trp | trp no | tr no",
    ),
    (
        ListColumn::FirstName,
        "first name | firstname | first | given name | given names | forename | fname | name first | \
         prenom | vorname | nombre | coordinator first name | preferred first name",
    ),
    (
        ListColumn::LastName,
        "last name | lastname | last | surname | family name | lname | name last | nom | nachname | \
         apellido | apellidos | coordinator last name",
    ),
    (
        ListColumn::FullName,
        "name | full name | fullname | coordinator | coordinator name | person | participant | \
         participant name | member name | volunteer | volunteer name | learner | learner name | \
         attendee | name of participant | name of coordinator | last name first name | \
         first and last name | member",
    ),
    (
        ListColumn::Email,
        "email | e mail | mail | email address | e mail address | emailaddress | mail address | \
         e mail adresse | contact email | primary email | correo | correo electronico | courriel",
    ),
    (
        ListColumn::Phone,
        "phone | telephone | tel | phone number | phone no | mobile | mobile phone | cell | cell phone | \
         telephone number | contact number | telefono | primary phone | handy",
    ),
    (
        ListColumn::MembershipNumber,
        "membership number | member number | membership no | member no | membership id | member id | \
         membership nr | mbr no | membership | mem no | id number | member nr | membership num | \
         mitgliedsnummer | numero de membresia",
    ),
    (
        ListColumn::MembershipValidUntil,
        "membership valid until | membership until | membership expires | membership expiry | \
         membership expiration | membership expiration date | membership expires on | membership end | \
         membership end date | member until | membership expiry date | member expires | \
         membership good through | membership valid through | membership exp | mbr exp | \
         membership valid to",
    ),
    (
        ListColumn::ScreeningOutcome,
        "screening | screening outcome | screening status | background screening | background check | \
         background check status | screening result | background screening status | screened | \
         bg check | check status | background screening on file | screening on file",
    ),
    (
        ListColumn::ScreeningValidUntil,
        "screening valid until | screening until | screening expires | screening expiry | \
         screening expiration | screening expiration date | background check expires | \
         background check expiration | background screening expires | screening expires on | \
         screening end | background check valid until | screening valid through | bg check exp | \
         background screening valid until | screening valid to | screening exp",
    ),
    (
        ListColumn::ReceivedOn,
        "received on | received | date received | received date | form received | form received on | \
         bank form received | bank details received | bank details received on | date | submitted | \
         submitted on | date submitted | received at | bank form date | form date | form received date | \
         bank form received on | eingegangen am | recu le",
    ),
    (
        ListColumn::CourseCode,
        "course code | course | course id | course no | course number | training | training code | \
         class | code | module | course name | training course | kurs",
    ),
    (
        ListColumn::CompletedOn,
        "completed on | completed | completion date | date completed | completed date | date | \
         date of completion | finished | finished on | passed on | training date | course date | \
         completed at | date passed | completion",
    ),
    (
        ListColumn::Score,
        "score | result | grade | percent | percentage | points | quiz score | mark | score percent | \
         final score | quiz result | test score | score in percent",
    ),
    (
        ListColumn::TroopName,
        "troop name | name of troop | name of the troop | troop s name | group name | nickname of troop",
    ),
    (
        ListColumn::AgeBand,
        "age band | age group | age level | age range | troop level | grade level | program level | level | \
         grade | grades | ages | age | division | altersstufe",
    ),
    (
        ListColumn::MeetingPlace,
        "meeting place | meets at | meeting location | meeting site | meeting address | where it meets | \
         where they meet | place of meeting | meeting room | treffpunkt",
    ),
    (
        ListColumn::SellingYouths,
        "selling youths | youths selling | selling youth | number of youths | number of youth | no of youths | \
         youth count | youths | number of girls | girls selling | selling girls | number selling | \
         number of sellers | sellers | selling members | youth sellers | girls | count of youths | \
         number of selling youths",
    ),
    (
        ListColumn::FirstSeason,
        "first season | first year | new troop | new or returning | new returning | first time | \
         first time selling | is new | new this season | new this year | first season yes no | first season y n",
    ),
];

/// Names too short or too common to be looked for inside a longer heading: "Leader name" is no troop's name.
const WHOLE_ONLY: [(ListKind, ListColumn, &str); 4] = [
    (ListKind::TroopList, ListColumn::TroopNumber, "number | no | nr | num"),
    (ListKind::TroopList, ListColumn::TroopName, "name | title | called"),
    (ListKind::TroopList, ListColumn::MeetingPlace, "place | location | where | venue | site"),
    (ListKind::TroopList, ListColumn::FirstSeason, "new"),
];

/// The columns of a kind with each of their names.
fn known(kind: ListKind) -> impl Iterator<Item = (ListColumn, &'static str)> {
    let wanted = SYNONYMS.iter().filter(move |(column, _)| kind.columns().contains(column));
    wanted.flat_map(|(column, names)| names.split('|').map(move |name| (*column, name.trim())))
}

/// Whether a heading says that something ends, and not what.
pub(super) fn is_an_end(heading: &str) -> bool {
    matches!(
        fold::key(heading).as_str(),
        "valid until"
            | "valid through"
            | "valid to"
            | "good through"
            | "expires"
            | "expires on"
            | "expiry"
            | "expiry date"
            | "expiration"
            | "expiration date"
            | "exp date"
            | "until"
            | "end date"
            | "renewal date"
    )
}

fn whole_only(kind: ListKind) -> impl Iterator<Item = (ListColumn, &'static str)> {
    let of_kind = WHOLE_ONLY.iter().filter(move |(of, _, _)| *of == kind);
    of_kind.flat_map(|(_, column, names)| names.split('|').map(move |name| (*column, name.trim())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use ListColumn as C;
    use ListKind::{BankDetails, Certificates, RoleList, TroopList};
    use Sureness::{Exact, Near};

    #[test]
    fn headings_are_recognised_however_they_are_written() {
        for (heading, kind, want) in [
            ("Troop #", RoleList, Some((C::TroopNumber, Exact))),
            ("TROOP NO.", BankDetails, Some((C::TroopNumber, Exact))),
            ("Troop's number", RoleList, Some((C::TroopNumber, Near))),
            ("E-Mail", RoleList, Some((C::Email, Exact))),
            ("e_mail address", RoleList, Some((C::Email, Exact))),
            ("Prénom", RoleList, Some((C::FirstName, Exact))),
            ("First  name:", RoleList, Some((C::FirstName, Exact))),
            ("Frist name", RoleList, Some((C::FirstName, Near))),
            ("Coordinator's e-mail address (home)", RoleList, Some((C::Email, Near))),
            ("Membership valid until", RoleList, Some((C::MembershipValidUntil, Exact))),
            ("Membership No", RoleList, Some((C::MembershipNumber, Exact))),
            ("Membership expiration date (yyyy)", RoleList, Some((C::MembershipValidUntil, Near))),
            ("Background check", RoleList, Some((C::ScreeningOutcome, Exact))),
            ("Background check expires", RoleList, Some((C::ScreeningValidUntil, Exact))),
            ("Date", BankDetails, Some((C::ReceivedOn, Exact))),
            ("Date", Certificates, Some((C::CompletedOn, Exact))),
            ("Date", RoleList, None),
            ("Course", Certificates, Some((C::CourseCode, Exact))),
            ("Course", RoleList, None),
            ("Score (%)", Certificates, Some((C::Score, Exact))),
            ("Name", TroopList, Some((C::TroopName, Exact))),
            ("Leader's name", TroopList, None),
            ("E-mail address", TroopList, None),
            ("Girls selling", TroopList, Some((C::SellingYouths, Exact))),
            ("Grade", TroopList, Some((C::AgeBand, Exact))),
            ("Grade", Certificates, Some((C::Score, Exact))),
            ("First season?", TroopList, Some((C::FirstSeason, Exact))),
            ("Location", TroopList, Some((C::MeetingPlace, Exact))),
            ("Shirt size", RoleList, None),
            ("101", RoleList, None),
            ("", RoleList, None),
        ] {
            assert_eq!(recognise(heading, kind), want, "{heading:?} in {kind:?}");
        }
    }
}
