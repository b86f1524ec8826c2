//! A letter in words: its subject line, its text, and the same with a little HTML around the panel's picture. Pure;
//! text from devices is cleaned here once more, since what leaves the box is read by programs of all kinds.

use super::letter::{Item, Letter};
use super::message::{Message, Turn};
use crate::units::span;
use std::fmt::Write as _;

/// The longest subject line: with what mail servers add it stays under 78 characters (RFC 5322, 2.1.1).
const SUBJECT: usize = 70;

/// The subject line: the box, how bad, what.
pub fn subject(letter: &Letter) -> String {
    let message = &letter.first.message;
    let name = clean(&message.box_name);
    let line = match letter.more.len() {
        0 => format!("{name}: {}", headline(message)),
        more => format!("{name}: {} messages, the worst {}", more + 1, letter.severity()),
    };
    line.chars().take(SUBJECT).collect()
}

/// What turn, in the word that a line begins with, and the title.
fn headline(message: &Message) -> String {
    let title = clean(&message.title);
    match message.turn {
        Turn::Opened | Turn::Refined => format!("{}: {title}", message.severity),
        Turn::Worsened => format!("{}, worse: {title}", message.severity),
        Turn::Reminder => format!("still {}: {title}", message.severity),
        Turn::Closed => format!("over: {title}"),
        Turn::AllWell => title,
        Turn::Test => format!("TEST: {title}"),
    }
}

/// The letter as plain text.
pub fn text(letter: &Letter) -> String {
    let parts: Vec<String> = letter.items().map(item_text).collect();
    let name = clean(&letter.first.message.box_name);
    format!("{}\n\n-- \ntraylight on {name}, message {}\n", parts.join("\n\n----\n\n"), clean(&letter.id()))
}

fn item_text(item: &Item) -> String {
    let mut text = headline(&item.message);
    for (label, value) in lines(item) {
        let _ = match label {
            "" => write!(text, "\n{value}"),
            label => write!(text, "\n{label}: {value}"),
        };
    }
    text
}

/// The letter as a small HTML page. `picture` is the address of the panel's picture, where there is one.
pub fn html(letter: &Letter, picture: Option<&str>) -> String {
    let mut page = String::from("<!DOCTYPE html><html><body style=\"font-family:sans-serif\">");
    if let Some(picture) = picture {
        let _ = write!(page, "<p><img src=\"{}\" alt=\"the panel\"></p>", escaped(picture));
    }
    for item in letter.items() {
        let _ = write!(page, "<h3>{}</h3>", escaped(&headline(&item.message)));
        for (label, value) in lines(item) {
            let label = if label.is_empty() { String::new() } else { format!("<b>{label}:</b> ") };
            let _ = write!(page, "<p>{label}{}</p>", escaped(&value));
        }
    }
    let name = clean(&letter.first.message.box_name);
    let _ =
        write!(page, "<hr><p><small>traylight on {}, message {}</small></p>", escaped(&name), escaped(&letter.id()));
    page.push_str("</body></html>\n");
    page
}

/// What stands below the headline: a label, which may be empty, and a line.
fn lines(item: &Item) -> Vec<(&'static str, String)> {
    let message = &item.message;
    let mut lines = vec![("", message.sentence.clone())];
    lines.extend(message.leave_in.clone().map(|line| ("", line)));
    lines.push(("Do", message.advice.clone()));
    lines.push(("Do not", message.warning.clone()));
    lines.push(("Measured", message.evidence.join("; ")));
    lines.push(("Not measured", message.not_measured.join("; ")));
    lines.push(("Since", message.since.clone()));
    lines.extend(message.lasted.map(|lasted| ("Lasted", span(lasted))));
    lines.extend(item.made.clone().map(|made| ("Said at", made)));
    if let Some(late) = item.late {
        lines.push(("", format!("Delivered {} late.", span(late))));
    }
    if item.left_out > 0 {
        let (count, s) = (item.left_out, if item.left_out == 1 { "" } else { "s" });
        lines.push(("", format!("{count} message{s} before this one had no room and were left out.")));
    }
    if item.attempt > 1 {
        lines.push(("", format!("Attempt {}: it may have arrived before.", item.attempt)));
    }
    lines.into_iter().map(|(label, line)| (label, clean(&line))).filter(|(_, line)| !line.is_empty()).collect()
}

/// The text in one line, without what steers a terminal or turns the reading direction.
pub fn clean(text: &str) -> String {
    let steers = |c: char| {
        c.is_control()
            || matches!(c, '\u{AD}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}')
    };
    let kept = |c: char| if matches!(c, '\t' | '\n' | '\r') { ' ' } else { c };
    text.chars().map(kept).filter(|c| !steers(*c)).collect()
}

/// The characters that mean something in HTML, as references (HTML, 13.1.4).
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            c => escaped.push(c),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::super::message::{Stamp, example};
    use super::*;
    use crate::clock::Moment;
    use crate::verdict::Severity;
    use proptest::prelude::*;
    use std::time::Duration;

    fn item(turn: Turn, hours: u64) -> Item {
        let moment = Moment::after_boot(Duration::from_secs(3600 * hours));
        let now = Stamp { boot_id: "spring".into(), moment, wall: None };
        Item::new(example("i-7", 1, turn, Severity::Critical), 0, 1, &now)
    }

    #[test]
    fn a_letter_says_what_happened_and_what_to_do() {
        let letter = Letter::of(item(Turn::Opened, 0));
        assert_eq!(subject(&letter), "heron: critical: TRAY 3 GONE");
        let wanted = "critical: TRAY 3 GONE\n\
                      Tray 3 (serial ..LARK) is no longer seen; md0 needs it.\n\
                      LEAVE IN 1 2\n\
                      Do: Leave 1 2 in. Then check the plugs of this one with the box off.\n\
                      Do not: Do not replace it for this alone: a lost connection is not a broken drive.\n\
                      Measured: its block device is gone\n\
                      Not measured: what it counts: it does not answer\n\
                      Since: 14:02\n\n-- \ntraylight on heron, message i-7.1\n";
        assert_eq!(text(&letter), wanted);
    }

    #[test]
    fn what_is_late_left_out_or_a_repeat_is_said() {
        let letter = Letter::of(Item { left_out: 2, attempt: 2, ..item(Turn::Closed, 31) });
        assert_eq!(subject(&letter), "heron: over: TRAY 3 GONE");
        let text = text(&letter);
        assert!(text.contains("Delivered 31 h late.\n"), "{text}");
        assert!(text.contains("2 messages before this one had no room and were left out.\n"), "{text}");
        assert!(text.contains("Attempt 2: it may have arrived before.\n"), "{text}");
        assert!(text.contains("Lasted: 90 s\n") || text.contains("Lasted: 1 min 30 s\n"), "{text}");
    }

    #[test]
    fn several_messages_share_a_letter() {
        let letter = Letter { first: item(Turn::Opened, 0), more: vec![item(Turn::Worsened, 0), item(Turn::Test, 0)] };
        assert_eq!(subject(&letter), "heron: 3 messages, the worst critical");
        assert_eq!(text(&letter).matches("\n\n----\n\n").count(), 2);
        assert_eq!(html(&letter, None).matches("<h3>").count(), 3);
    }

    proptest! {
        /// Serials and names are text from devices and from strangers.
        #[test]
        fn text_from_a_device_can_neither_break_a_line_nor_become_html(said in any::<String>()) {
            let mut item = item(Turn::Opened, 0);
            item.message.title = said.clone();
            item.message.box_name = said.clone();
            item.message.sentence = said;
            let letter = Letter::of(item);
            prop_assert!(!subject(&letter).contains(char::is_control));
            let calm = Letter::of(self::item(Turn::Opened, 0));
            prop_assert_eq!(text(&letter).matches("\nDo: ").count(), 1);
            let tags = |page: &str| page.matches('<').count();
            // A line that is empty after cleaning is left out with its tags.
            prop_assert!(tags(&html(&letter, None)) <= tags(&html(&calm, None)));
        }
    }
}
