//! Posted lists on their way in: a file is read, shown as a preview, resolved row by row, then applied at once.
//!
//! An uploaded file is foreign text until a person has seen what it would change. It is read in a child process that
//! holds nothing but the file (`parse`), its headings are recognised (`columns`), its rows are matched to people of the
//! unit with a reason for every match (`matching`), and the difference to what is known already becomes a list of
//! changes (`changes`). Nothing of this touches the roster before `apply`.
//!
//! What never happens: a list is applied that nobody could read; two rows take one person silently; a name alone is
//! matched across troops; a list states something that none of its columns states; absence changes anything (yet).

pub mod changes;
pub mod columns;
pub mod fold;
pub mod kinds;
pub mod matching;
pub mod parse;
