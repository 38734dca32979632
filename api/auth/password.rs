//! Passwords: argon2id on threads of their own at the lowest priority, so that sign-ins never slow anybody else down.
//!
//! Parameters (R01): 64 MiB, 3 passes, 1 lane, 16 bytes of salt, 32 of tag. At most half of the cores hash at once,
//! sixteen more may wait, and beyond that the answer is 503.

use std::sync::{Arc, Mutex, mpsc};

use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher as _, PasswordVerifier as _, Version};
use secrecy::{ExposeSecret as _, SecretString};
use tokio::sync::oneshot;

use crate::error::{ApiError, Code};

const MEMORY_KIB: u32 = 64 * 1_024;
const PASSES: u32 = 3;
const LANES: u32 = 1;
const WAITING: usize = 16;

/// The longest password that is hashed, in bytes; longer ones are refused before any work.
pub const LONGEST_BYTES: usize = 512;

/// The shortest password, in characters (R02; NIST SP 800-63B-4 section 3.1.1.2).
pub const SHORTEST_CHARACTERS: usize = 15;

/// A well-formed hash that no password has: unknown accounts cost the same time as known ones (R03).
const DUMMY: &str = "$argon2id$v=19$m=65536,t=3,p=1$Y2FzZWxvdC1uby1vbmU$mBZ0XiMz0aWoFVnlSCt+dGvo0PD8T2gW2YyEFYy3mNs";

enum Work {
    Hash(SecretString, oneshot::Sender<Option<String>>),
    Verify(SecretString, Option<String>, oneshot::Sender<Verdict>),
}

/// What a password check found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Not the password.
    Wrong,
    /// The password.
    Right,
    /// The password, hashed with weaker parameters than today's: keep this hash instead.
    RightRehashed(String),
}

/// The hashing threads of this process.
#[derive(Clone, Debug)]
pub struct Passwords {
    queue: mpsc::SyncSender<Work>,
}

impl Passwords {
    /// Starts the threads.
    ///
    /// # Errors
    /// If the system refuses a thread.
    pub fn start() -> std::io::Result<Self> {
        let (queue, work) = mpsc::sync_channel(WAITING);
        let work = Arc::new(Mutex::new(work));
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZeroUsize::get);
        for number in 0..(cores / 2).max(1) {
            let work = Arc::clone(&work);
            std::thread::Builder::new().name(format!("password-{number}")).spawn(move || run(&work))?;
        }
        Ok(Self { queue })
    }

    /// The PHC string of a password.
    ///
    /// # Errors
    /// 503 when too many wait.
    pub async fn hash(&self, password: SecretString) -> Result<String, ApiError> {
        let (tell, told) = oneshot::channel();
        self.queue.try_send(Work::Hash(password, tell)).map_err(|_| busy())?;
        told.await.ok().flatten().ok_or_else(|| ApiError::broken("a password could not be hashed"))
    }

    /// Whether this is the password of that hash. Without a hash it takes as long and the answer is no.
    ///
    /// # Errors
    /// 503 when too many wait.
    pub async fn verify(&self, password: SecretString, phc: Option<String>) -> Result<Verdict, ApiError> {
        let (tell, told) = oneshot::channel();
        self.queue.try_send(Work::Verify(password, phc, tell)).map_err(|_| busy())?;
        told.await.map_err(|_| ApiError::broken("a password could not be checked"))
    }
}

fn busy() -> ApiError {
    ApiError::new(Code::Unavailable).retry_after(2)
}

fn run(work: &Mutex<mpsc::Receiver<Work>>) {
    // Priority is per thread on Linux; a refusal only costs politeness.
    if let Err(error) = rustix::process::setpriority_process(Some(rustix::thread::gettid()), 19) {
        tracing::warn!(cause = %error, "password threads run at normal priority");
    }
    loop {
        let next = match work.lock() {
            Ok(queue) => queue.recv(),
            Err(_) => return,
        };
        match next {
            Ok(Work::Hash(password, tell)) => drop(tell.send(hash(&password))),
            Ok(Work::Verify(password, phc, tell)) => drop(tell.send(verify(&password, phc.as_deref()))),
            Err(_) => return,
        }
    }
}

fn hasher() -> Option<Argon2<'static>> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, Some(32)).ok()?;
    Some(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(password: &SecretString) -> Option<String> {
    hasher()?.hash_password(password.expose_secret().as_bytes()).ok().map(|hash| hash.to_string())
}

fn verify(password: &SecretString, phc: Option<&str>) -> Verdict {
    let Some(hasher) = hasher() else { return Verdict::Wrong };
    let Ok(parsed) = PasswordHash::new(phc.unwrap_or(DUMMY)) else { return Verdict::Wrong };
    let right = hasher.verify_password(password.expose_secret().as_bytes(), &parsed).is_ok();
    if !right || phc.is_none() {
        return Verdict::Wrong;
    }
    let today = parsed.algorithm == argon2::ARGON2ID_IDENT
        && Params::try_from(&parsed)
            .is_ok_and(|p| p.m_cost() >= MEMORY_KIB && p.t_cost() >= PASSES && p.p_cost() == LANES);
    if today { Verdict::Right } else { hash(password).map_or(Verdict::Right, Verdict::RightRehashed) }
}

/// Passwords that everybody tries first; compared in lower case. A longer list comes with the accounts issue.
const WELL_KNOWN: &[&str] = &[
    "passwordpassword",
    "123456789012345",
    "1234567890123456",
    "qwertyuiopasdfgh",
    "aaaaaaaaaaaaaaa",
    "correcthorsebatterystaple",
];

/// What is wrong with a new password, if anything. No composition rules, no rotation, no truncation.
#[must_use]
pub fn weakness(password: &SecretString, own_words: &[&str]) -> Option<String> {
    let text = password.expose_secret();
    if text.len() > LONGEST_BYTES {
        return Some(format!("at most {LONGEST_BYTES} bytes"));
    }
    if text.chars().count() < SHORTEST_CHARACTERS {
        return Some(format!("at least {SHORTEST_CHARACTERS} characters"));
    }
    let lower = text.to_lowercase();
    let first = lower.chars().next();
    let known = WELL_KNOWN.contains(&lower.as_str())
        || lower.chars().all(|one| Some(one) == first)
        || own_words.iter().any(|word| word.len() >= 8 && lower == word.to_lowercase());
    known.then(|| "not a well-known password, one repeated character or your own address".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rfc_9106_section_5_3_gives_the_published_tag() {
        // RFC 9106 section 5.3, Argon2id (check-values.md 10.1).
        let params = argon2::ParamsBuilder::new()
            .m_cost(32)
            .t_cost(3)
            .p_cost(4)
            .output_len(32)
            .data(argon2::AssociatedData::new(&[4; 12]).unwrap())
            .build()
            .unwrap();
        let argon = Argon2::new_with_secret(&[3; 8], Algorithm::Argon2id, Version::V0x13, params).unwrap();
        let mut tag = [0_u8; 32];
        argon.hash_password_into(&[1; 32], &[2; 16], &mut tag).unwrap();
        assert_eq!(crate::common::text::hex(&tag), "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659");
    }

    #[test]
    fn the_reference_programs_string_is_verified_and_renewed() {
        // From the reference program: argon2 somesalt -id -t 2 -m 16 -p 1 (check-values.md 10.2).
        let theirs = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        let Verdict::RightRehashed(renewed) = verify(&"password".to_owned().into(), Some(theirs)) else {
            panic!("not renewed")
        };
        assert!(renewed.starts_with("$argon2id$v=19$m=65536,t=3,p=1$"), "{renewed}");
        assert_eq!(verify(&"password".to_owned().into(), Some(&renewed)), Verdict::Right);
        assert_eq!(verify(&"passwore".to_owned().into(), Some(&renewed)), Verdict::Wrong);
        assert_eq!(verify(&"password".to_owned().into(), None), Verdict::Wrong);
        assert!(PasswordHash::new(DUMMY).is_ok());
    }

    #[test]
    fn the_last_of_128_characters_counts() {
        let long = "ä".repeat(127);
        let kept = hash(&format!("{long}a").into()).unwrap();
        assert_eq!(verify(&format!("{long}b").into(), Some(&kept)), Verdict::Wrong);
        assert_eq!(verify(&format!("{long}a").into(), Some(&kept)), Verdict::Right);
    }

    #[test]
    fn weak_passwords_are_told_why() {
        let weak = |text: &str| weakness(&text.to_owned().into(), &["someone@example.org"]);
        assert!(weak("fourteen chars").is_some());
        assert!(weak("fifteen chars..").is_none());
        assert!(weak("PasswordPassword").is_some());
        assert!(weak("zzzzzzzzzzzzzzzz").is_some());
        assert!(weak("Someone@example.org").is_some());
        assert!(weak(&"x1".repeat(256)).is_none());
        assert!(weak(&"x1".repeat(257)).is_some());
    }
}
