//! Seasons: one season of a unit, its time zone and dated milestones, and its policy.
//!
//! What differs from unit to unit is data here, never code: the calendar says when, the policy says what is asked of
//! whom and which gate it holds shut. Everything computed from them (where a troop stands, whether a gate is open)
//! lives in `standings`; this feature only keeps the two documents true.

pub mod calendar;
pub mod policy;
