//! Text made comparable, as the whole program does it.

pub use crate::common::fold::{email, fold, key, number, words};
