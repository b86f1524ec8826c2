//! What a printout is shown on: how wide it is, whether it obeys control sequences, and which characters it can show.

use super::wrap::wrapped;
use crate::verdict::Severity;
use anstyle::{AnsiColor, Style};
use std::borrow::Cow;
use unicode_width::UnicodeWidthStr;

/// At most one in so many columns is indentation of a sentence.
const INDENTED: usize = 3;

/// A terminal, or a pipe or file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Screen {
    /// Its width in columns; `None` where lines may have any length.
    pub columns: Option<usize>,
    /// True where what is printed can be replaced: a terminal that moves its cursor.
    pub has_cursor: bool,
    /// True where colours may be used.
    pub has_colours: bool,
    /// False where only ASCII can be shown.
    pub has_unicode: bool,
}

impl Screen {
    /// A pipe whose reader understands UTF-8.
    pub const PIPE: Self = Self { columns: None, has_cursor: false, has_colours: false, has_unicode: true };

    /// By the environment, and by the width of the terminal if it is one. `NO_COLOR` switches colours off when it is not
    /// empty; the first of the three variables of the locale that is set decides (POSIX, Base Definitions, 8.2).
    pub fn of(columns: Option<u16>, variable: &dyn Fn(&str) -> Option<String>) -> Self {
        let set = |name: &&str| variable(name).filter(|value| !value.is_empty());
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"].iter().find_map(set).unwrap_or_default().to_ascii_lowercase();
        let has_cursor = columns.is_some() && variable("TERM").as_deref() != Some("dumb");
        Self {
            columns: columns.map(usize::from),
            has_cursor,
            has_colours: has_cursor && set(&"NO_COLOR").is_none(),
            has_unicode: locale.contains("utf-8") || locale.contains("utf8"),
        }
    }

    /// The text in characters that can be shown. Parts of drawings keep their shape as well as ASCII allows.
    pub fn spelled<'a>(&self, text: &'a str) -> Cow<'a, str> {
        if self.has_unicode || text.is_ascii() {
            return Cow::Borrowed(text);
        }
        let mut spelled = String::with_capacity(text.len());
        let mut chars = text.chars().peekable();
        while let Some(c) = chars.next() {
            let is_title = chars.peek().is_some_and(|next| next.is_lowercase());
            match c {
                '\0'..='\x7f' => spelled.push(c),
                '°' => {}
                '…' => spelled.push_str("..."),
                'ä' => spelled.push_str("ae"),
                'ö' => spelled.push_str("oe"),
                'ü' => spelled.push_str("ue"),
                'Ä' => spelled.push_str(if is_title { "Ae" } else { "AE" }),
                'Ö' => spelled.push_str(if is_title { "Oe" } else { "OE" }),
                'Ü' => spelled.push_str(if is_title { "Ue" } else { "UE" }),
                'ß' => spelled.push_str("ss"),
                '→' => spelled.push_str("->"),
                '–' => spelled.push('-'),
                '█' => spelled.push('#'),
                '▀' => spelled.push('"'),
                '▄' => spelled.push('_'),
                _ => spelled.push('?'),
            }
        }
        Cow::Owned(spelled)
    }

    /// What stands for the end of a text that has no room.
    pub fn ellipsis(&self) -> &'static str {
        if self.has_unicode { "…" } else { "..." }
    }

    /// The text in the colour of a severity.
    pub fn coloured<'a>(&self, text: &'a str, severity: Option<Severity>) -> Cow<'a, str> {
        let colour = match severity {
            Some(Severity::Critical) => AnsiColor::Red,
            Some(Severity::Warning) => AnsiColor::Yellow,
            Some(Severity::Notice) => AnsiColor::Cyan,
            None => return Cow::Borrowed(text),
        };
        if !self.has_colours || text.is_empty() {
            return Cow::Borrowed(text);
        }
        let style = Style::new().bold().fg_color(Some(colour.into()));
        Cow::Owned(format!("{style}{text}{style:#}"))
    }

    /// A sentence in lines that fit; those after the first are indented further.
    pub fn wrapped(&self, line: &str) -> Vec<String> {
        let text = line.trim_start_matches([' ', '-']);
        let most = self.columns.map_or(usize::MAX, |columns| columns / INDENTED);
        let beginning = &line[..line.len() - text.len()];
        let indent = beginning.len() + 2;
        self.hanging(&beginning[beginning.len().saturating_sub(most)..], text, indent.min(most))
    }

    /// A text in lines that fit: the first behind this beginning, the others so far indented.
    pub fn hanging(&self, beginning: &str, text: &str, indent: usize) -> Vec<String> {
        let Some(columns) = self.columns else { return vec![format!("{beginning}{text}")] };
        let lines = wrapped(text, columns.saturating_sub(beginning.width()), columns.saturating_sub(indent));
        let indent = " ".repeat(indent);
        let beginnings = std::iter::once(beginning).chain(std::iter::repeat(indent.as_str()));
        lines.iter().zip(beginnings).map(|(line, begin)| format!("{begin}{line}").trim_end().to_owned()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn screen(columns: Option<u16>, variables: &[(&str, &str)]) -> Screen {
        Screen::of(columns, &|name| {
            variables.iter().find(|(own, _)| *own == name).map(|(_, value)| (*value).to_owned())
        })
    }

    #[test]
    fn colour_needs_a_terminal_that_wants_it() {
        assert!(screen(Some(80), &[]).has_colours);
        assert!(screen(Some(80), &[("NO_COLOR", "")]).has_colours, "empty is not set");
        assert!(!screen(Some(80), &[("NO_COLOR", "1")]).has_colours);
        assert!(!screen(Some(80), &[("TERM", "dumb")]).has_colours);
        assert!(!screen(Some(80), &[("TERM", "dumb")]).has_cursor && screen(Some(80), &[("NO_COLOR", "1")]).has_cursor);
        assert!(!screen(None, &[]).has_colours, "a pipe");
    }

    #[test]
    fn the_first_variable_of_the_locale_decides_what_can_be_shown() {
        let unicode = |variables: &[(&str, &str)]| screen(None, variables).has_unicode;
        assert!(unicode(&[("LANG", "de_DE.UTF-8")]) && unicode(&[("LC_CTYPE", "C.utf8"), ("LANG", "C")]));
        assert!(!unicode(&[]) && !unicode(&[("LC_ALL", "C"), ("LANG", "de_DE.UTF-8")]));
        let ascii = Screen { has_unicode: false, ..Screen::PIPE };
        assert_eq!(ascii.spelled("Lüfter 52 °C → 鳥…"), "Luefter 52 C -> ?...");
    }

    #[test]
    fn sentences_break_between_words_below_their_beginning() {
        let narrow = Screen { columns: Some(20), ..Screen::PIPE };
        assert_eq!(narrow.wrapped("  do: check its plugs, both"), ["  do: check its", "    plugs, both"]);
        assert_eq!(narrow.wrapped("/srv/a-name-that-is-too-long"), ["/srv/a-name-that-is-", "  too-long"]);
        assert_eq!(narrow.wrapped("            far to the right"), ["      far to the", "      right"]);
    }
}
