//! Secrets that must be read again, such as those that make the codes of a second factor: sealed with a key that lies in a file
//! and never in the database, so that a copy of the database alone opens nothing.

use aws_lc_rs::aead::{AES_256_GCM, Aad, NONCE_LEN, Nonce, RandomizedNonceKey};
use secrecy::{ExposeSecret as _, SecretSlice, SecretString};
use sha2::{Digest as _, Sha256};

/// The key that seals.
#[derive(Clone)]
pub struct Seal {
    key: SecretSlice<u8>,
}

impl std::fmt::Debug for Seal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Seal")
    }
}

impl Seal {
    /// With this secret, of at least 32 bytes as `settings::secret` reads it.
    #[must_use]
    pub fn new(secret: &SecretString) -> Self {
        let key = Sha256::digest([b"caselot seal ", secret.expose_secret().as_bytes()].concat());
        Self { key: key.to_vec().into() }
    }

    /// Seals something for this owner: opened for another one, it is nothing.
    #[must_use]
    pub fn close(&self, secret: &[u8], owner: &str) -> Option<Vec<u8>> {
        let mut sealed = secret.to_vec();
        let nonce = self.key()?.seal_in_place_append_tag(Aad::from(owner), &mut sealed).ok()?;
        Some([&nonce.as_ref()[..], &sealed].concat())
    }

    /// What was sealed; none if it was sealed with another key, for another owner, or changed since.
    #[must_use]
    pub fn open(&self, sealed: &[u8], owner: &str) -> Option<SecretSlice<u8>> {
        let (nonce, sealed) = sealed.split_at_checked(NONCE_LEN)?;
        let nonce = Nonce::try_assume_unique_for_key(nonce).ok()?;
        let mut sealed = sealed.to_vec();
        let opened = self.key()?.open_in_place(nonce, Aad::from(owner), &mut sealed).ok()?.to_vec();
        Some(opened.into())
    }

    fn key(&self) -> Option<RandomizedNonceKey> {
        RandomizedNonceKey::new(&AES_256_GCM, self.key.expose_secret()).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seal(secret: &str) -> Seal {
        Seal::new(&secret.to_owned().into())
    }

    #[test]
    fn only_the_same_key_opens_it_for_the_same_owner_and_unchanged() {
        let ours = seal("b7Qk2mVx9Lr4Tz8Wn3Ys6Hd1Pf5Gj0Cc");
        let sealed = ours.close(b"twenty bytes of secret", "ana").unwrap();
        assert_eq!(ours.open(&sealed, "ana").unwrap().expose_secret(), b"twenty bytes of secret");
        assert!(ours.open(&sealed, "ben").is_none());
        assert!(seal("another key of thirty-two bytes..").open(&sealed, "ana").is_none());
        for place in 0..sealed.len() {
            let mut changed = sealed.clone();
            changed[place] ^= 1;
            assert!(ours.open(&changed, "ana").is_none(), "byte {place}");
        }
        assert!(ours.open(&[], "ana").is_none() && ours.open(&sealed[..11], "ana").is_none());
        assert_ne!(ours.close(b"twenty bytes of secret", "ana").unwrap(), sealed, "never the same twice");
        assert!(!sealed.windows(6).any(|part| part == b"twenty") && format!("{ours:?}") == "Seal");
    }
}
