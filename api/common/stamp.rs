//! The stamp of a preview, sent back to confirm exactly what was seen.

use crate::error::{ApiError, Code};

/// Holds a stamp that was sent against the one that things have now. What never was a stamp is told apart from one that is
/// stale, for which `stale` says what may have changed and what to do.
///
/// # Errors
/// 409 for another stamp.
pub fn confirmed(sent: &str, now: &str, stale: &str) -> Result<(), ApiError> {
    if sent == now {
        return Ok(());
    }
    if sent.len() == 64 && sent.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f')) {
        return Err(ApiError::new(Code::PreviewStale).detail(stale));
    }
    Err(Code::NoStamp.into())
}

#[cfg(test)]
mod tests {
    use super::confirmed;
    use crate::error::Code;

    #[test]
    fn what_never_was_a_stamp_is_told_apart_from_one_that_is_stale() {
        let (now, other) = ("0123456789abcdef".repeat(4), "f".repeat(64));
        let told = |sent: &str| confirmed(sent, &now, "Look again.").err().and_then(|error| error.code());
        assert_eq!(told(&now), None);
        assert_eq!(told(&other), Some(Code::PreviewStale));
        for none in ["zzz", "", &now[1..], &now.to_uppercase(), &format!("{now}0")] {
            assert_eq!(told(none), Some(Code::NoStamp), "{none}");
        }
    }
}
