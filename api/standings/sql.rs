//! Every query of standings: the facts, the cache, and what is written into them.
//!
//! Facts about the roster (assignments, troop seasons, names) are read here and written by the roster only.

pub(super) mod cache;
pub(super) mod exception_reasons;
pub(super) mod exceptions;
pub(super) mod facts;
pub(super) mod needs;
pub(super) mod one_fact;
pub(super) mod one_person;
pub(super) mod record;
