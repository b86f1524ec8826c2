//! Breaks a text into lines that fit: between words, and inside a word only where it is longer than a line. No number is
//! parted from its unit, and nothing is left out.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// The lines of a text. The first has room for so many columns, each other one for so many.
pub fn wrapped(text: &str, first: usize, others: usize) -> Vec<String> {
    let (mut lines, mut line, mut room) = (Vec::new(), String::new(), first);
    let words = parts(text).into_iter().flat_map(|part| match part.width() <= others {
        true => vec![part],
        false => part.split(' ').map(str::to_owned).collect(),
    });
    for word in words {
        let gap = usize::from(!line.is_empty());
        if line.width() + gap + word.width() <= room {
            if gap > 0 {
                line.push(' ');
            }
            line.push_str(&word);
            continue;
        }
        // A first line that is shorter than the others may have no room for any word.
        if !line.is_empty() || (lines.is_empty() && first < others) {
            lines.push(std::mem::take(&mut line));
            room = others;
        }
        let mut rest = word.as_str();
        while rest.width() > room {
            let (begin, end) = rest.split_at(break_in(rest, room));
            lines.push(begin.to_owned());
            (rest, room) = (end, others);
        }
        rest.clone_into(&mut line);
    }
    lines.push(line);
    lines
}

/// Words; numbers with the word behind them, and two words in brackets.
fn parts(text: &str) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match parts.last_mut() {
            Some(before) if is_one(before, word) => before.extend([" ", word]),
            _ => parts.push(word.to_owned()),
        }
    }
    parts
}

fn is_one(before: &str, word: &str) -> bool {
    (is_number(before) && begins_as_unit(word))
        || (before.starts_with('(') && !before.contains(')') && word.contains(')'))
}

fn is_number(word: &str) -> bool {
    let number = word.trim_start_matches(|c| "(<>~+-".contains(c));
    let is_part = |c: char| c.is_ascii_digit() || ".,:/".contains(c);
    number.chars().all(is_part) && number.ends_with(|c: char| c.is_ascii_digit())
}

fn begins_as_unit(word: &str) -> bool {
    word.starts_with(|c: char| c.is_alphabetic() || "%°".contains(c))
}

/// Where to break a word that has no room: behind the last sign that divides names and paths, else behind the last letter
/// that fits.
fn break_in(word: &str, room: usize) -> usize {
    let (mut width, mut fits, mut divided) = (0, 0, 0);
    for (at, c) in word.char_indices() {
        width += c.width().unwrap_or(0);
        let end = at + c.len_utf8();
        // A line has at least one letter, however narrow it is.
        if width > room && fits > 0 {
            break;
        }
        let in_number = word[..at].ends_with(char::is_numeric) && word[end..].starts_with(char::is_numeric);
        fits = end;
        if "/-_.,:;=".contains(c) && !in_number {
            divided = end;
        }
    }
    if divided > 0 { divided } else { fits }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_number_stays_with_its_unit() {
        let text = "stalled for 35 s, 12.5 V (38 °C) of 5 members";
        assert_eq!(wrapped(text, 14, 14), ["stalled for", "35 s, 12.5 V", "(38 °C) of", "5 members"]);
        assert_eq!(wrapped("1234567 kelvin", 8, 8), ["1234567", "kelvin"], "longer than a line together");
    }

    #[test]
    fn two_words_in_brackets_stay_together() {
        assert_eq!(wrapped("md0 is degraded (incident 7).", 25, 25), ["md0 is degraded", "(incident 7)."]);
    }

    #[test]
    fn a_word_that_is_longer_than_a_line_is_broken_where_it_has_parts() {
        assert_eq!(
            wrapped("edit /etc/traylight/traylight.toml", 12, 12),
            ["edit", "/etc/", "traylight/", "traylight.", "toml"]
        );
        assert_eq!(wrapped("1.234.567.890", 6, 6), ["1.234.", "567.89", "0"]);
        assert_eq!(wrapped("鳥鳥鳥", 5, 5), ["鳥鳥", "鳥"]);
        assert_eq!(wrapped("rehearsal", 3, 20), ["", "rehearsal"], "a first line without room");
    }

    proptest! {
        #[test]
        fn every_text_fits_every_width_and_nothing_is_lost(
            words in prop::collection::vec("[0-9]{1,5}|[a-zäö鳥]{1,9}|[a-z/.0-9-]{10,40}|°C|\\PC{0,12}", 0..20),
            first in 2..300_usize,
            others in 2..300_usize,
        ) {
            let text = words.join(" ");
            let lines = wrapped(&text, first, others);
            for (number, line) in lines.iter().enumerate() {
                let room = if number == 0 { first } else { others };
                prop_assert!(line.width() <= room, "{line:?} in {room}");
            }
            let letters = |text: &str| text.replace(' ', "");
            prop_assert_eq!(letters(&lines.concat()), letters(&text));
            let printed = lines.join("\n");
            for (number, unit) in words.iter().zip(words.iter().skip(1)) {
                let both = format!("{number} {unit}");
                let is_one = is_number(number) && begins_as_unit(unit) && both.width() <= others;
                // What is longer than a line with the brackets around it is broken anywhere.
                prop_assert!(!is_one || text.contains('(') || printed.contains(&both), "{printed}");
            }
        }
    }
}
