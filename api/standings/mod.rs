//! Standings: where each troop of a season stands, and why.
//!
//! Evidence says what is met, decisions say what was decided, the policy says what is asked, the calendar says when.
//! From these one pure function computes where a troop stands at an instant; no operation ever writes a state.

pub mod rules;
