//! The connection pool: one small one per HTTP worker, since a socket must not leave the runtime that opened it
//! (reliability.md finding 2), and private to `auth`.

use std::time::Duration;

use sqlx::pool::PoolConnection;
use sqlx::postgres::{PgConnectOptions, PgConnection, PgPoolOptions, Postgres};
use sqlx::{AssertSqlSafe, Row as _};

use crate::error::{ApiError, Code};

/// How long a request waits for a free connection.
const ACQUIRE_DEADLINE: Duration = Duration::from_secs(2);

/// How long the opening message may take. It takes no lock and no statement of its own, so that only a database that is
/// frozen or drowned exceeds this; together with [`ACQUIRE_DEADLINE`] it keeps the three seconds of R35.
const OPEN_DEADLINE: Duration = Duration::from_millis(900);

/// How many connections a pool may open.
pub type PoolSize = u32;

/// A pool. Only this folder can take a connection out of it.
#[derive(Clone, Debug)]
pub struct Db {
    #[expect(clippy::disallowed_types, reason = "the one place that holds a pool")]
    pool: sqlx::PgPool,
}

impl Db {
    /// A pool that opens its connections when they are needed, on the runtime of the caller.
    #[must_use]
    pub fn new(options: PgConnectOptions, size: PoolSize) -> Self {
        // Deadlines live in the database: a handler is never cancelled from outside (R33, R36).
        let options = options.application_name("caselot").options([
            ("statement_timeout", "5s"),
            ("lock_timeout", "2s"),
            ("idle_in_transaction_session_timeout", "10s"),
            ("client_connection_check_interval", "2s"),
            ("timezone", "UTC"),
            ("search_path", "public"),
        ]);
        let pool = PgPoolOptions::new()
            .max_connections(size.max(1))
            .min_connections(0)
            .acquire_timeout(ACQUIRE_DEADLINE)
            .test_before_acquire(false)
            .after_release(|connection, _| Box::pin(clean(connection)))
            .connect_lazy_with(options);
        Self { pool }
    }

    /// Opens a transaction with one message, which may bring one row of text back.
    ///
    /// A connection that died while it lay in the pool is dropped and the next one tried, so that a database that came
    /// back is used at once (R35). One that does not answer in time is let go with its socket: nothing of it can come back
    /// into the pool, and a frozen database answers 503 instead of holding every request.
    pub(super) async fn open(&self, message: &str) -> Result<(PoolConnection<Postgres>, Option<String>), ApiError> {
        let mut tries = 0_u32;
        loop {
            #[expect(
                clippy::disallowed_methods,
                reason = "the one place that takes a connection, and opens its transaction at once"
            )]
            let mut connection = self.pool.acquire().await?;
            #[expect(
                clippy::disallowed_methods,
                reason = "only ids, digests and instants of our own making stand in the message"
            )]
            let message = AssertSqlSafe(message.to_owned());
            let sent = sqlx::raw_sql(message).fetch_optional(&mut *connection);
            let Ok(sent) = tokio::time::timeout(OPEN_DEADLINE, sent).await else {
                drop(connection.detach());
                tracing::warn!("the database did not answer in time");
                return Err(Code::Unavailable.into());
            };
            match sent {
                Ok(row) => {
                    let text = row.map(|row| row.try_get::<Option<String>, _>(0)).transpose()?.flatten();
                    return Ok((connection, text));
                }
                Err(error) if tries < 20 && is_dead(&error) => {
                    tries += 1;
                    connection.close_on_drop();
                }
                Err(error) => {
                    connection.close_on_drop();
                    return Err(error.into());
                }
            }
        }
    }

    /// Lets every connection go, waiting for those in use.
    pub async fn close(&self) {
        self.pool.close().await;
    }
}

/// Whether the connection, not the statement, was at fault.
fn is_dead(error: &sqlx::Error) -> bool {
    match error {
        sqlx::Error::Io(_) | sqlx::Error::Protocol(_) => true,
        sqlx::Error::Database(inside) => matches!(inside.code().as_deref(), Some("57P01" | "57P02" | "25P03")),
        _ => false,
    }
}

/// Every connection comes back inside a transaction: a read was dropped in its own, a write ended with COMMIT AND CHAIN.
/// So this never warns, and nothing of one request reaches the next.
async fn clean(connection: &mut PgConnection) -> Result<bool, sqlx::Error> {
    let rolled_back = sqlx::raw_sql("ROLLBACK").execute(&mut *connection);
    match tokio::time::timeout(ACQUIRE_DEADLINE, rolled_back).await {
        Ok(outcome) => outcome.map(|_| true),
        Err(_) => Ok(false),
    }
}
