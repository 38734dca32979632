//! The one place where a test sends SQL that it has put together: names of tables, databases and columns cannot be
//! parameters, and what is tried on the fence must be tried as an intruder would.

use sqlx::AssertSqlSafe;

/// SQL that was put together from our own words.
pub fn built(sql: impl Into<String>) -> AssertSqlSafe<String> {
    #[expect(clippy::disallowed_methods, reason = "the one place of the tests that sends SQL that was put together")]
    AssertSqlSafe(sql.into())
}
