//! Where things are in the text: bytes to line and column, and the piece of the text that a report shows.
//!
//! What is shown goes to a terminal, so nothing in it may steer one; and to a log, so nothing in it may be a secret.

use std::ops::Range;

/// The bytes of the text that something was read from.
pub(crate) type TextSpan = Range<usize>;

/// What stands in place of a value, in a sentence.
pub(crate) const UNSHOWN: &str = "a value that is not shown";
/// What stands in place of a value, in a line of the text.
pub(crate) const MASK: &str = "***";

/// How many characters of a line a report shows.
const SHOWN_LINE: usize = 100;
/// How many characters of a value a message shows.
const SHOWN_VALUE: usize = 40;

/// A text whose lines can be found.
pub(crate) struct Source<'t> {
    text: &'t str,
    line_starts: Vec<usize>,
    /// What is not shown, in its order.
    hidden: Vec<TextSpan>,
}

/// A line of the text with a part of it marked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Excerpt {
    /// From 1.
    pub(crate) line: usize,
    /// In characters, from 1.
    pub(crate) column: usize,
    /// The line, or the part of a long line around the mark.
    pub(crate) text: String,
    /// How many characters of `text` come before the mark.
    pub(crate) before: usize,
    /// How many characters are marked: at least one.
    pub(crate) marked: usize,
}

impl<'t> Source<'t> {
    /// A text, and which parts of it are not shown, in their order.
    pub(crate) fn new(text: &'t str, hidden: Vec<TextSpan>) -> Self {
        let line_starts = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        Source { text, line_starts, hidden }
    }

    /// The line that holds this byte, from 1.
    pub(crate) fn line(&self, at: usize) -> usize {
        self.line_starts.partition_point(|start| *start <= at)
    }

    /// The line where `span` starts, with `span` marked as far as the line goes.
    pub(crate) fn excerpt(&self, span: &TextSpan) -> Excerpt {
        let line = self.line(span.start);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let rest = self.text.get(start..).unwrap_or_default();
        let whole = rest.lines().next().unwrap_or_default();
        let end = start + whole.len();

        let count = |range: TextSpan| self.text.get(range).map_or(0, |part| part.chars().count());
        let column = count(start..span.start.min(end)) + 1;
        let marked = count(span.start.min(end)..span.end.clamp(span.start.min(end), end)).max(1);

        // From where something is not shown, the rest of the line is not, either.
        let cut = self.hidden_in(&(start..end)).map(|hidden| hidden.start.max(start));
        let (whole, place, marked) = match cut {
            Some(cut) => {
                let kept = count(start..cut);
                let is_shown = column - 1 < kept;
                let (place, marked) = if is_shown { (column - 1, marked) } else { (kept, MASK.len()) };
                (format!("{}{MASK}", &self.text[start..cut]), place, marked.min(kept + MASK.len() - place))
            }
            None => (whole.to_owned(), column - 1, marked),
        };
        let skipped = (place + 1).saturating_sub(SHOWN_LINE / 2);
        let text: String = clean(&whole).chars().skip(skipped).take(SHOWN_LINE).collect();
        let before = place - skipped;
        Excerpt { line, column, text, before, marked: marked.min(SHOWN_LINE - before) }
    }

    /// A value as it was written, short enough for a sentence.
    pub(crate) fn shown(&self, span: &TextSpan) -> String {
        match self.hidden_in(span) {
            Some(_) => UNSHOWN.to_owned(),
            None => shorten(self.text.get(span.clone()).unwrap_or_default()),
        }
    }

    /// The first of what is not shown in this part of the text.
    fn hidden_in(&self, span: &TextSpan) -> Option<&TextSpan> {
        let first = self.hidden.partition_point(|hidden| hidden.end <= span.start);
        self.hidden.get(first).filter(|hidden| hidden.start < span.end)
    }
}

/// The first line of a text, cut where it gets too long for a sentence.
pub(crate) fn shorten(text: &str) -> String {
    let first = text.lines().next().unwrap_or_default();
    let mut short: String = clean(first).chars().take(SHOWN_VALUE).collect();
    if short.chars().count() < text.chars().count() {
        short.push('…');
    }
    short
}

/// The same text, one character for one, without those that steer a terminal or turn the reading direction.
pub(crate) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| {
            if c == '\t' {
                ' '
            } else if steers(c) {
                '\u{FFFD}'
            } else {
                c
            }
        })
        .collect()
}

/// True for control characters, and for the invisible ones that hide or reorder what stands beside them.
pub(crate) fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{AD}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::discreet::hidden;

    fn marked(text: &str, span: TextSpan) -> String {
        let excerpt = Source::new(text, hidden(text)).excerpt(&span);
        format!(
            "{}:{} {}|{}{}",
            excerpt.line,
            excerpt.column,
            excerpt.text,
            " ".repeat(excerpt.before),
            "^".repeat(excerpt.marked)
        )
    }

    #[test]
    fn a_mark_counts_characters_and_not_bytes() {
        assert_eq!(marked("a = 1\nü = \"ß\"\n", 11..15), "2:5 ü = \"ß\"|    ^^^");
    }

    #[test]
    fn a_mark_ends_with_its_line() {
        assert_eq!(marked("a = [\r\n1]\r\n", 4..9), "1:5 a = [|    ^");
    }

    #[test]
    fn the_end_of_the_text_has_a_place_too() {
        assert_eq!(marked("a =", 3..3), "1:4 a =|   ^");
        assert_eq!(marked("a =\n", 4..4), "2:1 |^");
        assert_eq!(marked("", 0..0), "1:1 |^");
    }

    #[test]
    fn a_long_line_is_shown_around_its_mark() {
        let text = format!("x = '{}here{}'", "-".repeat(300), "-".repeat(300));
        let excerpt = Source::new(&text, hidden(&text)).excerpt(&(305..309));
        assert_eq!(excerpt.column, 306);
        assert_eq!(excerpt.text.chars().count(), 100);
        let under: String = excerpt.text.chars().skip(excerpt.before).take(excerpt.marked).collect();
        assert_eq!(under, "here");
    }

    #[test]
    fn what_is_not_shown_has_a_mark_in_its_place() {
        let text = "password = 'reed'\n";
        assert_eq!(marked(text, 11..17), "1:12 password = ***|           ^^^");
        assert_eq!(marked(text, 0..8), "1:1 password = ***|^^^^^^^^");
        assert_eq!(Source::new(text, hidden(text)).shown(&(11..17)), "a value that is not shown");
    }

    #[test]
    fn nothing_shown_can_steer_a_terminal() {
        assert_eq!(clean("a\u{1b}[31m\tb\u{202e}c"), "a\u{FFFD}[31m b\u{FFFD}c");
        assert_eq!(shorten("[\n1]"), "[…");
    }
}
