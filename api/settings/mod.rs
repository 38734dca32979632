//! What the person who runs this server can set, and where each value comes from.
//!
//! Defaults first, then one TOML file, then the environment (`CASELOT_SERVER__LISTEN=...`, two underscores between the
//! group and the name). Every value has a default with which a trial on one machine works. A setting that this program
//! does not know is refused with the known ones named: a typing mistake must never switch a safety off in silence.
//!
//! Secrets are never settings. A setting names a *file*; [`secret::read`] refuses a file that others can read.

mod groups;
mod load;
pub mod secret;

pub use groups::{
    Accounts, Data, Database, Keys, Limits, Log, LogFormat, Mail, MailSecurity, MailServer, Proxy, Server, Settings,
    Webhooks,
};
pub use load::{ENVIRONMENT_PREFIX, load};
pub use secret::SigningKeys;
