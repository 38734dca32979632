//! Who is known and who is listed, in the forms in which they are compared.

use super::name::{Folded, Sought};
use crate::common::fold;
use crate::common::ids::{PersonId, TroopId};
use std::collections::HashMap;
use std::sync::Arc;

/// Somebody the unit knows, as far as matching needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// Who.
    pub person_id: PersonId,
    /// Given name.
    pub first_name: String,
    /// Family name.
    pub last_name: String,
    /// Addresses, in any writing.
    pub emails: Vec<String>,
    /// Membership number, in any writing.
    pub membership_number: Option<String>,
    /// The troops that this person is known in.
    pub troops: Vec<TroopId>,
}

/// What a row says about a person, its troop already found in the unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Listed {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The troop, where the list names one that the unit has.
    pub troop: Option<TroopId>,
    /// Given name.
    pub first_name: Option<String>,
    /// Family name.
    pub last_name: Option<String>,
    /// Address, in any writing.
    pub email: Option<String>,
    /// Membership number, in any writing.
    pub membership_number: Option<String>,
}

impl Known {
    pub(super) fn name(&self) -> (&str, &str) {
        (&self.first_name, &self.last_name)
    }

    pub(super) fn full_name(&self) -> String {
        format!("{} {}", self.first_name, self.last_name)
    }

    pub(super) fn number_key(&self) -> Option<String> {
        self.membership_number.as_deref().map(fold::number).filter(|number| !number.is_empty())
    }

    pub(super) fn has_email(&self, wanted: &str) -> bool {
        self.emails.iter().any(|address| fold::email(address).as_deref() == Some(wanted))
    }
}

impl Listed {
    pub(super) fn name(&self) -> (&str, &str) {
        (self.first_name.as_deref().unwrap_or_default(), self.last_name.as_deref().unwrap_or_default())
    }

    pub(super) fn has_name(&self) -> bool {
        !fold::key(self.name().0).is_empty() && !fold::key(self.name().1).is_empty()
    }

    pub(super) fn email_key(&self) -> Option<String> {
        self.email.as_deref().and_then(fold::email)
    }

    pub(super) fn number_key(&self) -> Option<String> {
        self.membership_number.as_deref().map(fold::number).filter(|number| !number.is_empty())
    }
}

/// Somebody known, with the name as it is compared.
type Held<'a> = (&'a Known, Arc<Folded>);

/// Everybody known, so that a row need not be held against each of them.
#[derive(Debug)]
pub struct People<'a> {
    pub(super) by_number: HashMap<String, Vec<&'a Known>>,
    pub(super) by_email: HashMap<String, Vec<&'a Known>>,
    pub(super) by_troop: HashMap<TroopId, Vec<Held<'a>>>,
    /// By family name, and by first name too, since lists have the two swapped.
    by_one_name: HashMap<String, Vec<Held<'a>>>,
}

impl<'a> People<'a> {
    /// Sorts everybody by what rows are matched by.
    #[must_use]
    pub fn new(known: impl IntoIterator<Item = &'a Known>) -> Self {
        let mut people = Self {
            by_number: HashMap::new(),
            by_email: HashMap::new(),
            by_troop: HashMap::new(),
            by_one_name: HashMap::new(),
        };
        for one in known {
            if let Some(number) = one.number_key() {
                people.by_number.entry(number).or_default().push(one);
            }
            for email in one.emails.iter().filter_map(|address| fold::email(address)) {
                people.by_email.entry(email).or_default().push(one);
            }
            let folded = Arc::new(Folded::new(one.name()));
            for troop in &one.troops {
                people.by_troop.entry(*troop).or_default().push((one, Arc::clone(&folded)));
            }
            let [first, last] = folded.keys();
            if first != last {
                people.by_one_name.entry(first.to_owned()).or_default().push((one, Arc::clone(&folded)));
            }
            people.by_one_name.entry(last.to_owned()).or_default().push((one, Arc::clone(&folded)));
        }
        people
    }

    /// What somebody who has the row's address is called.
    pub(super) fn named(&self, person: PersonId, row: &Listed) -> Option<String> {
        let holders = self.by_email.get(&row.email_key()?)?;
        holders.iter().find(|known| known.person_id == person).map(|known| known.full_name())
    }

    /// People of this very name, nicknames and swapped columns allowed, wherever they are.
    pub(super) fn of_this_name(&self, name: &Sought) -> Vec<&'a Known> {
        let held = name.keys().into_iter().filter_map(|key| self.by_one_name.get(key)).flatten();
        let mut found: Vec<&Known> = held.filter(|(_, other)| name.is_name_of(other)).map(|(one, _)| *one).collect();
        found.sort_by_key(|one| one.person_id);
        found.dedup_by_key(|one| one.person_id);
        found
    }
}
