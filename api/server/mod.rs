//! The running program: the features' routes put together, their document, and the HTTP server around them.

pub mod document;
mod finish;
mod groups;
mod public;
pub mod run;

pub use public::{STOPPING, feature};
