//! Who asks, what they may do, and the only way to the database.
//!
//! A request passes the middleware ([`arrive`]): token, body, then one message that opens the transaction, sets the
//! row-security context and learns who asks ([`actor`]). A handler's first argument is its [`Permit`], whose type IS the
//! permission; it holds the transaction ([`Tx`]). The connection pool is private to this folder: without a permit
//! ([`Permit`], [`SignedIn`], [`Public`]) or being the program itself ([`System`]) nothing reaches the database.

pub mod actor;
mod again;
pub mod arrive;
mod aside;
mod attempts;
mod body;
mod caller;
mod chain;
mod db;
mod denials;
mod front;
mod idempotency;
mod keys;
pub mod metrics;
pub mod operations;
pub mod password;
mod pause;
pub mod permission;
mod permit;
mod rate;
pub mod seal;
mod system;
pub mod token;
mod tx;
pub mod wake;

pub use actor::{Actor, Principal, Scope};
pub use again::Again;
pub use chain::{LogFault, verify_server_log, verify_unit_log};
pub use db::{Db, PoolSize};
pub use front::{HeadersAlone, front, nowhere};
pub use idempotency::{forget_answers, forget_safe_retries};
pub use pause::Pause;
pub use permission::Permission;
pub use permit::{Permit, Public, SignedIn};
pub use rate::Rate;
pub use system::System;
pub use tx::Tx;
