//! Every query of the roster, one file a table or two.

pub(super) mod assignments;
pub(super) mod contacts;
pub(super) mod directory;
pub(super) mod endings;
pub(super) mod erasure;
pub(super) mod grants;
pub(super) mod leads;
pub(super) mod listed_troops;
pub(super) mod lists;
pub(super) mod needs;
pub(super) mod one_person;
pub(super) mod other_rows;
pub(super) mod people;
pub(super) mod regrouping;
pub(super) mod removal;
pub(super) mod taken_back;
pub(super) mod ties;
pub(super) mod troops;
