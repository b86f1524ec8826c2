//! Which parts of the text no report shows, since they may hold a secret: a token in an address, a password under a key
//! that only looks like one that is known, what stands in a comment.
//!
//! It goes by the lines and not by what the parser makes of them, so that it holds for a text that is no TOML, too. What
//! is in doubt is not shown: the place, the key and what is wanted are told all the same.

use crate::declared::OUTLINE;
use crate::source::MASK;
use std::collections::BTreeSet;
use std::ops::Range;
use std::sync::LazyLock;

/// The section with addresses, headers and logins; inside it only keys that are declared to be public are shown.
const ALERTS: &str = "alerts";
static PUBLIC: LazyLock<BTreeSet<&str>> = LazyLock::new(|| OUTLINE.public(ALERTS));

/// A line with one of these words is not shown, whichever section it is in and whether or not the key is known.
const TELLING: [&str; 9] = ["auth", "cookie", "key", "login", "pass", "pin", "pw", "pwd", "apikey"];
/// Neither is one with one of these inside a word, as in `mailPassword`.
const TELLING_PARTS: [&str; 8] =
    ["authorization", "bearer", "credential", "passphrase", "passwd", "password", "secret", "token"];

/// The parts of the text that no report shows, in their order.
pub(crate) fn hidden(text: &str) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    let mut reading = Reading { section: String::new(), is_open: false, depth: 0, quotes: None };
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let (here, end) = (start, start + line.trim_end().len());
        start += line.len();
        if let Some(from) = reading.hidden_from(line).map(|from| here + from).filter(|from| *from < end) {
            found.push(from..end);
        }
    }
    found
}

/// The text for somebody else: without comments and empty lines, and with `***` for all that may hold a secret.
pub fn without_secrets(text: &str) -> String {
    let mut hidden = hidden(text).into_iter().peekable();
    let (mut shown, mut start) = (String::new(), 0);
    for line in text.split_inclusive('\n') {
        let end = start + line.len();
        let line = match hidden.next_if(|span| span.start < end) {
            Some(span) if text[span.clone()].starts_with('#') => text[start..span.start].trim_end().to_owned(),
            Some(span) => format!("{}{MASK}", &text[start..span.start]),
            None => line.trim_end().to_owned(),
        };
        if !line.trim().is_empty() && !line.trim_start().starts_with('#') {
            shown.extend([&line, "\n"]);
        }
        start = end;
    }
    shown
}

/// What is known of the text before a line.
struct Reading {
    section: String,
    /// Whether the value that has begun may be shown.
    is_open: bool,
    /// How many brackets of it are not closed yet.
    depth: usize,
    /// What ends the text over several lines that has begun.
    quotes: Option<&'static str>,
}

impl Reading {
    /// From where on this line is not shown.
    fn hidden_from(&mut self, line: &str) -> Option<usize> {
        if let Some(quotes) = self.quotes {
            if line.contains(quotes) {
                self.quotes = None;
            }
            return (!self.is_open).then_some(0);
        }
        let bare = line.trim();
        if self.depth == 0 && bare.starts_with('[') && bare.chars().all(in_header) {
            self.section = bare.trim_matches(['[', ']']).trim().to_lowercase();
            return None;
        }
        let value = match line.split_once('=') {
            Some((key, value)) if self.depth == 0 && key.chars().all(in_key) => {
                self.is_open = self.may_be_shown(key.trim(), value);
                line.len() - value.trim_start_matches([' ', '\t']).len()
            }
            // Neither a key nor a value that goes on: nobody knows what it is.
            _ if self.depth == 0 => return Some(0),
            _ => {
                self.is_open &= !is_telling(line);
                0
            }
        };
        let comment = self.go_through(&line[value..]).map(|comment| value + comment);
        if self.is_open { comment } else { Some(value) }
    }

    fn may_be_shown(&self, key: &str, value: &str) -> bool {
        let mut path = self.section.split('.').chain(key.split('.')).map(|part| part.trim().trim_matches(['"', '\'']));
        let is_about_alerts = path.clone().find(|part| !part.is_empty()) == Some(ALERTS);
        let is_named_open = path.next_back().is_some_and(|last| PUBLIC.contains(last));
        !is_telling(&self.section) && !is_telling(key) && !is_telling(value) && (!is_about_alerts || is_named_open)
    }

    /// Counts brackets and finds where a text over several lines begins; where the comment does.
    fn go_through(&mut self, value: &str) -> Option<usize> {
        let (mut rest, mut at) = (value, 0);
        while let Some(next) = rest.chars().next() {
            let quotes = ["\"\"\"", "'''", "\"", "'"].into_iter().find(|quotes| rest.starts_with(quotes));
            let length = match quotes {
                Some(quotes) => {
                    let inside = &rest[quotes.len()..];
                    match closing(inside, quotes) {
                        Some(end) => 2 * quotes.len() + end,
                        None => {
                            self.quotes = Some(quotes).filter(|quotes| quotes.len() == 3);
                            return None;
                        }
                    }
                }
                None => {
                    match next {
                        '#' => return Some(at),
                        '[' | '{' => self.depth += 1,
                        ']' | '}' => self.depth = self.depth.saturating_sub(1),
                        _ => {}
                    }
                    next.len_utf8()
                }
            };
            (rest, at) = (&rest[length..], at + length);
        }
        None
    }
}

/// Whether a text speaks of a secret, or may hold one in an address.
fn is_telling(text: &str) -> bool {
    let text = text.to_lowercase();
    let is_address = text.contains("://") || (text.contains('@') && text.contains(':'));
    is_address
        || text.split(|c: char| !c.is_alphanumeric()).any(|word| TELLING.contains(&word))
        || TELLING_PARTS.iter().any(|part| text.contains(part))
}

/// Where a text ends that these quotes have begun.
fn closing(inside: &str, quotes: &str) -> Option<usize> {
    let has_escapes = quotes.starts_with('"');
    let mut is_escaped = false;
    inside.char_indices().find_map(|(at, c)| {
        let ends = !is_escaped && inside[at..].starts_with(quotes);
        is_escaped = has_escapes && c == '\\' && !is_escaped;
        ends.then_some(at)
    })
}

fn in_header(c: char) -> bool {
    in_key(c) || c == '[' || c == ']'
}

fn in_key(c: char) -> bool {
    c.is_alphanumeric() || "_-.\"' \t".contains(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The text with what is hidden left out.
    fn shown(text: &str) -> String {
        let (mut shown, mut at) = (String::new(), 0);
        for span in hidden(text) {
            shown += &text[at..span.start];
            shown += MASK;
            at = span.end;
        }
        shown + &text[at..]
    }

    #[test]
    fn what_is_known_to_be_harmless_is_shown() {
        for text in [
            "[panel]\npage_seconds = 90\n",
            "[[shelf]]\ntray = [{ label = \"A1\" },\n  { label = 'a1', serial = 'X' }]\nname = 'top'\n",
            "[alerts]\nremind_every = '1 day'\n[[alerts.mail]]\nserver = 'mail.example.org'\nport = 99999\n",
        ] {
            assert_eq!(shown(text), text);
        }
    }

    #[test]
    fn somebody_else_gets_it_without_comments_and_secrets() {
        let text = "# mine\n[box]\nname = 'a' # x\n\n[alerts]\n# heartbeat_url = 'y'\nheartbeat_url = 'x' # y\n\
            [[alerts.mail]]\nname = 'keeper'\nuser = 'ada'\npassword_file = '/z'\nbroken\n";
        let wanted = "[box]\nname = 'a'\n[alerts]\nheartbeat_url = ***\n[[alerts.mail]]\nname = 'keeper'\nuser = ***\n\
            password_file = ***\n***\n";
        assert_eq!(without_secrets(text), wanted);
        let over_lines = "[alerts]\nbody = \"\"\"\n# token\nx\"\"\"\ntopics = [\n  'drive', # all\n]\n";
        assert!(!without_secrets(over_lines).contains("token"), "{}", without_secrets(over_lines));
        assert!(without_secrets(over_lines).ends_with("topics = [\n  'drive',\n]\n"));
    }

    #[test]
    fn what_may_hold_a_secret_is_not() {
        for (text, wanted) in [
            ("[alerts]\nheartbeat_url = 'x' # y\n", "[alerts]\nheartbeat_url = ***\n"),
            ("alerts.heartbeat_url = 'x'\n", "alerts.heartbeat_url = ***\n"),
            ("\"alerts\".webhook = [{ name = 'x' }]\n", "\"alerts\".webhook = ***\n"),
            ("[box]\nname = 'a' # x\n", "[box]\nname = 'a' ***\n"),
            ("[box]\nPassWord = x\n", "[box]\nPassWord = ***\n"),
            ("[box]\nname = 'https://u:x@h'\nx\n", "[box]\nname = ***\n***\n"),
            ("# x\n", "***\n"),
            (
                "[[alerts.webhook]]\nheaders = [\n  'A: x',\n  'a = [x',\n]\nname = 'b'\n",
                "[[alerts.webhook]]\nheaders = ***\n***\n***\n***\nname = 'b'\n",
            ),
            (
                "[[alerts.webhook]]\nbody = '''\n[panel]\nport = x\n'''\nport = 1\n",
                "[[alerts.webhook]]\nbody = ***\n***\n***\n***\nport = 1\n",
            ),
            ("[alerts.mail\nuser = x\n", "[alerts.mail\nuser = ***\n"),
            ("[alerts]\nname = \"a\\\" # x\nname = 'b'\n", "[alerts]\nname = \"a\\\" # x\nname = 'b'\n"),
        ] {
            assert_eq!(shown(text), wanted, "{text}");
        }
    }
}
