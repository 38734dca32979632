//! Black box over HTTP: what the API promises to people and scripts. How a test is written: `support/mod.rs`.

#[cfg(test)]
#[expect(dead_code, reason = "the gates use the rest of it")]
mod support;

#[cfg(test)]
mod accounts;
#[cfg(test)]
mod calendars;
#[cfg(test)]
mod decisions;
#[cfg(test)]
mod decisions_about_many;
#[cfg(test)]
mod evening;
#[cfg(test)]
mod evening_two;
#[cfg(test)]
mod events;
#[cfg(test)]
mod evidence;
#[cfg(test)]
mod evidence_about_many;
#[cfg(test)]
mod exceptions;
#[cfg(test)]
mod exports;
#[cfg(test)]
mod faults;
#[cfg(test)]
mod framing;
#[cfg(test)]
mod intake;
#[cfg(test)]
mod intake_contradictions;
#[cfg(test)]
mod intake_doors;
#[cfg(test)]
mod intake_one_person;
#[cfg(test)]
mod intake_remembered;
#[cfg(test)]
mod intake_whole;
#[cfg(test)]
mod intake_words;
#[cfg(test)]
mod keys;
#[cfg(test)]
mod lapses_ahead;
#[cfg(test)]
mod leaves;
#[cfg(test)]
mod limits;
#[cfg(test)]
mod list_files;
#[cfg(test)]
mod list_templates;
#[cfg(test)]
mod mail;
#[cfg(test)]
mod mail_links;
#[cfg(test)]
mod mail_sending;
#[cfg(test)]
mod milestones;
#[cfg(test)]
mod mistakes;
#[cfg(test)]
mod needs;
#[cfg(test)]
mod notices;
#[cfg(test)]
mod outside_steps;
#[cfg(test)]
mod own_account;
#[cfg(test)]
mod pages;
#[cfg(test)]
mod policies;
#[cfg(test)]
mod policy_copies;
#[cfg(test)]
mod reach;
#[cfg(test)]
mod removals;
#[cfg(test)]
mod retries;
#[cfg(test)]
mod returns;
#[cfg(test)]
mod returns_files;
#[cfg(test)]
mod returns_sent;
#[cfg(test)]
mod roster;
#[cfg(test)]
mod seasons;
#[cfg(test)]
mod second_factor;
#[cfg(test)]
mod sentences;
#[cfg(test)]
mod sessions;
#[cfg(test)]
mod sign_in;
#[cfg(test)]
mod sign_in_link;
#[cfg(test)]
mod standings;
#[cfg(test)]
mod step_up;
#[cfg(test)]
mod tokens;
#[cfg(test)]
mod troop_lists;
#[cfg(test)]
mod undone;
#[cfg(test)]
mod units;
#[cfg(test)]
mod updated_since;
#[cfg(test)]
mod versions;
#[cfg(test)]
mod webhooks;
