//! A PostgreSQL of its own, so that nobody has to set one up; or an outside one, checked before it is trusted.
//!
//! Without `database.url_file` the server finds PostgreSQL's programs, makes a cluster in its data folder and runs it as
//! long as it runs itself: reached by a socket only, with checksums, scram passwords and every safety setting on. Three
//! roles are made once: `caselot_owner` (migrations), `caselot_runtime` (what the API signs in as: owns nothing, may
//! bypass nothing) and `caselot_backup` (reads everything, writes nothing). This program never downloads anything.
//!
//! What never happens: PostgreSQL running as root; a password outside a file of mode 0600; a cluster that outlives a
//! killed server; a start on a database with `fsync` off or with a runtime role that has too much power.

mod binaries;
mod checks;
mod cluster;
mod folder;
mod own;
mod roles;
mod sql;
mod throwaway;
mod urls;

pub use binaries::{Binaries, find as find_binaries};
pub use checks::check;
pub use cluster::{Cluster, Plan};
pub use folder::{Ids, Layout, Who};
pub(crate) use folder::{command_as, folder, give};
pub(crate) use own::replace_private;
pub use own::{Database, open};
pub(crate) use roles::connect;
pub(crate) use sql::{move_clock, unit_ids};
pub use throwaway::run as run_throwaway;
pub use urls::DatabaseUrls;
