//! Why the program could not start, in words that name the next step, and with what exit code.

/// Why the program stopped before it served anything (or could not go on serving).
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Settings, secrets or key files are wrong; one line a fault.
    #[error("the configuration cannot be used:\n  - {}", .0.join("\n  - "))]
    Configuration(Vec<String>),
    /// The database's settings or roles are unsafe, or it does not fit this program; one line a fault.
    #[error("this database cannot be used:\n  - {}", .0.join("\n  - "))]
    Database(Vec<String>),
    /// The database did not answer.
    #[error("{doing}: {source}")]
    Sql {
        /// What was being tried.
        doing: &'static str,
        /// What the database driver said.
        source: sqlx::Error,
    },
    /// The operating system refused something.
    #[error("{doing}: {source}")]
    Io {
        /// What was being tried.
        doing: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// Anything else, in one sentence.
    #[error("{0}")]
    Failed(String),
}

impl StartError {
    /// One fault in the configuration.
    #[must_use]
    pub fn configuration(fault: impl Into<String>) -> Self {
        Self::Configuration(vec![fault.into()])
    }

    /// Turns an error of the operating system into a start error that says what was tried.
    pub fn io(doing: impl Into<String>) -> impl FnOnce(std::io::Error) -> Self {
        let doing = doing.into();
        move |source| Self::Io { doing, source }
    }

    /// Turns an error of the database driver into a start error that says what was tried.
    pub fn sql(doing: &'static str) -> impl FnOnce(sqlx::Error) -> Self {
        move |source| Self::Sql { doing, source }
    }

    /// The exit code, after the usual list of `sysexits`: 78 configuration, 69 a service is not there, 71 the system.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Configuration(_) | Self::Database(_) => 78,
            Self::Sql { .. } => 69,
            Self::Io { .. } => 71,
            Self::Failed(_) => 1,
        }
    }
}
