//! A table that fits its screen: columns that matter least are left out, then cells are cut. No line is broken, and no cut
//! cell reads as something else.

use super::screen::Screen;
use crate::text::one_line;
use crate::verdict::Severity;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Where not all columns have room, cells get no wider than this, until it is clear which columns stay.
const LONG: usize = 24;
/// Between two columns.
const GAP: usize = 2;

/// Rows in columns, with a heading. Nothing is printed of a table without rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    columns: Vec<Column>,
    rows: Vec<Vec<Cell>>,
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Column {
    heading: String,
    /// Columns are left out from the highest rank down; those of rank 0 always stay.
    rank: u8,
}

/// What is in one row and column.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Cell {
    text: String,
    severity: Option<Severity>,
}

impl Cell {
    /// Text in the colour of a severity.
    pub fn coloured(text: impl Into<String>, severity: Option<Severity>) -> Self {
        Self { text: text.into(), severity }
    }
}

impl<T: Into<String>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self::coloured(text, None)
    }
}

impl Table {
    /// Columns by heading and rank, each row with a cell for each: the highest ranks are left out first, rank 0 never.
    pub fn new<H: Into<String>>(columns: impl IntoIterator<Item = (H, u8)>, rows: Vec<Vec<Cell>>) -> Self {
        let columns = columns.into_iter().map(|(heading, rank)| Column { heading: heading.into(), rank }).collect();
        Self { columns, rows }
    }

    /// Its lines, an empty one before them.
    pub(super) fn lines(&self, screen: &Screen) -> Vec<String> {
        if self.rows.is_empty() {
            return Vec::new();
        }
        let heading = self.columns.iter().map(|column| Cell::from(column.heading.as_str())).collect();
        let shown = |cell: &Cell| Cell { text: screen.spelled(&one_line(&cell.text)).into_owned(), ..*cell };
        let rows: Vec<Vec<Cell>> = std::iter::once(&heading)
            .chain(&self.rows)
            .map(|row: &Vec<Cell>| row.iter().map(shown).collect())
            .collect();
        let widest = |column: usize| rows.iter().map(|row| row[column].text.width()).max().unwrap_or(0);
        let kept = self.kept((0..self.columns.len()).map(|column| (column, widest(column))).collect(), screen);
        let line = |row: &Vec<Cell>| {
            let cell = |(column, width): &(usize, usize)| {
                let cell = &row[*column];
                let text = cut(&cell.text, *width, screen.ellipsis());
                let padding = " ".repeat(width.saturating_sub(text.width()) + GAP);
                format!("{}{padding}", screen.coloured(&text, cell.severity))
            };
            kept.iter().map(cell).collect::<String>().trim_end().to_owned()
        };
        std::iter::once(String::new()).chain(rows.iter().map(line)).collect()
    }

    /// The columns that stay, with their widths.
    fn kept(&self, mut columns: Vec<(usize, usize)>, screen: &Screen) -> Vec<(usize, usize)> {
        let total = |columns: &[(usize, usize)]| columns.iter().map(|(_, width)| width + GAP).sum::<usize>() - GAP;
        let Some(room) = screen.columns.filter(|room| total(&columns) > *room) else { return columns };
        let natural = columns.clone();
        columns.iter_mut().for_each(|(_, width)| *width = (*width).min(LONG));
        while total(&columns) > room {
            let least = columns.iter().enumerate().max_by_key(|(_, (column, _))| self.columns[*column].rank);
            match least {
                Some((index, (column, _))) if self.columns[*column].rank > 0 => drop(columns.remove(index)),
                _ => break,
            }
        }
        while total(&columns) > room {
            let Some((_, width)) = columns.iter_mut().max_by_key(|(_, width)| *width).filter(|(_, width)| *width > 1)
            else {
                break;
            };
            *width -= 1;
        }
        let mut spare = room.saturating_sub(total(&columns));
        for (column, width) in &mut columns {
            let more = natural[*column].1.saturating_sub(*width).min(spare);
            *width += more;
            spare -= more;
        }
        columns
    }
}

/// So much of the text as fits, with a mark where it is cut. No figure is cut, nor parted from its unit.
fn cut(text: &str, columns: usize, mark: &str) -> String {
    if text.width() <= columns {
        return text.to_owned();
    }
    let mark: String = mark.chars().take(columns).collect();
    let mut room = columns.saturating_sub(mark.width());
    let fits = |c: &char| {
        let width = c.width().unwrap_or(0);
        let fits = width <= room;
        room = room.saturating_sub(if fits { width } else { room });
        fits
    };
    let kept: String = text.chars().take_while(fits).collect();
    let mut kept = kept.trim_end();
    // A figure at the end may go on behind the cut, and its unit does.
    while let Some(word) = kept.rsplit(|c: char| !(c.is_alphanumeric() || ".,:-".contains(c))).next() {
        if !word.contains(|c: char| c.is_ascii_digit()) {
            break;
        }
        kept = kept[..kept.len() - word.len()].trim_end();
    }
    format!("{kept}{mark}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn drives() -> Table {
        let row = |cells: [&str; 4]| cells.into_iter().map(Cell::from).collect();
        Table::new(
            [("tray", 0), ("model", 2), ("temp", 1), ("health", 0)],
            vec![
                row(["1", "Seagull 8T", "38 °C", "passed"]),
                row(["上段", "Lark 4T with a name that goes on and on", "-", "gone since 14:32"]),
            ],
        )
    }

    fn on(columns: usize, table: &Table) -> Vec<String> {
        table.lines(&Screen { columns: Some(columns), ..Screen::PIPE })
    }

    #[test]
    fn columns_that_matter_least_are_left_out_and_wide_letters_take_two_columns() {
        assert_eq!(on(20, &drives()), ["", "tray  health", "1     passed", "上段  gone since…"]);
        assert_eq!(on(31, &drives())[3], "上段  -      gone since 14:32");
        assert_eq!(on(60, &drives())[3], "上段  Lark 4T with a name that goe…  -      gone since 14:32");
        assert_eq!(on(300, &drives()), drives().lines(&Screen::PIPE));
    }

    #[test]
    fn what_is_cut_says_so_and_reads_as_nothing_else() {
        let cases = [
            ("12.5 TB", 5, "…"),
            ("gone since 14:32", 15, "gone since…"),
            ("WD-123456", 6, "…"),
            ("/srv/photos", 8, "/srv/ph…"),
            ("鳥鳥鳥", 4, "鳥…"),
            ("52 °C", 1, "…"),
        ];
        for (text, columns, wanted) in cases {
            assert_eq!(cut(text, columns, "…"), wanted, "{text} in {columns}");
        }
        assert_eq!(cut("passed", 5, "..."), "pa...");
    }

    #[test]
    fn colours_take_no_room_and_stay_out_of_a_pipe() {
        let bad = || vec![Cell::coloured("FAILING", Some(Severity::Critical)), Cell::from("x")];
        let table = Table::new([("health", 0), ("next", 0)], vec![bad()]);
        let coloured = table.lines(&Screen { has_colours: true, ..Screen::PIPE });
        assert_eq!(coloured[2], "\x1b[1m\x1b[31mFAILING\x1b[0m  x");
        assert_eq!(table.lines(&Screen::PIPE)[2], "FAILING  x");
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_its_screen(cells in prop::collection::vec(".{0,40}|.{200}", 4), columns in 20..300_usize) {
            let row: Vec<Cell> = cells.into_iter().map(Cell::from).collect();
            let table = Table::new([("tray", 0), ("model", 2), ("temp", 1), ("health", 0)], vec![row]);
            for line in on(columns, &table) {
                prop_assert!(line.width() <= columns, "{line:?}");
            }
        }
    }
}
