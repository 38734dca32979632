//! Style that no tool knows.
