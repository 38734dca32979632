//! Black box over HTTP: what the API promises to people and scripts. How a test is written: `support/mod.rs`.

#[cfg(test)]
mod support;

#[cfg(test)]
mod accounts;
#[cfg(test)]
mod decisions;
#[cfg(test)]
mod intake;
#[cfg(test)]
mod intake_doors;
#[cfg(test)]
mod roster;
#[cfg(test)]
mod seasons;
#[cfg(test)]
mod standings;
#[cfg(test)]
mod units;
