//! Which rows of a role list are one person, once people have decided about some of them.
//!
//! Rows of one new person are joined to the first of them, and a row that a person calls the same as another is joined to
//! that one. All of them then are whoever the row is to which they lead; where that row is left out, or was decided to be
//! somebody known by itself, the first that is left takes its place.

use std::collections::HashMap;

use super::rows::Work;
use super::{Resolution, RowState};
use crate::intake::matching::{MatchOutcome, RowMatch};

impl Work<'_> {
    /// What each row is taken for after its way to another row, if it has one.
    pub(super) fn settled(&self, mut states: Vec<RowState>, matches: &[RowMatch]) -> Vec<RowState> {
        let links = self.links(&states, matches);
        let roots: Vec<usize> = (0..links.len()).map(|place| root(place, &links)).collect();
        let number = |place: usize| self.list.rows.get(place).map_or(0, |row| row.row_number);
        let own = states.clone();
        for (place, (state, root)) in
            states.iter_mut().zip(&roots).enumerate().filter(|(_, (_, root))| **root < own.len())
        {
            if place != *root {
                *state = match own.get(*root) {
                    Some(RowState::Person(person)) => RowState::Person(*person),
                    _ => RowState::NewPerson(number(*root)),
                };
            } else if matches!(state, RowState::NewPerson(_)) {
                *state = RowState::NewPerson(number(place));
            }
        }
        states
    }

    /// For each row that is somebody new the row to which it leads, or itself.
    fn links(&self, states: &[RowState], matches: &[RowMatch]) -> Vec<usize> {
        let places: HashMap<u32, usize> =
            self.list.rows.iter().enumerate().map(|(place, row)| (row.row_number, place)).collect();
        let mut heirs: HashMap<usize, usize> = HashMap::new();
        let link = |(place, state): (usize, &RowState)| {
            let (RowState::NewPerson(_), Some(row)) = (state, self.list.rows.get(place)) else { return place };
            let (target, joined) = match (self.list.resolutions.get(&row.row_number), matches.get(place)) {
                (Some(Resolution::SameAsRow { row_number, .. }), _) => (*row_number, false),
                (None | Some(Resolution::Holds), Some(RowMatch { outcome: MatchOutcome::New { first_row }, .. })) => {
                    (*first_row, true)
                }
                _ => return place,
            };
            let Some(target) = places.get(&target).copied() else { return place };
            let stays = match states.get(target) {
                // a first row that a person took for somebody known: the others stay new
                Some(RowState::Person(_)) => !joined,
                Some(RowState::NewPerson(_) | RowState::Ask(_) | RowState::Unusable) => true,
                _ => false,
            };
            if stays { target } else { *heirs.entry(target).or_insert(place) }
        };
        states.iter().enumerate().map(link).collect()
    }
}

/// Where the way from a row ends; of rows that lead round in a ring the first.
fn root(place: usize, links: &[usize]) -> usize {
    let mut way = vec![place];
    let mut here = place;
    loop {
        let next = links.get(here).copied().unwrap_or(here);
        if next == here {
            return here;
        }
        if let Some(start) = way.iter().position(|seen| *seen == next) {
            return way.iter().skip(start).copied().min().unwrap_or(here);
        }
        way.push(next);
        here = next;
    }
}

#[cfg(test)]
mod tests {
    use super::root;

    #[test]
    fn a_way_ends_at_its_root_and_a_ring_at_its_first() {
        assert_eq!([0, 1, 2, 3].map(|place| root(place, &[0, 0, 1, 3])), [0, 0, 0, 3]);
        assert_eq!([0, 1, 2, 3].map(|place| root(place, &[0, 3, 1, 2])), [0, 1, 1, 1]);
        assert_eq!(root(3, &[2, 1, 0, 0]), 0);
    }
}
