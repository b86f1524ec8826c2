//! What a person reads on a terminal. Text of devices, mounts, files and other programs may hold characters that steer
//! the terminal or hide what is written; a [`Printout`] is made of lines in which these are escaped, and only printouts
//! are printed.

use crate::text::{misleads, one_line};
use serde::Serialize;
use std::borrow::Cow;
use std::fmt::{self, Display, Write as _};

/// Lines fit for a terminal.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Printout(String);

impl Printout {
    /// One line. Line breaks in it are escaped, too.
    pub fn line(&mut self, line: impl Display) {
        let line = line.to_string();
        self.0.push_str(&one_line(&line));
        self.0.push('\n');
    }

    /// A line for each line of the text, such as a report or a picture drawn with characters.
    pub fn lines(&mut self, text: &str) {
        text.lines().for_each(|line| self.line(line));
    }

    /// A heading and its rows in columns, after an empty line; nothing at all when there are no rows.
    pub fn table(&mut self, heading: &[&str], rows: &[Vec<String>]) {
        if rows.is_empty() {
            return;
        }
        let heading = heading.iter().map(|cell| one_line(cell)).collect::<Vec<_>>();
        let rows: Vec<Vec<Cow<'_, str>>> =
            rows.iter().map(|row| row.iter().map(|cell| one_line(cell)).collect()).collect();
        let wide = |column: usize| {
            let cells = rows.iter().map(|row| row[column].chars().count());
            cells.chain([heading[column].chars().count()]).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..heading.len()).map(wide).collect();
        self.line("");
        for row in std::iter::once(&heading).chain(&rows) {
            let padded: Vec<String> = row.iter().zip(&widths).map(|(cell, &width)| format!("{cell:width$}")).collect();
            self.line(padded.join("  ").trim_end());
        }
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
        safe.push('\n');
        Ok(Self(safe))
    }

    /// The text, each line ended by a line break.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Display for Printout {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
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
        assert_eq!(out.as_str(), "volume /srv/\\u{1b}[2J\\u{9b}31m\\u{202e}songs\\u{a}- all is well\n");
        assert_eq!(one_line("/srv/Überwinterung 鳥"), "/srv/Überwinterung 鳥");
    }

    #[test]
    fn cells_of_a_table_stay_in_their_column() {
        let mut out = Printout::default();
        out.table(
            &["mount", "free"],
            &[vec!["/a\n/b".to_owned(), "1 GB".to_owned()], vec!["/".to_owned(), "-".to_owned()]],
        );
        assert_eq!(out.as_str(), "\nmount      free\n/a\\u{a}/b  1 GB\n/          -\n");
    }

    proptest! {
        #[test]
        fn json_means_the_same_and_steers_nothing(text in any::<String>()) {
            let out = Printout::json(&[&text]).expect("text is JSON");
            prop_assert!(!out.as_str().contains(|c| misleads(c) && c != '\n'));
            let back: Vec<String> = serde_json::from_str(out.as_str()).expect("it is still JSON");
            prop_assert_eq!(&back[0], &text);
        }

        #[test]
        fn any_text_is_one_line(text in any::<String>()) {
            let mut out = Printout::default();
            out.line(text);
            prop_assert_eq!(out.as_str().chars().filter(|c| misleads(*c)).count(), 1);
        }
    }
}
