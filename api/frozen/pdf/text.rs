//! Letters: what the print fonts have, in which order they stand, how wide a text is, and where it is broken into lines.

use std::cell::RefCell;
use std::collections::HashMap;
use std::fmt::Write as _;
use std::ops::Range;

use rustybuzz::{Direction, Face, UnicodeBuffer};
use unicode_bidi::{BidiInfo, Level};
use unicode_normalization::char::is_combining_mark;

use crate::error::ApiError;

/// The print font.
pub(super) const PLAIN: &[u8] = include_bytes!("../fonts/DejaVuSans.ttf");

/// The print font, bold.
pub(super) const BOLD: &[u8] = include_bytes!("../fonts/DejaVuSans-Bold.ttf");

/// How many marks may stand on one letter before the rest is told by its number: more would print over other lines.
const MARKS: usize = 2;

/// The two fonts, read.
pub(super) struct Faces {
    plain: Face<'static>,
    bold: Face<'static>,
    /// The widths of words that were measured before, in ems.
    known: RefCell<HashMap<(bool, String), f32>>,
}

/// A line of text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Line {
    /// Its letters, in the order in which they are read.
    pub text: String,
    /// The same, from the left to the right.
    pub runs: Vec<Run>,
}

/// A stretch of a line that runs in one direction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Run {
    /// Its letters, in the order in which they are read.
    pub text: String,
    /// Whether it runs from the right to the left.
    pub from_right: bool,
}

impl Faces {
    /// Reads the fonts.
    pub(super) fn new() -> Result<Self, ApiError> {
        let read = |font| Face::from_slice(font, 0).ok_or_else(|| ApiError::broken("a print font that cannot be read"));
        Ok(Self { plain: read(PLAIN)?, bold: read(BOLD)?, known: RefCell::default() })
    }

    /// How wide a text is on one line, in points, at a size in points: with its letters joined as they will be printed.
    pub(super) fn width(&self, text: &str, size: f32, bold: bool) -> f32 {
        Line::from(text).runs.iter().map(|run| self.run_width(run, size, bold)).sum()
    }

    /// How wide a run is, in points.
    pub(super) fn run_width(&self, run: &Run, size: f32, bold: bool) -> f32 {
        let face = if bold { &self.bold } else { &self.plain };
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(&run.text);
        buffer.guess_segment_properties();
        buffer.set_direction(if run.from_right { Direction::RightToLeft } else { Direction::LeftToRight });
        let shaped = rustybuzz::shape(face, &[], buffer);
        // A glyph's advance is at most some ems, 2048 units each: exact in either type.
        let units = shaped.glyph_positions().iter().filter_map(|place| i16::try_from(place.x_advance).ok());
        let em = u16::try_from(face.units_per_em()).unwrap_or(2048);
        units.map(f32::from).sum::<f32>() * size / f32::from(em)
    }

    /// The width of a word, in ems; each is measured once.
    fn word(&self, word: &str, bold: bool) -> f32 {
        let key = (bold, word.to_owned());
        if let Some(known) = self.known.borrow().get(&key) {
            return *known;
        }
        let wide = self.width(word, 1.0, bold);
        self.known.borrow_mut().insert(key, wide);
        wide
    }

    /// The text as it can be printed: a letter that the fonts lack, or that only turns others round, is told by its
    /// Unicode number, marks piled on one letter by how many they are, and whatever breaks a line is a space. Nothing is
    /// left out in silence.
    pub(super) fn printable(&self, text: &str) -> String {
        let mut told = String::with_capacity(text.len());
        let (mut marks, mut piled) = (0_usize, 0_usize);
        for letter in text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }) {
            if is_combining_mark(letter) {
                marks += 1;
                if marks > MARKS {
                    piled += 1;
                    continue;
                }
            } else {
                tell_piled(&mut told, &mut piled);
                marks = 0;
            }
            let drawn = [&self.plain, &self.bold].iter().all(|face| face.glyph_index(letter).is_some());
            if drawn && !turns(letter) {
                told.push(letter);
            } else {
                let _ = write!(told, "[U+{:04X}]", u32::from(letter));
            }
        }
        tell_piled(&mut told, &mut piled);
        told
    }

    /// A text in lines of at most this width: broken where it has line breaks, else at spaces, and inside a word only where
    /// the word alone is wider.
    pub(super) fn wrap(&self, text: &str, size: f32, bold: bool, width: f32) -> Vec<Line> {
        let part = |part: &str| {
            let told = self.printable(part);
            let words: Vec<&str> = told.split_whitespace().collect();
            let lines = self.fill(&words, bold, width / size);
            turned(&words.join(" "), lines)
        };
        text.split('\n').flat_map(part).collect()
    }

    /// Fills lines with words; the room is in ems.
    fn fill(&self, words: &[&str], bold: bool, room: f32) -> Vec<String> {
        let space = self.word(" ", bold);
        let (mut line, mut filled) = (String::new(), 0.0);
        let mut lines = Vec::new();
        for word in words {
            let wide = self.word(word, bold);
            if !line.is_empty() && filled + space + wide <= room {
                line.push(' ');
                line.push_str(word);
                filled += space + wide;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            line = if wide <= room { (*word).to_owned() } else { self.broken(word, bold, room, &mut lines) };
            filled = self.word(&line, bold);
        }
        lines.push(line);
        lines
    }

    /// Breaks a word that is wider than a line, never between a letter and its marks nor within the number of a letter that
    /// is told by it; gives what is left for the last line.
    fn broken(&self, word: &str, bold: bool, room: f32, lines: &mut Vec<String>) -> String {
        let mut line = String::new();
        let mut letters = word.chars().peekable();
        while let Some(letter) = letters.next() {
            let mut whole = String::from(letter);
            while let Some(next) = letters.next_if(|next| is_combining_mark(*next) || is_told(&whole)) {
                whole.push(next);
            }
            let longer = format!("{line}{whole}");
            if line.is_empty() || self.width(&longer, 1.0, bold) <= room {
                line = longer;
            } else {
                lines.push(std::mem::replace(&mut line, whole));
            }
        }
        line
    }
}

/// Whether this begins a letter's number, or piled marks, and its end is still to come.
fn is_told(begun: &str) -> bool {
    begun.starts_with('[') && !begun.ends_with(']') && begun.len() < "[U+10FFFF]".len()
}

impl From<&str> for Line {
    /// A line that is a whole text.
    fn from(text: &str) -> Self {
        let info = Self::info(text);
        Self { text: text.to_owned(), runs: runs(&info, 0..text.len()) }
    }
}

impl Line {
    /// How a text runs, by the Unicode Bidirectional Algorithm (UAX #9). The papers are in English, so a text as a whole runs
    /// from the left.
    fn info(text: &str) -> BidiInfo<'_> {
        BidiInfo::new(text, Some(Level::ltr()))
    }
}

/// The lines of a text, each run turned as the whole text bids (UAX #9, 3.4): a bracket knows what it belongs to, though
/// its fellow stands on another line.
fn turned(whole: &str, lines: Vec<String>) -> Vec<Line> {
    let info = Line::info(whole);
    let mut at = 0;
    let mut told = Vec::new();
    for text in lines {
        if whole.get(at..).is_some_and(|rest| rest.starts_with(' ')) {
            at += 1;
        }
        let range = at..at + text.len();
        at = range.end;
        told.push(Line { runs: runs(&info, range), text });
    }
    told
}

/// The runs of a line from the left to the right.
fn runs(info: &BidiInfo<'_>, line: Range<usize>) -> Vec<Run> {
    let mut told = Vec::new();
    for paragraph in info.paragraphs.iter().filter(|_| !line.is_empty()) {
        let (levels, ranges) = info.visual_runs(paragraph, line.clone());
        for range in ranges {
            let from_right = levels.get(range.start).is_some_and(Level::is_rtl);
            told.extend(info.text.get(range).map(|text| Run { text: text.to_owned(), from_right }));
        }
    }
    told
}

/// The marks of UAX #9 that are drawn as nothing and turn what stands beside them round: a name with one could read as
/// another name.
const fn turns(letter: char) -> bool {
    matches!(letter, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn tell_piled(told: &mut String, piled: &mut usize) {
    if *piled > 0 {
        let _ = write!(told, "[+{piled} marks]");
        *piled = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::{Faces, Line};

    #[test]
    fn nothing_is_lost_and_no_line_is_too_wide() {
        let faces = Faces::new().unwrap();
        let long = "Troop of the Old Mill and the Two Bridges below the Juniper Ridge, founded anew";
        let word = "Donaudampfschifffahrtsgesellschaftskapitänsmützenabzeichenverleihung";
        for text in [long, word, "", "  spaced   out ", "Zoë", "Ærøskøbing–Łódź"] {
            for width in [30.0, 60.0, 200.0] {
                let lines = faces.wrap(text, 8.0, false, width);
                let lines: Vec<String> = lines.into_iter().map(|line| line.text).collect();
                let joined: String = lines.concat().split_whitespace().collect();
                assert_eq!(joined, text.split_whitespace().collect::<String>(), "{width}");
                assert!(lines.iter().all(|line| faces.width(line, 8.0, false) <= width), "{lines:?} in {width}");
            }
        }
        let texts = |text: &str, width: f32| -> Vec<String> {
            faces.wrap(text, 8.0, false, width).into_iter().map(|line| line.text).collect()
        };
        assert_eq!(texts("one two", 200.0), ["one two"]);
        assert_eq!(texts("one two\nthree", 200.0), ["one two", "three"]);
        assert_eq!(texts("", 200.0), [""]);
        // A letter's number is never torn: 10 of them are wider than 30 points.
        assert_eq!(texts("李明", 50.0), ["[U+674E]", "[U+660E]"]);
    }

    /// Where runs stand: by hand from UAX #9. Capital letters stand for Hebrew ones in its examples; here they are Hebrew.
    #[test]
    fn what_runs_from_the_right_is_turned_and_nothing_else() {
        let runs = |text: &str| -> Vec<(String, bool)> {
            Line::from(text).runs.into_iter().map(|run| (run.text, run.from_right)).collect()
        };
        let told = |text: &str, from_right| (text.to_owned(), from_right);
        assert_eq!(runs("Clara"), [told("Clara", false)]);
        assert_eq!(runs("נועה (lead)"), [told("נועה", true), told(" (lead)", false)]);
        // A number within stands between, the first word on its right.
        assert_eq!(runs("שבט 103 צפון"), [told(" צפון", true), told("103", false), told("שבט ", true)]);
        // A bracket around Hebrew letters turns with them, also where its fellow stands on the line before.
        let faces = Faces::new().unwrap();
        let lines = faces.wrap("שבט (כיתה ד)", 8.0, false, 45.0);
        let last = lines.last().unwrap();
        assert_eq!((last.text.as_str(), last.runs.len()), ("ד)", 1), "{lines:?}");
        assert!(last.runs[0].from_right);
    }

    /// The letters of an Arabic word are joined, and narrower for it: lam and alef become one.
    #[test]
    fn joined_letters_are_measured_as_they_are_printed() {
        let faces = Faces::new().unwrap();
        let apart = faces.width("ل", 10.0, false) + faces.width("ا", 10.0, false);
        assert!(faces.width("لا", 10.0, false) < apart);
    }

    /// `DejaVu Sans`: 2048 units an em; a digit is 1303 of them wide (the font's own `hmtx` table, by Python's fontTools).
    #[test]
    fn widths_are_the_fonts_own() {
        let faces = Faces::new().unwrap();
        assert!((faces.width("0412", 20.48, false) - 52.12).abs() < 0.001);
        assert!(faces.width("0412", 10.0, true) > faces.width("0412", 10.0, false));
    }

    #[test]
    fn letters_that_the_font_lacks_are_told_by_number() {
        let faces = Faces::new().unwrap();
        assert_eq!(faces.printable("Li 李"), "Li [U+674E]");
        assert_eq!(faces.printable("a\nb\u{7}c"), "a b c");
        assert_eq!(faces.printable("no\u{202e}ah"), "no[U+202E]ah", "what turns others round shows itself");
        assert_eq!(faces.printable("Ольга Ευα Łukasz"), "Ольга Ευα Łukasz");
    }

    #[test]
    fn a_name_of_a_thousand_marks_stays_on_its_line() {
        let faces = Faces::new().unwrap();
        let name = format!("e{}x", "\u{301}".repeat(1_000));
        assert_eq!(faces.printable(&name), "e\u{301}\u{301}[+998 marks]x");
    }
}
