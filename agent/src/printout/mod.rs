//! What a person reads on a terminal. Text of devices, mounts, files and other programs may hold characters that steer
//! the terminal or hide what is written; in a [`Printout`] these are escaped, and only printouts are printed. How it looks
//! depends on the [`Screen`] that it is shown on; [`Table`] is the part of it that has columns.

mod screen;
mod table;
mod wrap;

pub use screen::Screen;
pub use table::{Cell, Table};

use crate::text::{misleads, one_line};
use crate::verdict::Severity;
use serde::Serialize;
use std::fmt::{self, Display, Write as _};
use unicode_width::UnicodeWidthStr;

/// What is printed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Printout(Vec<Block>);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Block {
    /// A sentence, which may be broken between words.
    Line(String, Option<Severity>),
    /// A line that must not be broken, such as one of a drawing.
    Drawn(String),
    Table(Table),
    /// Names, and what there is to say of each.
    Glossary(Vec<(String, String)>),
    Json(String),
}

/// How far a command to enter is indented.
const TO_ENTER: &str = "      ";
/// Between a name and what is said of it, where both are in one line.
const GAP: usize = 2;
/// How far what is said of a name is indented below it.
const BELOW: usize = 4;

impl Printout {
    /// One line. Line breaks in it are escaped, too.
    pub fn line(&mut self, line: impl Display) {
        self.coloured(line, None);
    }

    /// One line in the colour of a severity.
    pub fn coloured(&mut self, line: impl Display, severity: Option<Severity>) {
        self.0.push(Block::Line(line.to_string(), severity));
    }

    /// A heading over what follows, after an empty line.
    pub fn heading(&mut self, heading: impl Display) {
        self.line("");
        self.line(heading);
    }

    /// A command or a line to enter. It is not broken, however wide it is: it is to be copied.
    pub fn to_enter(&mut self, command: impl Display) {
        self.0.push(Block::Drawn(format!("{TO_ENTER}{command}")));
    }

    /// A picture drawn with characters.
    pub fn drawing(&mut self, drawing: &str) {
        self.0.extend(drawing.lines().map(|line| Block::Drawn(line.to_owned())));
    }

    /// A table after an empty line; nothing at all when it has no rows.
    pub fn table(&mut self, table: Table) {
        self.0.push(Block::Table(table));
    }

    /// Names, each with what there is to say of it: beside them where there is room, else below.
    pub fn glossary(&mut self, entries: Vec<(String, String)>) {
        self.0.push(Block::Glossary(entries));
    }

    /// A value as indented JSON.
    ///
    /// # Errors
    /// When it is no JSON, such as a map whose keys are no text.
    pub fn json(value: &impl Serialize) -> serde_json::Result<Self> {
        let text = serde_json::to_string_pretty(value)?;
        let mut units = [0; 2];
        let mut safe = String::with_capacity(text.len() + 1);
        for c in text.chars() {
            if !misleads(c) || c == '\n' {
                safe.push(c);
                continue;
            }
            // Outside of strings JSON has no such characters, and in them an escape means the same (RFC 8259, section 7).
            for unit in c.encode_utf16(&mut units) {
                let _ = write!(safe, "\\u{unit:04x}");
            }
        }
        Ok(Self(vec![Block::Json(safe)]))
    }

    /// The text as this screen shows it, each line ended by a line break.
    pub fn on(&self, screen: &Screen) -> String {
        let mut text = String::new();
        for block in &self.0 {
            let lines = match block {
                Block::Line(line, severity) => {
                    let lines = screen.wrapped(&screen.spelled(&one_line(line)));
                    lines.iter().map(|line| screen.coloured(line, *severity).into_owned()).collect()
                }
                Block::Drawn(line) => vec![screen.spelled(&one_line(line)).into_owned()],
                Block::Table(table) => table.lines(screen),
                Block::Glossary(entries) => glossary(entries, screen),
                Block::Json(json) => vec![json.clone()],
            };
            lines.iter().for_each(|line| text.extend([line, "\n"]));
        }
        text
    }
}

fn glossary(entries: &[(String, String)], screen: &Screen) -> Vec<String> {
    let shown = |text: &String| screen.spelled(&one_line(text)).into_owned();
    let entries: Vec<(String, String)> = entries.iter().map(|(name, text)| (shown(name), shown(text))).collect();
    let beside = entries.iter().map(|(name, _)| name.width()).max().unwrap_or(0) + GAP;
    let lines = |(name, text): &(String, String)| match screen.columns {
        Some(columns) if columns < 2 * beside => {
            [screen.wrapped(name), screen.hanging(&" ".repeat(BELOW), text, BELOW)].concat()
        }
        _ => screen.hanging(&format!("{name}{}", " ".repeat(beside - name.width())), text, beside),
    };
    entries.iter().flat_map(lines).collect()
}

/// As a pipe gets it.
impl Display for Printout {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.on(&Screen::PIPE))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const HOSTILE: &str = "/srv/\x1b[2J\u{9b}31m\u{202e}songs\n- all is well";

    #[test]
    fn what_steers_a_terminal_is_shown_and_does_nothing() {
        let mut out = Printout::default();
        out.line(format_args!("volume {HOSTILE}"));
        assert_eq!(out.to_string(), "volume /srv/\\u{1b}[2J\\u{9b}31m\\u{202e}songs\\u{a}- all is well\n");
        assert_eq!(one_line("/srv/Überwinterung 鳥"), "/srv/Überwinterung 鳥");
    }

    #[test]
    fn cells_of_a_table_stay_in_their_column() {
        let mut out = Printout::default();
        let rows = [["/a\n/b", "1 GB"], ["/", "-"]].map(|row| row.map(Cell::from).to_vec()).to_vec();
        out.table(Table::new([("mount", 0), ("free", 0)], rows));
        assert_eq!(out.to_string(), "\nmount      free\n/a\\u{a}/b  1 GB\n/          -\n");
    }

    #[test]
    fn what_is_said_of_a_name_stands_beside_it_or_below_and_lines_up_with_wide_letters() {
        let mut out = Printout::default();
        out.glossary([("上段", "a drive disconnects"), ("fan", "it stops")].map(|(a, b)| (a.into(), b.into())).into());
        let on = |columns| out.on(&Screen { columns: Some(columns), ..Screen::PIPE });
        assert_eq!(out.to_string(), "上段  a drive disconnects\nfan   it stops\n");
        assert_eq!(on(18), "上段  a drive\n      disconnects\nfan   it stops\n");
        assert_eq!(on(11), "上段\n    a drive\n    disconn\n    ects\nfan\n    it\n    stops\n");
    }

    proptest! {
        #[test]
        fn json_means_the_same_and_steers_nothing(text in any::<String>()) {
            let out = Printout::json(&[&text]).expect("text is JSON").to_string();
            prop_assert!(!out.contains(|c| misleads(c) && c != '\n'));
            let back: Vec<String> = serde_json::from_str(&out).expect("it is still JSON");
            prop_assert_eq!(&back[0], &text);
        }

        #[test]
        fn any_text_is_one_line(text in any::<String>()) {
            let mut out = Printout::default();
            out.line(text);
            prop_assert_eq!(out.to_string().chars().filter(|c| misleads(*c)).count(), 1);
        }
    }
}
