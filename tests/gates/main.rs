//! Rules that every operation obeys, looped over the generated document, so that a new endpoint is covered at once.
