//! A sheet: the one figure that a page is about, what belongs to it, and rows below; laid out for every size of panel. What
//! does not fit on one picture takes turns, one part each time that the page comes round.

use super::pieces::{LINE, heading, heading_words, height, pair, width};
use super::view::View;
use traylight_display::figure::{Stand, figure};
use traylight_display::shapes::{bar, sparkline};
use traylight_display::text::{fit, text, text_right, wrap};
use traylight_display::{Face, Frame, PanelSize, Rectangle, area};

/// What a page says, in the order of importance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sheet {
    /// The page's name.
    pub name: String,
    /// The figure that can be read from afar.
    pub figure: String,
    /// Its unit, a sign that stands beside it.
    pub unit: String,
    /// What the figure is about, in a few short lines.
    pub beside: Vec<String>,
    /// The same drawn.
    pub level: Option<Level>,
    /// What else there is.
    pub rows: Vec<Row>,
    /// Among how many sheets of this page the pages' cycles are shared out; 0 counts as 1.
    pub shared_by: u64,
}

/// One line of words and a value, with a level where there is one.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What it is.
    pub left: String,
    /// Its value, which is never cut where it has a line to itself.
    pub right: String,
    /// The value drawn.
    pub level: Option<Level>,
}

impl Row {
    /// Words and a value.
    pub fn of(left: impl Into<String>, right: impl Into<String>) -> Self {
        Self { left: left.into(), right: right.into(), level: None }
    }

    /// With a level.
    pub fn with(self, level: Level) -> Self {
        Self { level: Some(level), ..self }
    }
}

/// A value drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Level {
    /// A share of a whole, with its limits marked; `None` when it is missing.
    Bar {
        /// 0 to 1.
        share: Option<f32>,
        /// The limits, as shares.
        limits: Vec<f32>,
    },
    /// How it was, oldest first, between the lowest and the highest that the history is drawn for.
    History {
        /// The values; `None` where one is missing.
        values: Vec<Option<f32>>,
        /// What stands on the ground.
        low: f32,
        /// What reaches the top.
        high: f32,
    },
}

impl Level {
    /// A level without limits.
    pub fn share(share: Option<f64>) -> Self {
        Self::Bar { share: share.map(|share| share as f32), limits: Vec::new() }
    }

    fn draw(&self, frame: &mut Frame, at: Rectangle) {
        match self {
            Self::Bar { share, limits } => bar(frame, at, *share, limits),
            Self::History { values, low, high } => {
                let above: Vec<Option<f32>> =
                    values.iter().map(|value| value.map(|value| (value - low).max(0.0))).collect();
                sparkline(frame, at, &above, high - low);
            }
        }
    }

    fn rows(&self) -> i32 {
        match self {
            Self::Bar { .. } => 6,
            Self::History { .. } => 12,
        }
    }
}

/// Draws the sheet, or the part of it whose turn it is.
pub fn draw(frame: &mut Frame, view: &View<'_>, sheet: &Sheet) {
    let plan = Plan::of(frame.panel_size(), sheet);
    let beside = plan.lines_beside(view, sheet);
    let mut fronts: Vec<&[String]> = beside.chunks(plan.beside_lines.max(1)).take(plan.most_parts).collect();
    if fronts.is_empty() {
        fronts.push(&[]);
    }
    let on_front = plan.front_rows.fitting(&sheet.rows, plan.panel);
    let mut leaves: Vec<&[Row]> = Vec::new();
    let mut left = &sheet.rows[on_front..];
    while !left.is_empty() && leaves.len() < plan.most_parts {
        let (leaf, rest) = left.split_at(plan.rest.fitting(left, plan.panel).max(1));
        leaves.push(leaf);
        left = rest;
    }
    let turn = (view.cycle / sheet.shared_by.max(1) % (fronts.len() + leaves.len()) as u64) as usize;
    match turn.checked_sub(fronts.len()) {
        Some(leaf) => {
            heading(frame, view, 0, &sheet.name);
            draw_rows(frame, &plan.rest, leaves[leaf]);
        }
        None => {
            plan.draw_front(frame, view, sheet, fronts[turn]);
            draw_rows(frame, &plan.front_rows, &sheet.rows[..on_front]);
        }
    }
}

/// The sheet in sentences. What the figure is about stands first beside it.
pub fn sentences(sheet: Sheet) -> impl Iterator<Item = String> {
    let lead = format!("{}: {}{} {}", sheet.name, sheet.figure, sheet.unit, sheet.beside.join(", "));
    let rows = sheet.rows.into_iter().map(|row| format!("{} {}", row.left, row.right));
    std::iter::once(lead).chain(rows)
}

/// Where things are on a panel of some size. Spans are first row and the row after the last.
struct Plan {
    panel: PanelSize,
    /// The figure's rows.
    figure: (i32, i32),
    /// The row of the level, if there is room for it.
    level: Option<i32>,
    /// The first of the lines beside the figure or below it.
    beside: i32,
    beside_lines: usize,
    /// Rows below, on the front and on the leaves.
    front_rows: Lines,
    rest: Lines,
    /// A small panel shows less: at most so many parts of what belongs to the figure, and of the rows.
    most_parts: usize,
}

/// A place for rows of text: its first row of pixels, the one after its last, and the distance between lines.
struct Lines {
    top: i32,
    bottom: i32,
    pitch: i32,
}

impl Lines {
    /// How many of the rows fit.
    fn fitting(&self, rows: &[Row], panel: PanelSize) -> usize {
        let mut y = self.top;
        let fits = |row: &&Row| {
            y += row_height(row, panel) - LINE + self.pitch;
            y - (self.pitch - Face::Small.capitals() as i32) <= self.bottom
        };
        rows.iter().take_while(fits).count()
    }
}

impl Plan {
    fn of(panel: PanelSize, sheet: &Sheet) -> Self {
        let high = panel.height() as i32;
        let level = sheet.level.as_ref().map(Level::rows);
        let plan = Self {
            panel,
            figure: (9, 31),
            level: None,
            beside: 9,
            beside_lines: 3,
            front_rows: Lines { top: 0, bottom: 0, pitch: LINE },
            rest: Lines { top: LINE, bottom: high - 1, pitch: LINE },
            most_parts: if high < 64 { 2 } else { 8 },
        };
        if high < 40 {
            // Every row of pixels is needed: three lines below the heading, tails in the last row.
            let rest = Lines { top: LINE - 1, bottom: high, pitch: LINE - 1 };
            return Self { figure: (1, 31), beside: 8, rest, ..plan };
        }
        if panel.width() >= 128 {
            let (below, pitch) = level.map_or((36, LINE), |rows| (34 + rows, LINE - 1));
            let front_rows = Lines { top: below, bottom: high - 1, pitch };
            return Self { level: Some(33), front_rows, ..plan };
        }
        let figure = (
            10,
            10 + if high < 64 {
                19
            } else if high < 128 {
                24
            } else {
                30
            },
        );
        let mut y = figure.1 + 2;
        let room_for_level = level.filter(|rows| high - y >= rows + 2 + 9);
        let level = room_for_level.map(|_| y);
        y += room_for_level.map_or(0, |rows| rows + 2);
        let beside_lines = (((high - y) / LINE) as usize).clamp(1, 4);
        let front_rows = Lines { top: y + beside_lines as i32 * LINE + 1, bottom: high - 1, pitch: LINE };
        Self { figure, level, beside: y, beside_lines, front_rows, ..plan }
    }

    /// True where the lines stand at the right of the figure.
    fn is_wide(&self) -> bool {
        self.panel.width() >= 128
    }

    /// The lines that belong to the figure. On a wide panel each has its place; on the others they flow.
    fn lines_beside(&self, view: &View<'_>, sheet: &Sheet) -> Vec<String> {
        if self.is_wide() {
            return sheet.beside.iter().take(self.beside_lines).cloned().collect();
        }
        let columns = Face::Small.columns(self.panel);
        let mut flow: Vec<String> = Vec::new();
        // A name that has no room in the heading, such as that of a tray, comes first here.
        let is_named = !heading_words(view, columns, &sheet.name).0.is_empty();
        let name = (!is_named).then_some(&sheet.name);
        for line in name.into_iter().chain(&sheet.beside).flat_map(|line| wrap(line, columns)) {
            match flow.last_mut().filter(|last| last.chars().count() + 1 + line.chars().count() <= columns) {
                Some(last) => *last = format!("{last} {line}"),
                None => flow.push(line),
            }
        }
        flow
    }

    fn draw_front(&self, frame: &mut Frame, view: &View<'_>, sheet: &Sheet, beside: &[String]) {
        let wide = width(frame);
        let has_right = self.is_wide() && !(beside.is_empty() && self.is_high());
        // A very narrow panel has no room for a unit of its own size.
        let (shown, unit) = if wide < 64 {
            (format!("{}{}", sheet.figure, sheet.unit), "")
        } else {
            (sheet.figure.clone(), &*sheet.unit)
        };
        let unit_width = (Face::Medium.width() as i32 * unit.chars().count() as i32 + 2) * i32::from(!unit.is_empty());
        // The figure leaves the lines at the right what they need, down to a third of the panel for itself.
        let longest = beside.iter().map(|line| line.chars().count()).max().unwrap_or(0) as i32;
        let left_over = wide - 8 - Face::Small.width() as i32 * longest;
        let room = (if has_right { left_over.clamp(wide / 3, wide / 2) } else { wide } - unit_width).max(0);
        let high = (self.figure.1 - self.figure.0) as u32;
        let end = figure(frame, area(0, self.figure.0, room as u32, high), &shown, Stand::Left);
        let end = text(frame, end + 2, self.figure.1 - 14, unit, Face::Medium);
        let left = if has_right { end + 6 } else { 0 };
        heading(frame, view, if self.is_high() { 0 } else { left }, &sheet.name);
        for (index, line) in beside.iter().enumerate() {
            let columns = ((wide - left) / Face::Small.width() as i32) as usize;
            let pitch = if self.is_wide() { 8 } else { LINE };
            text(frame, left, self.beside + pitch * index as i32, &fit(line, columns), Face::Small);
        }
        if let (Some(level), Some(y)) = (&sheet.level, self.level) {
            level.draw(frame, area(0, y, wide as u32, level.rows() as u32));
        }
    }

    fn is_high(&self) -> bool {
        self.panel.height() >= 40
    }
}

/// The lines of a row: of its words at the left and of its value at the right; one where both fit on it.
fn lines(row: &Row, panel: PanelSize) -> (Vec<String>, Vec<String>) {
    let columns = Face::Small.columns(panel);
    (wrap(&row.left, columns), wrap(&row.right, columns))
}

fn is_one_line(row: &Row, panel: PanelSize) -> bool {
    let columns = Face::Small.columns(panel);
    let (left, right) = (row.left.chars().count(), row.right.chars().count());
    // On a wide panel the words may be cut, down to a few letters; the value never is.
    left.min(if columns >= 21 { 3 } else { left }) + 1 + right <= columns
}

fn row_height(row: &Row, panel: PanelSize) -> i32 {
    let (left, right) = lines(row, panel);
    let count = if is_one_line(row, panel) { 1 } else { (left.len() + right.len()) as i32 };
    let beside = panel.width() >= 128;
    count * LINE + row.level.as_ref().filter(|_| !beside).map_or(0, |level| level.rows() + 2)
}

fn draw_rows(frame: &mut Frame, place: &Lines, rows: &[Row]) {
    let (panel, wide) = (frame.panel_size(), width(frame));
    let mut y = place.top;
    for row in rows {
        let next = y + row_height(row, panel) - LINE + place.pitch;
        if let (Some(level), true) = (&row.level, wide >= 128) {
            let begins = text_right(frame, wide, y, &row.right, Face::Small);
            let columns = begins / Face::Small.width() as i32;
            let columns = (columns - 5).clamp(9, 13).min(columns - 1).max(0) as usize;
            let end = text(frame, 0, y, &fit(&row.left, columns), Face::Small).max(48);
            level.draw(frame, area(end + 4, y, (begins - end - 8).max(0) as u32, 7));
            y = next;
            continue;
        }
        if is_one_line(row, panel) {
            pair(frame, y, &row.left, &row.right);
            y += LINE;
        } else {
            let (left, right) = lines(row, panel);
            for line in left {
                text(frame, 0, y, &line, Face::Small);
                y += LINE;
            }
            for line in right {
                text_right(frame, wide, y, &line, Face::Small);
                y += LINE;
            }
        }
        if let Some(level) = &row.level {
            level.draw(frame, area(0, y, wide as u32, level.rows().min(height(frame) - 1 - y).max(0) as u32));
        }
        y = next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// A value that were cut would be another one.
        #[test]
        fn a_value_is_whole_whatever_stands_before_it(left in ".{0,40}", right in "[0-9A-Z.]{1,5}", panel in 0..8usize) {
            let panel = PanelSize::ALL[panel];
            let row = Row::of(left, right.clone());
            let mut frame = Frame::new(panel);
            let place = Lines { top: 0, bottom: panel.height() as i32, pitch: LINE };
            draw_rows(&mut frame, &place, std::slice::from_ref(&row));
            let y = row_height(&row, panel) - LINE;
            let mut wanted = Frame::new(panel);
            let begins = text_right(&mut wanted, panel.width() as i32, y, &right, Face::Small);
            for row in y..y + LINE {
                for x in begins..panel.width() as i32 {
                    prop_assert_eq!(frame.is_lit(x, row), wanted.is_lit(x, row), "{:?}", frame);
                }
            }
        }
    }
}
