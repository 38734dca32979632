//! Where everything stands on the pages: computed before a single letter is drawn, since each page says how many there are.

use super::text::{Faces, Line};
use crate::frozen::sheet::{Paper, Sheet};

/// A quarter of an inch more than most printers leave white.
const MARGIN: f32 = 36.0;
const TITLE: f32 = 15.0;
const SIZE: f32 = 8.0;
const LINE: f32 = 10.5;
/// Between columns, and above and below the lines of a row.
const GAP: f32 = 6.0;
const PAD: f32 = 3.0;
/// Where values begin beside their labels.
const LABEL: f32 = 84.0;

/// Something on a page.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Mark {
    /// A line of text, by the left end of its base line.
    Text { x: f32, y: f32, size: f32, bold: bool, line: Line },
    /// A line from margin to margin.
    Rule { y: f32, from: f32, to: f32, weight: f32 },
}

/// The pages of a sheet.
pub(super) fn pages(faces: &Faces, sheet: &Sheet, paper: Paper) -> Vec<Vec<Mark>> {
    let (width, height) = paper.landscape();
    let shares: f32 = sheet.columns.iter().map(|column| f32::from(column.share)).sum();
    let gaps: f32 = sheet.columns.iter().skip(1).map(|_| GAP).sum();
    let mut x = MARGIN;
    let mut columns = Vec::new();
    for column in &sheet.columns {
        let wide = (width - 2.0 * MARGIN - gaps) * f32::from(column.share) / shares.max(1.0);
        columns.push(Place { x, width: wide });
        x += wide + GAP;
    }
    // The foot is as high as it needs: its room is taken before the table's.
    let number = faces.width("Page 000 of 000", SIZE, false);
    let foot = faces.wrap(&sheet.foot, SIZE, false, width - 2.0 * MARGIN - number - GAP);
    let bottom = foot.iter().fold(height - MARGIN - LINE, |bottom, _| bottom - LINE);
    let mut layout = Layout { faces, sheet, columns, width, bottom, y: 0.0, pages: Vec::new() };
    layout.all();
    let Layout { mut pages, .. } = layout;
    number_pages(faces, &foot, (width, height), &mut pages);
    pages
}

/// Where a column stands.
#[derive(Clone, Copy)]
struct Place {
    x: f32,
    width: f32,
}

struct Layout<'a> {
    faces: &'a Faces,
    sheet: &'a Sheet,
    columns: Vec<Place>,
    width: f32,
    /// Below this nothing of the table stands.
    bottom: f32,
    /// How far down the present page is filled.
    y: f32,
    pages: Vec<Vec<Mark>>,
}

impl Layout<'_> {
    fn all(&mut self) {
        self.pages.push(Vec::new());
        self.y = MARGIN;
        self.head();
        self.headings();
        for row in &self.sheet.rows {
            self.row(row);
        }
    }

    fn mark(&mut self, mark: Mark) {
        if let Some(page) = self.pages.last_mut() {
            page.push(mark);
        }
    }

    /// A line of text, whose room is taken first.
    fn line(&mut self, x: f32, (size, high, bold): (f32, f32, bool), line: Line) {
        self.y += high;
        let y = self.y - (high - size) / 2.0 - size * 0.15;
        self.mark(Mark::Text { x, y, size, bold, line });
    }

    fn rule(&mut self, weight: f32) {
        self.mark(Mark::Rule { y: self.y, from: MARGIN, to: self.width - MARGIN, weight });
    }

    /// Title, facts and note, on the first page only.
    fn head(&mut self) {
        let inner = self.width - 2.0 * MARGIN;
        for line in self.faces.wrap(&self.sheet.title, TITLE, true, inner) {
            self.line(MARGIN, (TITLE, TITLE * 1.3, true), line);
        }
        self.y += PAD;
        for (label, value) in &self.sheet.facts {
            let top = self.y;
            self.line(MARGIN, (SIZE, LINE, true), Line::from(&*self.faces.printable(label)));
            self.y = top;
            for line in self.faces.wrap(value, SIZE, false, inner - LABEL) {
                self.line(MARGIN + LABEL, (SIZE, LINE, false), line);
            }
        }
        self.y += PAD;
        for line in self.faces.wrap(&self.sheet.note, SIZE, true, inner) {
            self.line(MARGIN, (SIZE, LINE, true), line);
        }
        self.y += 2.0 * PAD;
    }

    /// The heading row, on each page.
    fn headings(&mut self) {
        self.rule(1.0);
        let cells: Vec<Vec<Line>> = self
            .sheet
            .columns
            .iter()
            .zip(&self.columns)
            .map(|(column, place)| self.faces.wrap(column.heading, SIZE, true, place.width))
            .collect();
        self.cells(&cells, true);
        self.rule(1.0);
    }

    fn row(&mut self, row: &[String]) {
        let mut cells: Vec<Vec<Line>> = row
            .iter()
            .zip(&self.columns)
            .map(|(text, place)| self.faces.wrap(text, SIZE, false, place.width))
            .collect();
        // A row is kept together where a page has room for it; a longer one goes on overleaf under its first cell.
        let lines = cells.iter().map(Vec::len).max().unwrap_or(0);
        if self.room() < lines && self.pages.last().is_some_and(|page| !page.is_empty()) {
            self.turn();
        }
        while self.room() < cells.iter().map(Vec::len).max().unwrap_or(0) {
            let room = self.room().max(1);
            let first = cells.first().cloned().unwrap_or_default();
            let rest: Vec<Vec<Line>> = cells.iter_mut().map(|cell| cell.split_off(room.min(cell.len()))).collect();
            self.cells(&cells, false);
            self.turn();
            cells = rest;
            if let Some(cell) = cells.first_mut().filter(|cell| cell.is_empty()) {
                *cell = first.into_iter().take(1).chain([Line::from("(continued)")]).collect();
            }
        }
        self.cells(&cells, false);
        self.rule(0.3);
    }

    /// How many lines of a row still stand on this page.
    fn room(&self) -> usize {
        let mut lines = 0;
        let mut y = self.y + 2.0 * PAD + LINE;
        while y <= self.bottom && lines < 1_000 {
            lines += 1;
            y += LINE;
        }
        lines
    }

    fn cells(&mut self, cells: &[Vec<Line>], bold: bool) {
        self.y += PAD;
        let top = self.y;
        let mut deepest = top;
        for (place, lines) in self.columns.clone().into_iter().zip(cells) {
            self.y = top;
            for line in lines {
                self.line(place.x, (SIZE, LINE, bold), line.clone());
            }
            deepest = deepest.max(self.y);
        }
        self.y = deepest + PAD;
    }

    /// A new page, headed like the first.
    fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = MARGIN;
        self.headings();
    }
}

/// The foot of each page: what it is a page of, and which of how many.
fn number_pages(faces: &Faces, foot: &[Line], (width, height): (f32, f32), pages: &mut [Vec<Mark>]) {
    let of = pages.len();
    let y = height - MARGIN;
    for (page, number) in pages.iter_mut().zip(1..) {
        let mut up = y;
        // What is too long for one line stands on more, the last one beside the number.
        for line in foot.iter().rev().cloned() {
            page.push(Mark::Text { x: MARGIN, y: up, size: SIZE, bold: false, line });
            up -= LINE;
        }
        let text = format!("Page {number} of {of}");
        let x = width - MARGIN - faces.width(&text, SIZE, false);
        page.push(Mark::Text { x, y, size: SIZE, bold: false, line: Line::from(&*text) });
    }
}
