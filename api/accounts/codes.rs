//! The codes of a second factor: pure. Six figures by RFC 6238 (SHA-1, half minutes, one early or late), and recovery codes for
//! the day on which the phone is lost.

use chrono::{DateTime, TimeDelta, Utc};
use totp_rs::{Algorithm, Builder, Secret, Totp};

/// How many recovery codes there are.
pub(super) const RECOVERY_CODES: usize = 10;

/// Wrong codes after which the next must wait.
const TRIES: i32 = 5;

/// How long it must.
const WAIT: TimeDelta = TimeDelta::minutes(15);

/// What an app on the phone is told, as text and as an address that it reads from a square of dots.
pub(super) struct Told {
    pub secret: String,
    pub otpauth_uri: String,
}

fn totp(seed: &[u8], email: &str) -> Option<Totp> {
    let made = Builder::new()
        .with_algorithm(Algorithm::SHA1)
        .with_digits(6)
        .with_step_duration(30)
        .with_skew(1)
        .with_secret(seed)
        .with_issuer(Some("Caselot"))
        // The one character that the address of such a thing cannot hold.
        .with_account_name(email.replace(':', " "));
    made.build().ok()
}

/// What to tell the app; none if the seed is none.
pub(super) fn told(seed: &[u8], email: &str) -> Option<Told> {
    let otpauth_uri = totp(seed, email)?.to_url().ok()?;
    Some(Told { secret: Secret::from(seed).to_base32(), otpauth_uri })
}

/// The half minute of a code, if it is right and later than the last one that was taken: no code is taken twice.
pub(super) fn step(seed: &[u8], code: &str, now: DateTime<Utc>, last: Option<i64>) -> Option<i64> {
    let code: String = code.chars().filter(|one| !one.is_whitespace()).collect();
    let at = u64::try_from(now.timestamp()).ok()?;
    let step = i64::try_from(totp(seed, "")?.check(&code, at)?).ok()?;
    last.is_none_or(|last| step > last).then_some(step)
}

/// Seconds to wait before the next code is looked at: five wrong ones may follow each other, then one in fifteen minutes.
pub(super) fn wait(failures: i32, last_failed_at: Option<DateTime<Utc>>, now: DateTime<Utc>) -> Option<u32> {
    if failures < TRIES {
        return None;
    }
    let left = (last_failed_at? + WAIT).signed_duration_since(now).num_milliseconds();
    u32::try_from(left.saturating_add(999) / 1_000).ok().filter(|seconds| *seconds > 0)
}

/// A recovery code as people read it: 128 bits in groups of five letters and figures.
pub(super) fn recovery_code(chance: [u8; 16]) -> String {
    let letters = Secret::from(chance).to_base32();
    let groups: Vec<String> = letters.chars().collect::<Vec<_>>().chunks(5).map(|five| five.iter().collect()).collect();
    groups.join("-")
}

/// A recovery code as it is compared: however it was typed.
pub(super) fn plain(code: &str) -> String {
    code.chars().filter(char::is_ascii_alphanumeric).map(|one| one.to_ascii_uppercase()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The seed of RFC 6238, appendix B, for SHA-1.
    const SEED: &[u8] = b"12345678901234567890";

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(seconds, 0).unwrap()
    }

    #[test]
    fn rfc_6238_appendix_b_gives_the_published_codes() {
        // RFC 6238, appendix B, the rows of SHA-1, eight figures (check-values.md 10.5); ours are the last six of them.
        for (seconds, eight) in [
            (59, "94287082"),
            (1_111_111_109, "07081804"),
            (1_111_111_111, "14050471"),
            (1_234_567_890, "89005924"),
            (2_000_000_000, "69279037"),
            (20_000_000_000, "65353130"),
        ] {
            let published = Builder::new().with_digits(8).with_secret(SEED).build().unwrap();
            assert_eq!(published.generate(u64::try_from(seconds).unwrap()).to_string(), eight);
            assert_eq!(step(SEED, &eight[2..], at(seconds), None), Some(seconds / 30), "{eight}");
        }
    }

    #[test]
    fn a_code_counts_half_a_minute_early_or_late_and_once() {
        // 287082 is the code of the seconds 30 to 59 (RFC 6238, appendix B, at 59).
        for (seconds, right) in [(0, true), (29, true), (30, true), (59, true), (89, true), (90, false), (119, false)] {
            assert_eq!(step(SEED, "287082", at(seconds), None).is_some(), right, "at {seconds}");
        }
        assert_eq!(step(SEED, "287 082", at(59), None), Some(1), "as the app shows it");
        assert_eq!(step(SEED, "287082", at(59), Some(0)), Some(1));
        assert_eq!(step(SEED, "287082", at(59), Some(1)), None, "taken before");
        for wrong in ["", "287083", "94287082", "28708", "x87082", "287082 287082"] {
            assert_eq!(step(SEED, wrong, at(59), None), None, "{wrong:?}");
        }
        assert_eq!(step(b"too short", "287082", at(59), None), None);
    }

    #[test]
    fn after_five_wrong_codes_the_next_waits_a_quarter_of_an_hour() {
        assert_eq!(wait(4, Some(at(0)), at(0)), None);
        assert_eq!(wait(5, Some(at(0)), at(0)), Some(900));
        assert_eq!(wait(5, Some(at(0)), at(899)), Some(1));
        assert_eq!(wait(5, Some(at(0)), at(900)), None);
        assert_eq!(wait(6, Some(at(900)), at(901)), Some(899));
    }

    #[test]
    fn an_app_is_told_the_seed_and_whose_it_is() {
        let told = told(SEED, "ana.okafor@example.org").unwrap();
        // The seed in base 32 by RFC 4648, as coreutils' base32 writes it.
        assert_eq!(told.secret, "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ");
        assert!(
            told.otpauth_uri.starts_with("otpauth://totp/Caselot:ana.okafor%40example.org?"),
            "{}",
            told.otpauth_uri
        );
        assert!(told.otpauth_uri.contains("secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"), "{}", told.otpauth_uri);
    }

    #[test]
    fn a_recovery_code_is_read_however_it_was_typed() {
        let code = recovery_code([0xff; 16]);
        assert_eq!(code, "77777-77777-77777-77777-77777-4");
        assert_eq!(plain(&code), "77777777777777777777777774");
        assert_eq!(plain(" abc-de f"), "ABCDEF");
    }
}
