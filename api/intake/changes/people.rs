//! What a role list says about people: new ones become known, gaps are filled in, places are proposed.

use super::rows::Work;
use super::{Change, PersonField, PersonRef, RowState};
use crate::common::fold;
use crate::common::ids::{PersonId, TroopId};
use crate::intake::columns::fields::ListRow;
use crate::intake::kinds::ListColumn;
use crate::intake::matching::{MatchReason, ReasonCode, first_names_agree};
use std::collections::HashMap;

/// The roster spells a name otherwise than a list: a note that stops nothing.
pub const NAME_DIFFERS: &str = "name_differs";

/// The longest reason that is kept.
const SENTENCE: usize = 600;

impl Work<'_> {
    /// Makes somebody known with the first row of theirs, and with what only other rows of theirs say.
    pub(super) fn make_known(&mut self, row: &ListRow, first_row: u32) {
        let Some(all) = self.new_people.get(&first_row).cloned() else { return };
        if let (Some(own), Some(kept)) = (&row.membership_number, &all.membership_number)
            && fold::number(own) != fold::number(kept)
        {
            let expected = format!("{kept}, as another row of this new person says; the first number is kept");
            self.problem(row, ListColumn::MembershipNumber, "rows_contradict", own, &expected);
        }
        if first_row != row.row_number {
            return;
        }
        self.changes.push(Change::NewPerson {
            first_name: row.first_name.clone().unwrap_or_default(),
            last_name: row.last_name.clone().unwrap_or_default(),
            membership_number: all.membership_number,
            email: all.email,
            phone: all.phone,
        });
    }

    /// What the rows of each new person say that the roster keeps: of each thing what is said first.
    pub(super) fn cells_of_new(&self, states: &[RowState]) -> HashMap<u32, ListRow> {
        let mut of: HashMap<u32, ListRow> = HashMap::new();
        for (row, state) in self.list.rows.iter().zip(states) {
            let RowState::NewPerson(first_row) = state else { continue };
            let all = of.entry(*first_row).or_default();
            for (kept, said) in [
                (&mut all.membership_number, &row.membership_number),
                (&mut all.email, &row.email),
                (&mut all.phone, &row.phone),
            ] {
                if kept.is_none() {
                    kept.clone_from(said);
                }
            }
        }
        of
    }

    /// Fills in what nobody has entered about somebody known. What is there stays: a person knows better than a list.
    pub(super) fn fill_in(&mut self, row: &ListRow, person_id: PersonId) {
        let number_is_free = row.membership_number.as_deref().is_some_and(|number| self.number_is_free(number));
        let Some(person) = self.people.get_mut(&person_id) else { return };
        let mut fill = |field: PersonField, value: &str| {
            self.changes.push(Change::FillIn { person_id, field, value: value.to_owned() });
        };
        if let (Some(number), None, true) = (&row.membership_number, &person.known.membership_number, number_is_free) {
            fill(PersonField::MembershipNumber, number);
            person.known.membership_number = Some(number.clone());
            self.numbers_taken.insert(fold::number(number));
        }
        if let (Some(email), true) = (&row.email, person.known.emails.is_empty()) {
            fill(PersonField::Email, email);
            person.known.emails.push(email.clone());
        }
        if let (Some(phone), None) = (&row.phone, &person.phone) {
            fill(PersonField::Phone, phone);
            person.phone = Some(phone.clone());
        }
    }

    fn number_is_free(&self, number: &str) -> bool {
        !self.numbers_taken.contains(&fold::number(number))
    }

    /// Proposes a place as coordinator where the person has none and had none in this troop this season.
    pub(super) fn propose(&mut self, person: PersonRef, troop_id: TroopId) {
        let known_place = match person {
            PersonRef::Known(person_id) => self.world.current.assigned.contains(&(troop_id, person_id)),
            PersonRef::New(_) => false,
        };
        if known_place || !self.proposed.insert((troop_id, person)) {
            return;
        }
        let lead = self.led.insert(troop_id);
        self.changes.push(Change::ProposeAssignment { person, troop_id, lead });
    }

    /// Notes that the list spells the name of somebody matched by number otherwise than the roster. Short forms, accents,
    /// capitals and swapped columns are no other spelling.
    pub(super) fn note_name(&mut self, row: &ListRow, person_id: PersonId) {
        let (Some(first), Some(last), Some(person)) = (&row.first_name, &row.last_name, self.people.get(&person_id))
        else {
            return;
        };
        let (known, family) = (&person.known.first_name, &person.known.last_name);
        let same = |first: &str, last: &str| first_names_agree(first, known) && fold::key(last) == fold::key(family);
        if same(first, last) || same(last, first) {
            return;
        }
        let (read, roster) = (format!("{first} {last}"), format!("{known} {family}"));
        let roster: String = roster.chars().take(200).collect();
        let expected = format!("{roster}, as the roster has it; if the list is right, mend the roster (change_person)");
        self.row_problem(row, NAME_DIFFERS, &read, &expected);
    }

    /// A reason that speaks of troops, with their numbers: what the row says, and where whoever may be meant is known.
    pub(super) fn told_by_number(&self, row: &ListRow, reason: &MatchReason, state: &RowState) -> MatchReason {
        let (ReasonCode::SameNameOtherTroop, RowState::Ask(candidates)) = (reason.code, state) else {
            return reason.clone();
        };
        let known = candidates.iter().take(3).filter_map(|candidate| {
            let person = self.people.get(&candidate.person_id?)?;
            let troops = person.known.troops.iter().filter_map(|troop| self.troops_by_id.get(troop));
            let mut numbers: Vec<&str> = troops.map(|troop| troop.number.as_str()).collect();
            numbers.sort_unstable();
            let place = match numbers.as_slice() {
                [] => "in no troop".to_owned(),
                [one] => format!("in troop {one}"),
                several => format!("in troops {}", several.join(" and ")),
            };
            Some(format!("{} {} is known {place}", person.known.first_name, person.known.last_name))
        });
        let known: Vec<String> = known.collect();
        let says = row
            .troop_number
            .as_deref()
            .map_or_else(|| "the row names no troop".to_owned(), |number| format!("the row says troop {number}"));
        let sentence = format!("{says}, and {}; a name alone is not enough to take the row for one", known.join(", "));
        MatchReason::new(reason.code, sentence.chars().take(SENTENCE).collect::<String>())
    }
}
