//! Database faults, told apart by what the caller can do about them.

use super::{ApiError, Code};

impl From<sqlx::Error> for ApiError {
    /// A lost or busy database is 503, everything else is ours: an opaque 500.
    fn from(error: sqlx::Error) -> Self {
        match &error {
            sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed | sqlx::Error::Io(_) | sqlx::Error::WorkerCrashed => {
                tracing::warn!(cause = %error, "database out of reach");
                Self::new(Code::Unavailable)
            }
            sqlx::Error::Database(inside) => match inside.code().as_deref() {
                // lock_not_available
                Some("55P03") => Self::new(Code::Busy).retry_after(1),
                // deadlock_detected, serialization_failure
                Some("40P01" | "40001") => Self::new(Code::Busy).retry_after(1).undone(),
                // connection faults, shutting down, too many connections, out of disk or memory, read-only after fail-over
                Some(state) if ["08", "57", "53", "58"].iter().any(|class| state.starts_with(class)) => {
                    tracing::warn!(state, "database not able to serve");
                    Self::new(Code::Unavailable)
                }
                _ => Self::internal(&error),
            },
            _ => Self::internal(&error),
        }
    }
}

/// Turns a violated constraint into its code.
pub trait OnConstraint<T> {
    /// If the database refused because of `constraint`, that is `code`; other errors stay what they are.
    ///
    /// # Errors
    /// The code, or the error as it was.
    fn on_constraint(self, constraint: &str, code: Code) -> Result<T, MaybeHandled>;
}

/// An error on its way through a chain of `on_constraint`.
#[derive(Debug)]
pub enum MaybeHandled {
    /// A constraint matched.
    Handled(Code),
    /// None has matched yet.
    Raw(sqlx::Error),
}

impl From<MaybeHandled> for ApiError {
    fn from(error: MaybeHandled) -> Self {
        match error {
            MaybeHandled::Handled(code) => Self::new(code),
            MaybeHandled::Raw(error) => error.into(),
        }
    }
}

impl<T> OnConstraint<T> for Result<T, sqlx::Error> {
    fn on_constraint(self, constraint: &str, code: Code) -> Result<T, MaybeHandled> {
        self.map_err(MaybeHandled::Raw).on_constraint(constraint, code)
    }
}

impl<T> OnConstraint<T> for Result<T, MaybeHandled> {
    fn on_constraint(self, constraint: &str, code: Code) -> Result<T, MaybeHandled> {
        self.map_err(|error| match error {
            MaybeHandled::Raw(sqlx::Error::Database(inside)) if inside.constraint() == Some(constraint) => {
                MaybeHandled::Handled(code)
            }
            other => other,
        })
    }
}
