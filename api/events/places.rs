//! How many streams are open, for each who listens and in all: each is a connection and a look at the database now and then.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::error::{ApiError, Code};

/// Streams of one account or key.
const EACH: usize = 5;

/// Streams of this process.
const ALL: usize = 500;

/// The open streams of this process.
#[derive(Clone, Debug)]
pub struct Places {
    taken: Arc<Mutex<HashMap<String, usize>>>,
    each: usize,
    all: usize,
}

impl Default for Places {
    fn default() -> Self {
        Self { taken: Arc::default(), each: EACH, all: ALL }
    }
}

/// One open stream; it counts until it is dropped.
#[derive(Debug)]
pub(super) struct Place {
    places: Places,
    who: String,
}

impl Places {
    /// A place for one stream more.
    ///
    /// # Errors
    /// 429 when this listener has too many, 503 when there are too many in all.
    pub(super) fn take(&self, who: &str) -> Result<Place, ApiError> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        if taken.get(who).is_some_and(|own| *own >= self.each) {
            let detail = format!(
                "You listen {} times at once already, with this account or key. Close a stream that is not used (a page left open, a script that was started twice), then try again.",
                self.each
            );
            return Err(ApiError::new(Code::TooManyRequests).detail(detail).retry_after(20));
        }
        if taken.values().sum::<usize>() >= self.all {
            let detail = "As many listen to this server as it can bear. Try again in a minute, or ask with wait_seconds=0 now and then.";
            return Err(ApiError::new(Code::Unavailable).detail(detail).retry_after(60));
        }
        *taken.entry(who.to_owned()).or_default() += 1;
        Ok(Place { places: self.clone(), who: who.to_owned() })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.places.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let left = taken.get(&self.who).map_or(0, |own| own.saturating_sub(1));
        if left == 0 {
            taken.remove(&self.who);
        } else {
            taken.insert(self.who.clone(), left);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(taken: Result<Place, ApiError>) -> Option<Code> {
        taken.err().and_then(|error| error.code())
    }

    #[test]
    fn each_has_so_many_all_have_so_many_and_a_closed_stream_gives_its_place_back() {
        let places = Places { each: 2, all: 3, ..Places::default() };
        let clara = (places.take("clara").unwrap(), places.take("clara").unwrap());
        assert_eq!(code(places.take("clara")), Some(Code::TooManyRequests));
        let piotr = places.take("piotr").unwrap();
        assert_eq!(code(places.take("piotr")), Some(Code::Unavailable));
        drop(clara.0);
        assert_eq!(code(places.take("clara")), None);
        drop((clara.1, piotr));
        assert!(places.taken.lock().unwrap().is_empty());
    }
}
