//! A sheet: the one figure that a page is about, what belongs to it, and rows below; laid out for every size of glass. What
//! does not fit on one picture takes turns, one part each time that the page comes round.

use super::View;
use super::pieces::{LINE, heading, height, pair, width};
use traylight_display::figure::{Stand, figure};
use traylight_display::shapes::{bar, sparkline};
use traylight_display::text::{fit, text, text_right, wrap};
use traylight_display::{Face, Frame, GlassSize, Rectangle, area};

/// What a page says, in the order of importance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sheet {
    /// The page's name.
    pub name: String,
    /// The figure that can be read from afar.
    pub figure: String,
    /// What the figure is about, in a few short lines.
    pub beside: Vec<String>,
    /// The same drawn.
    pub level: Option<Level>,
    /// What else there is.
    pub rows: Vec<Row>,
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
    let plan = Plan::of(frame.glass_size(), sheet);
    let beside = plan.lines_beside(sheet);
    let fronts = beside.len().div_ceil(plan.beside_lines.max(1)).max(1);
    let on_front = plan.fitting(&sheet.rows, plan.front_rows);
    let mut leaves: Vec<&[Row]> = Vec::new();
    let mut left = &sheet.rows[on_front..];
    while !left.is_empty() {
        let (leaf, rest) = left.split_at(plan.fitting(left, plan.rest).max(1));
        leaves.push(leaf);
        left = rest;
    }
    let turn = (view.lap % (fronts + leaves.len()) as u64) as usize;
    match turn.checked_sub(fronts) {
        Some(leaf) => {
            heading(frame, view, 0, &sheet.name);
            draw_rows(frame, plan.rest.0, leaves[leaf]);
        }
        None => {
            let beside = beside.chunks(plan.beside_lines.max(1)).nth(turn).unwrap_or_default();
            plan.draw_front(frame, view, sheet, beside);
            draw_rows(frame, plan.front_rows.0, &sheet.rows[..on_front]);
        }
    }
}

/// Where things are on a glass of some size. Spans are first row and the row after the last.
struct Plan {
    glass: GlassSize,
    /// The figure's rows.
    figure: (i32, i32),
    /// The row of the level, if there is room for it.
    level: Option<i32>,
    /// The first of the lines beside the figure or below it.
    beside: i32,
    beside_lines: usize,
    /// Rows below, on the front and on the leaves.
    front_rows: (i32, i32),
    rest: (i32, i32),
}

impl Plan {
    fn of(glass: GlassSize, sheet: &Sheet) -> Self {
        let high = glass.height() as i32;
        let level = sheet.level.as_ref().map(Level::rows);
        let rest = (LINE, high - 1);
        if high < 40 {
            return Self { glass, figure: (1, 31), level: None, beside: 8, beside_lines: 3, front_rows: (0, 0), rest };
        }
        if glass.width() >= 128 {
            let below = if let Some(rows) = level { 34 + rows + 4 } else { 36 };
            let front_rows = (below, high - 1);
            return Self { glass, figure: (10, 32), level: Some(34), beside: 9, beside_lines: 3, front_rows, rest };
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
        let front_rows = (y + beside_lines as i32 * LINE + 1, high - 1);
        Self { glass, figure, level, beside: y, beside_lines, front_rows, rest }
    }

    /// True where the lines stand at the right of the figure.
    fn is_wide(&self) -> bool {
        self.glass.width() >= 128
    }

    /// The lines that belong to the figure. On wide glass each has its place; on the others they flow.
    fn lines_beside(&self, sheet: &Sheet) -> Vec<String> {
        if self.is_wide() {
            return sheet.beside.iter().take(self.beside_lines).cloned().collect();
        }
        let columns = Face::Small.columns(self.glass);
        sheet.beside.iter().flat_map(|line| wrap(line, columns)).collect()
    }

    fn draw_front(&self, frame: &mut Frame, view: &View<'_>, sheet: &Sheet, beside: &[String]) {
        let wide = width(frame);
        let has_right = self.is_wide() && !(beside.is_empty() && self.is_high());
        let room = if has_right { wide - 50 } else { wide };
        let place = area(0, self.figure.0, room as u32, (self.figure.1 - self.figure.0) as u32);
        let end = figure(frame, place, &sheet.figure, Stand::Left);
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
        self.glass.height() >= 40
    }

    /// How many of the rows fit in a span.
    fn fitting(&self, rows: &[Row], span: (i32, i32)) -> usize {
        let mut y = span.0;
        let fits = |row: &&Row| {
            y += row_height(row, self.glass);
            y - (LINE - 7) <= span.1
        };
        rows.iter().take_while(fits).count()
    }
}

/// True when words and value share a line.
fn is_one_line(row: &Row, glass: GlassSize) -> bool {
    let columns = Face::Small.columns(glass);
    columns >= 21 || row.left.chars().count() + 1 + row.right.chars().count() <= columns
}

fn row_height(row: &Row, glass: GlassSize) -> i32 {
    let lines = if is_one_line(row, glass) { LINE } else { 2 * LINE };
    let beside = glass.width() >= 128;
    lines + row.level.as_ref().filter(|_| !beside).map_or(0, |level| level.rows() + 2)
}

fn draw_rows(frame: &mut Frame, top: i32, rows: &[Row]) {
    let (glass, wide) = (frame.glass_size(), width(frame));
    let mut y = top;
    for row in rows {
        let next = y + row_height(row, glass);
        if let (Some(level), true) = (&row.level, wide >= 128) {
            let begins = text_right(frame, wide, y, &row.right, Face::Small);
            let end = text(frame, 0, y, &fit(&row.left, 9), Face::Small).max(48);
            level.draw(frame, area(end + 4, y, (begins - end - 8).max(0) as u32, 7));
            y = next;
            continue;
        }
        if is_one_line(row, glass) {
            pair(frame, y, &row.left, &row.right);
            y += LINE;
        } else {
            text(frame, 0, y, &row.left, Face::Small);
            text_right(frame, wide, y + LINE, &row.right, Face::Small);
            y += 2 * LINE;
        }
        if let Some(level) = &row.level {
            level.draw(frame, area(0, y, wide as u32, level.rows().min(height(frame) - 1 - y).max(0) as u32));
        }
        y = next;
    }
}
