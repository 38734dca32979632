//! The harness: a database and a server a test, people who ask, and what is checked after every test.
//!
//! Run the tests with `deploy/test`; while you work, with a throwaway cluster of your own:
//!
//! ```text
//! cargo run -q -- cluster --throwaway -- cargo test --test api troops
//! ```
//!
//! # A test
//!
//! ```ignore
//! #[test]
//! fn another_troops_order_reads_as_not_found() {
//!     scenario(async |world| {
//!         let place = json!({"name": "Troop of the old mill"});
//!         let troop = world.manager.post("/troops", place).await.expect(201);    // below the manager's own unit
//!         let id = troop.text("/troop_id");                                      // a JSON pointer into the body
//!         world.clara.get(&format!("/troops/{id}")).await.expect_problem(404, "not_found");
//!         world.manager.patch(&format!("/troops/{id}"), &troop.etag(), json!({"name": null})).await.expect(200);
//!         world.forward(days(3)).await;                                          // only the season's clock moves
//!         world.tick().await;                                                    // what the ticker does once a minute
//!         world.clara.get("/v1/me").await.expect(200);                           // a path under /v1 is taken as it is
//!     });
//! }
//! ```
//!
//! *Who asks is a value.* [`World`] has one for every role in the unit Juniper Ridge (`manager`, `overseer`, `materials`,
//! `distributor`, `viewer`, and the coordinators `clara`, `piotr` and `yesenia`), two of another unit (`stranger`, its
//! manager, and `away_coordinator`), the server's `administrator`, and `nobody`. Their ids, the seasons and the troops
//! are constants in [`fixture`], so expected values can be typed by hand. The world begins at [`fixture::START`], a
//! Tuesday in the middle of a season; only what you do moves it on.
//!
//! A request can be dressed before it is awaited: `.header(name, value)`, `.key("..")` (an own `Idempotency-Key`;
//! signed-in POSTs carry a new one by themselves), `.without_key()`, `.bytes(content_type, body)`,
//! `.as_file("list.csv", bytes)` is no different from `.bytes`. `caller.with_token(..)` is the same person by another token.
//! Many at once: `futures_util::future::join_all`.
//!
//! `world.owner().await` is a connection that may do anything to the test's own database, for what no operation can do.
//!
//! # What is checked by itself
//!
//! * Each answer, as it arrives ([`promise`], gate 9): status, content type and every key of the body must be promised by
//!   the document; a problem must not tell about the inside.
//! * After the test, even if it failed ([`after`]): each successful change left exactly one row in a log naming the
//!   operation and the actor, everything else none (gate 7); every log's chain holds; what is cached equals what is
//!   recomputed (gate 8); no connection lies idle in a transaction.

mod after;
pub mod built;
pub mod client;
pub mod cluster;
mod derived;
pub mod fixture;
pub mod promise;
pub mod server;
pub mod smtp;
pub mod world;

pub use world::{days, scenario};
