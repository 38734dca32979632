//! Attacks: what somebody who means harm would send, in every place that the document has.
//!
//! Short by itself (each place gets a part of each list, another part than its neighbour); `ATTACK=long` sends everything
//! everywhere (`.ci/attack`). Each test prints how much it tried.

#[cfg(test)]
#[expect(dead_code, unused_imports, reason = "the attacks use a part of the harness")]
#[path = "../api/support/mod.rs"]
mod support;

#[cfg(test)]
#[expect(dead_code, reason = "the attacks use a part of what the gates know of operations")]
#[path = "../gates/operations.rs"]
mod operations;

#[cfg(test)]
#[expect(dead_code, reason = "the attacks aim at a part of the things")]
#[path = "../gates/objects.rs"]
mod objects;

#[cfg(test)]
#[path = "../gates/prepared.rs"]
mod prepared;

#[cfg(test)]
mod aim;
#[cfg(test)]
mod bombs;
#[cfg(test)]
mod logs;
#[cfg(test)]
mod naughty;
#[cfg(test)]
mod places;
#[cfg(test)]
mod references;
#[cfg(test)]
mod refresh;
#[cfg(test)]
mod reset;
#[cfg(test)]
mod rows;
#[cfg(test)]
mod server_owned;
#[cfg(test)]
mod sheets;
#[cfg(test)]
mod strings;
#[cfg(test)]
mod timing;
