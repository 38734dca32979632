//! Where the list begins and ends inside a file: titles above, headings, rows, closing lines below.

use super::Grid;
use super::fault::{FaultCode, ParseFault};
use super::table::{Cell, Header, ParsedRow, ParsedTable, SkipReason, SkippedRow};
use crate::common::fold;
use crate::intake::columns::headings;
use crate::intake::kinds::ListKind;

/// Headings are looked for in this many rows with text; below it nobody would find them either.
const ROWS_LOOKED_AT: usize = 30;
/// First words of closing lines; common practice, no source.
const FOOTER_WORDS: [&str; 22] = [
    "total",
    "totals",
    "subtotal",
    "grand total",
    "sum",
    "count",
    "number of",
    "end of",
    "end",
    "page",
    "printed",
    "generated",
    "exported",
    "created",
    "report",
    "records",
    "rows",
    "last updated",
    "updated",
    "as of",
    "confidential",
    "note",
];

/// What stands alone before a row of sums; common practice, no source.
const SUM_WORDS: [&str; 6] = ["total", "totals", "subtotal", "grand total", "sum", "sums"];

/// How many headings of the kind the best row of a grid has.
pub(super) fn fit(grid: &Grid, kind: ListKind) -> usize {
    grid.rows.iter().take(ROWS_LOOKED_AT).map(|(_, cells)| recognised(cells, kind)).max().unwrap_or(0)
}

/// Whether some row names everything that the kind cannot do without, and rows stand below it: it could be the list.
pub(super) fn could_be_the_list(grid: &Grid, kind: ListKind) -> bool {
    let has_all = |cells: &[Cell]| {
        let found: Vec<_> = cells.iter().filter_map(|cell| headings::recognise(&cell.text, kind)).collect();
        kind.wanted().iter().all(|group| group.iter().any(|column| found.iter().any(|(found, _)| found == column)))
    };
    let headings = grid.rows.iter().take(ROWS_LOOKED_AT).position(|(_, cells)| has_all(cells));
    headings.is_some_and(|at| at + 1 < grid.rows.len())
}

/// Splits a grid into headings, rows and what was passed over.
pub(super) fn lay_out(grid: Grid, kind: ListKind) -> Result<ParsedTable, ParseFault> {
    let Some(at) = heading_row(&grid, kind) else {
        let first = grid.rows.first();
        let read = first.map(|(_, cells)| line(cells)).unwrap_or_default();
        let detail = format!(
            "no row of headings was found; the first row reads \"{read}\". Put a row above the list that names its columns, for example {}",
            example(kind)
        );
        return Err(ParseFault::at_row(FaultCode::NoHeadings, first.map(|(number, _)| *number), detail));
    };
    let mut rows = grid.rows.into_iter();
    let mut skipped: Vec<SkippedRow> =
        rows.by_ref().take(at).map(|(number, cells)| skip(number, &cells, SkipReason::AboveTheHeadings)).collect();
    let Some((row_number, headings)) = rows.next() else {
        return Err(ParseFault::whole(FaultCode::NoHeadings, "no row of headings was found"));
    };
    let header = Header { row_number, cells: headings.iter().map(|cell| cell.text.clone()).collect() };
    let mut kept = Vec::new();
    let rows: Vec<(u32, Vec<Cell>)> = rows.collect();
    let again = |cells: &[Cell]| line(cells) == line(&headings);
    let data = |cells: &[Cell]| !again(cells) && !is_footer(cells, header.cells.len()) && !is_figures(cells);
    let last = rows.iter().rposition(|(_, cells)| data(cells));
    for (place, (number, mut cells)) in rows.into_iter().enumerate() {
        // figures alone, such as the day of printing: in the middle of a list they are a row that lacks the rest
        let closes = is_figures(&cells) && header.cells.len() > 1 && last.is_none_or(|last| last < place);
        if again(&cells) {
            skipped.push(skip(number, &cells, SkipReason::HeadingsAgain));
        } else if closes || is_footer(&cells, header.cells.len()) {
            skipped.push(skip(number, &cells, SkipReason::Footer));
        } else {
            cells.resize(cells.len().max(header.cells.len()), Cell::default());
            kept.push(ParsedRow { row_number: number, cells });
        }
    }
    if kept.is_empty() {
        let detail = format!("there are headings in row {row_number} and no rows below them");
        return Err(ParseFault::at_row(FaultCode::NoRows, Some(row_number), detail));
    }
    let mut problems = grid.problems;
    for problem in &mut problems {
        problem.heading = problem.column.as_deref().and_then(|column| heading_at(&header, column));
    }
    problems.retain(|problem| kept.iter().any(|row| row.row_number == problem.row_number));
    Ok(ParsedTable { source: grid.source, header, rows: kept, skipped, problems })
}

fn heading_at(header: &Header, column: &str) -> Option<String> {
    let cell = header.cells.iter().enumerate().find(|(place, _)| super::table::letter(*place) == column);
    cell.map(|(_, heading)| heading.clone()).filter(|heading| !heading.is_empty())
}

/// The row with the most known headings; without one that has two, the first row that looks like headings at all.
fn heading_row(grid: &Grid, kind: ListKind) -> Option<usize> {
    let mut best = (0, 1);
    for (at, (_, cells)) in grid.rows.iter().take(ROWS_LOOKED_AT).enumerate() {
        let score = recognised(cells, kind);
        if score > best.1 {
            best = (at, score);
        }
    }
    if best.1 >= 2 {
        return Some(best.0);
    }
    grid.rows
        .iter()
        .take(ROWS_LOOKED_AT)
        .enumerate()
        .find(|(at, (_, cells))| looks_like_headings(grid, *at, cells))
        .map(|(at, _)| at)
}

/// How many cells of a row are headings of the kind, each column counted once.
fn recognised(cells: &[Cell], kind: ListKind) -> usize {
    let mut found: Vec<_> =
        cells.iter().filter_map(|cell| headings::recognise(&cell.text, kind)).map(|(column, _)| column).collect();
    found.sort_unstable();
    found.dedup();
    found.len()
}

/// Two or more different words without digits or addresses, over a row that has some: the rest a person may choose.
fn looks_like_headings(grid: &Grid, at: usize, cells: &[Cell]) -> bool {
    let texts: Vec<&str> = cells.iter().map(|cell| cell.text.as_str()).filter(|text| !text.is_empty()).collect();
    let mut different = texts.clone();
    different.sort_unstable();
    different.dedup();
    let is_word = |text: &&str| text.len() <= 60 && !text.contains(|sign: char| sign.is_ascii_digit() || sign == '@');
    let below = grid.rows.get(at + 1).is_some_and(|(_, cells)| {
        cells.iter().filter(|cell| cell.text.contains(|sign: char| sign.is_ascii_digit() || sign == '@')).count() >= 1
            && cells.iter().filter(|cell| !cell.is_empty()).count() >= 2
    });
    texts.len() >= 2 && different.len() == texts.len() && texts.iter().all(is_word) && below
}

/// A row of one or two cells that begins as closing lines begin, a row of sums, or one that is only dashes.
fn is_footer(cells: &[Cell], width: usize) -> bool {
    let mut filled = cells.iter().filter(|cell| !cell.is_empty());
    let Some(first) = filled.next() else { return false };
    let others: Vec<&Cell> = filled.collect();
    let figures = !others.is_empty() && others.iter().all(|cell| fold::key(&cell.text).split(' ').all(is_count));
    let others = others.len();
    let key = fold::key(&first.text);
    if key.is_empty() {
        return others == 0;
    }
    // a row of sums: the word alone, and nothing but figures beside it
    if figures && SUM_WORDS.contains(&key.as_str()) {
        return true;
    }
    let begins = FOOTER_WORDS
        .iter()
        .any(|word| key.strip_prefix(word).is_some_and(|rest| rest.is_empty() || rest.starts_with(' ')));
    let counted = others == 0 && width > 1 && key.split(' ').next().is_some_and(is_count) && key.contains(' ');
    (begins && others <= 1) || (counted && !is_figures(cells))
}

/// One cell that begins with figures and has more of them, such as a day, and nothing else in its row.
fn is_figures(cells: &[Cell]) -> bool {
    let mut filled = cells.iter().filter(|cell| !cell.is_empty());
    let (Some(one), None) = (filled.next(), filled.next()) else { return false };
    let key = fold::key(&one.text);
    let mut words = key.split(' ');
    words.next().is_some_and(is_count) && words.any(|word| word.contains(|sign: char| sign.is_ascii_digit()))
}

/// `24 records`, `(24 rows)`: a count and a word, alone in its row.
fn is_count(word: &str) -> bool {
    word.chars().all(|sign| sign.is_ascii_digit())
}

fn skip(row_number: u32, cells: &[Cell], reason: SkipReason) -> SkippedRow {
    SkippedRow { row_number, reason, text: line(cells) }
}

/// The beginning of a row as one line, for a person to recognise it.
fn line(cells: &[Cell]) -> String {
    let texts: Vec<&str> = cells.iter().map(|cell| cell.text.as_str()).filter(|text| !text.is_empty()).collect();
    texts.join(" | ").chars().take(160).collect()
}

const fn example(kind: ListKind) -> &'static str {
    match kind {
        ListKind::RoleList => "Troop, First name, Last name, E-mail, Phone, Membership number, Membership valid until",
        ListKind::BankDetails => "Troop, Received on",
        ListKind::Certificates => "First name, Last name, E-mail, Course, Completed on, Score",
        ListKind::TroopList => "Troop number, Name, Age band, Meeting place, Selling youths, First season",
    }
}
