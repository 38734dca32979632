//! Secrets: read from files that only this server's user can read, and from nowhere else.

use std::io::{Read, Write};
use std::os::unix::fs::{MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use rand::RngExt;
use secrecy::{ExposeSecret, SecretString};

use super::groups::Keys;
use crate::start::StartError;

/// The shortest secret that is accepted: 256 bits if it is well made.
const SHORTEST: usize = 32;
/// No secret of ours is longer; a larger file is a mistake.
const LONGEST: u64 = 64 * 1024;
/// Values that stand in examples and documentation, ours and the usual ones: never a secret.
const EXAMPLES: [&str; 6] = ["change-me", "changeme", "change_me", "example", "insecure", "secret-secret"];

/// The keys that sign access tokens: the current one, and the one before it while tokens signed by it run out.
#[derive(Debug, Clone)]
pub struct SigningKeys {
    /// Signs and verifies.
    pub current: SecretString,
    /// Verifies only.
    pub previous: Option<SecretString>,
}

impl SigningKeys {
    /// Reads the key files that the settings name; without one, the key in `folder` is used, and made if it is not there.
    ///
    /// # Errors
    /// [`StartError::Configuration`] for a file that others can read, that is too short, or that holds an example.
    pub fn read(keys: &Keys, folder: &Path) -> Result<Self, StartError> {
        let current = match &keys.signing_key_file {
            Some(path) => read(path)?,
            None => made_once(&folder.join("signing.key"))?,
        };
        let previous = keys.previous_signing_key_file.as_deref().map(read).transpose()?;
        if previous.as_ref().is_some_and(|p| p.expose_secret() == current.expose_secret()) {
            return Err(StartError::configuration(
                "keys.previous_signing_key_file holds the same key as the current one: leave it out, or make a new current key",
            ));
        }
        Ok(Self { current, previous })
    }
}

/// The key that seals secrets in the database: from the file that the settings name; without one, the key in `folder` is used,
/// and made if it is not there.
///
/// # Errors
/// As [`SigningKeys::read`].
pub fn sealing_key(keys: &Keys, folder: &Path) -> Result<SecretString, StartError> {
    match &keys.sealing_key_file {
        Some(path) => read(path),
        None => made_once(&folder.join("sealing.key")),
    }
}

/// The secret in `path`, of at least 32 bytes, without the line end.
///
/// # Errors
/// [`StartError::Configuration`] saying which file and what to do.
pub fn read(path: &Path) -> Result<SecretString, StartError> {
    let secret = read_private(path)?;
    let text = secret.expose_secret();
    let bad = |why: &str| StartError::configuration(format!("{}: {why}", path.display()));
    if text.len() < SHORTEST {
        return Err(bad("shorter than 32 bytes; make one with: head -c 48 /dev/urandom | base64 > FILE"));
    }
    if text.bytes().all(|b| Some(b) == text.bytes().next()) {
        return Err(bad("one character over and over is no secret"));
    }
    refuse_example(text).map_err(bad)?;
    Ok(secret)
}

/// The text of a private file, without the line end, whatever its length: for addresses that hold a password.
///
/// # Errors
/// [`StartError::Configuration`] if others can read it, or if it cannot be read.
pub fn read_private(path: &Path) -> Result<SecretString, StartError> {
    let bad = |why: String| StartError::configuration(format!("{}: {why}", path.display()));
    let mut file = std::fs::File::open(path).map_err(|e| bad(e.to_string()))?;
    let meta = file.metadata().map_err(|e| bad(e.to_string()))?;
    if !meta.is_file() {
        return Err(bad("not a file".to_owned()));
    }
    if meta.permissions().mode() & forbidden_bits(path) != 0 {
        return Err(bad(format!("others on this machine can read it; run: chmod 600 {}", path.display())));
    }
    let me = rustix::process::geteuid().as_raw();
    if me != 0 && meta.uid() != me && meta.uid() != 0 {
        return Err(bad(format!(
            "belongs to user id {}, who could change it; it must belong to the server's user",
            meta.uid()
        )));
    }
    if meta.len() > LONGEST {
        return Err(bad("larger than 64 KiB: surely not a secret".to_owned()));
    }
    let mut text = String::new();
    file.read_to_string(&mut text).map_err(|_| bad("not text (base64 it)".to_owned()))?;
    Ok(SecretString::from(text.trim_end_matches(['\n', '\r']).to_owned()))
}

/// Refuses what stands in examples.
///
/// # Errors
/// The reason, without the value.
pub fn refuse_example(text: &str) -> Result<(), &'static str> {
    let lower = text.to_lowercase();
    if EXAMPLES.iter().any(|example| lower.contains(example)) {
        Err("holds an example value; make one of your own")
    } else {
        Ok(())
    }
}

/// Group and world may not read. systemd's credentials folder is private as a whole, and the access list that lets the
/// service's user in shows there as a group bit, so only the world's bits count in it (from memory of systemd.exec).
fn forbidden_bits(path: &Path) -> u32 {
    let credentials = std::env::var_os("CREDENTIALS_DIRECTORY");
    if credentials.is_some_and(|folder| path.starts_with(folder)) { 0o007 } else { 0o077 }
}

/// The secret in `path`; a new one of 256 random bits is written there first if there is none.
///
/// # Errors
/// As [`read`]; also when the file cannot be written.
pub fn made_once(path: &Path) -> Result<SecretString, StartError> {
    let bad = |e: std::io::Error| StartError::configuration(format!("{}: {e}", path.display()));
    match std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path) {
        Ok(mut file) => {
            let fresh = random();
            file.write_all(fresh.expose_secret().as_bytes()).and_then(|()| file.sync_all()).map_err(bad)?;
            Ok(fresh)
        }
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => read(path),
        Err(e) => Err(bad(e)),
    }
}

/// 256 random bits as 43 characters of the URL alphabet, so that it can stand in an address or a password file as it is.
#[must_use]
pub fn random() -> SecretString {
    let bytes: [u8; 32] = rand::rng().random();
    SecretString::from(URL_SAFE_NO_PAD.encode(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(text: &str, mode: u32) -> tempfile::NamedTempFile {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        std::fs::set_permissions(file.path(), std::fs::Permissions::from_mode(mode)).unwrap();
        file
    }

    const GOOD: &str = "b7Qk2mVx9Lr4Tz8Wn3Ys6Hd1Pf5Gj0Cc";

    #[test]
    fn a_private_file_of_32_bytes_is_read_without_its_line_end() {
        let file = file(&format!("{GOOD}\n"), 0o600);
        assert_eq!(read(file.path()).unwrap().expose_secret(), GOOD);
    }

    #[test]
    fn a_file_that_others_can_read_is_refused_with_the_command_to_mend_it() {
        for mode in [0o640, 0o604, 0o644, 0o660, 0o666, 0o610] {
            let file = file(GOOD, mode);
            let said = read(file.path()).unwrap_err();
            assert!(said.to_string().contains("chmod 600"), "{mode:o}: {said}");
            assert_eq!(said.exit_code(), 78);
        }
    }

    #[test]
    fn short_repeated_and_example_values_are_refused_and_never_repeated_in_the_message() {
        for text in
            [&GOOD[1..], "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx", "change-me-change-me-change-me-change-me", ""]
        {
            let file = file(text, 0o600);
            let said = read(file.path()).unwrap_err().to_string();
            assert!(text.is_empty() || !said.contains(text), "{said}");
        }
    }

    #[test]
    fn a_secret_is_made_once_and_is_private() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("signing.key");
        let first = made_once(&path).unwrap();
        assert_eq!(made_once(&path).unwrap().expose_secret(), first.expose_secret());
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(first.expose_secret().len(), 43);
    }

    #[test]
    fn secrets_do_not_show_in_debug_output() {
        let folder = tempfile::tempdir().unwrap();
        let keys = SigningKeys::read(&Keys::default(), folder.path()).unwrap();
        assert!(!format!("{keys:?}").contains(keys.current.expose_secret()));
    }
}
