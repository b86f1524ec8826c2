//! A batch in words: its subject line and its text. Pure; text from devices is cleaned here once more, since what leaves
//! the box is read by programs of all kinds.

use super::batch::{Batch, Item};
use super::message::{Message, MessageKind};
use crate::tell::words::phrases::Phrases;
use crate::text::misleads;
use std::fmt::Write as _;

/// The longest subject line: with what mail servers add it stays under 78 characters (RFC 5322, 2.1.1).
const SUBJECT: usize = 70;
/// So much of the box's name is left in it, whatever else must be said.
const SHORTEST_NAME: usize = 8;

/// The subject line: the box, how bad, what, and what must stay in, of the worst message; a phone's list shows no more.
/// Where that is too long, the box's name is cut first, then the title: what must stay in is never cut.
pub fn subject(batch: &Batch) -> String {
    let message = &batch.leading().message;
    let mut end = message.tray_line.as_deref().map(|stays| format!(", {}", clean(stays))).unwrap_or_default();
    if !batch.more.is_empty() {
        end.push_str(&message.language.say("message.labels.more", &[("n", &batch.more.len())]));
    }
    let title = cut(&headline(message), SUBJECT.saturating_sub(end.chars().count() + SHORTEST_NAME + 2));
    let taken = title.chars().count() + end.chars().count() + 2;
    let name = cut(&clean(&message.box_name), SUBJECT.saturating_sub(taken).max(SHORTEST_NAME));
    format!("{name}: {title}{end}")
}

/// At most so many characters of a text; a cut is marked.
fn cut(text: &str, most: usize) -> String {
    match text.char_indices().nth(most) {
        Some(_) => text.chars().take(most.saturating_sub(1)).chain(['…']).collect(),
        None => text.to_owned(),
    }
}

/// What became of it, in the word that a line begins with, and the title.
pub(super) fn headline(message: &Message) -> String {
    let (language, title) = (message.language, clean(&message.title));
    let key = match message.kind {
        MessageKind::Opened | MessageKind::Refined => "message.labels.opened",
        MessageKind::Worsened => "message.labels.worsened",
        MessageKind::Reminder => "message.labels.reminder",
        MessageKind::Closed => "message.labels.closed",
        MessageKind::PartOf => "message.labels.part-of",
        MessageKind::AllWell => return title,
        MessageKind::Test => return language.say("message.labels.test", &[("title", &title)]),
    };
    let headline = language.say(key, &[("severity", &language.severity(message.severity)), ("title", &title)]);
    if message.is_rehearsed { language.say("message.labels.test", &[("title", &headline)]) } else { headline }
}

/// The batch as plain text.
pub fn text(batch: &Batch) -> String {
    let parts: Vec<String> = batch.items().map(item_text).collect();
    format!("{}\n\n-- \n{}\n", parts.join("\n\n----\n\n"), signature(batch))
}

/// The last line: from whom, and the name of the batch.
pub(super) fn signature(batch: &Batch) -> String {
    let Message { language, box_name, .. } = &batch.first.message;
    language.say("message.labels.signature", &[("box", &clean(box_name)), ("id", &clean(&batch.id()))])
}

fn item_text(item: &Item) -> String {
    let mut text = headline(&item.message);
    if let Some(line) = item.message.tray_line.as_deref().map(clean).filter(|line| !line.is_empty()) {
        let _ = write!(text, "\n{line}");
    }
    for (label, lines) in paragraphs(item) {
        let _ = match (label, lines.as_slice()) {
            ("", lines) => write!(text, "\n{}", lines.join("\n")),
            (label, [line]) => write!(text, "\n{label}: {line}"),
            (label, lines) => write!(text, "\n{label}:\n- {}", lines.join("\n- ")),
        };
    }
    text
}

/// What stands below the headline: a label, which may be empty, and its lines.
pub(super) fn paragraphs(item: &Item) -> Vec<(&'static str, Vec<String>)> {
    let message = &item.message;
    let language = message.language;
    let one = |key: &str, line: &str| (language.plain(key), vec![line.to_owned()]);
    let bare = |line: &str| ("", vec![line.to_owned()]);
    let several = |key: &str, lines: &[String]| (language.plain(key), lines.to_vec());
    let mut paragraphs = vec![bare(&message.sentence)];
    paragraphs.push(several("message.labels.new", &message.news));
    paragraphs.push(several("message.labels.also", &message.also));
    paragraphs.push(one("message.labels.do", &message.advice));
    paragraphs.push(one("message.labels.do-not", &message.warning));
    paragraphs.push(several("message.labels.evidence", &message.evidence));
    paragraphs.push(one("message.labels.not-measured", &message.not_measured.join("; ")));
    paragraphs.push(one("message.labels.to-find-out", &message.next_test));
    paragraphs.push(one("message.labels.since", &message.since));
    if message.kind == MessageKind::Closed {
        let unknown = || language.plain("message.since-unknown").to_owned();
        let lasted = message.lasted.map_or_else(unknown, |lasted| language.span(lasted));
        paragraphs.push(one("message.labels.lasted", &lasted));
        paragraphs.push(one("message.labels.at-its-worst", language.severity(message.severity)));
    }
    paragraphs.extend(item.made_local.as_deref().map(|made| one("message.labels.time", made)));
    if let Some(late) = item.late {
        paragraphs.push(bare(&language.say("message.labels.late", &[("span", &language.span(late))])));
    }
    if item.left_out > 0 {
        paragraphs.push(bare(&language.count("message.labels.left-out", item.left_out.into())));
    }
    if item.attempt > 1 {
        paragraphs.push(bare(&language.say("message.labels.attempt", &[("n", &item.attempt)])));
    }
    for (_, lines) in &mut paragraphs {
        lines.iter_mut().for_each(|line| *line = clean(line));
        lines.retain(|line| !line.is_empty());
    }
    paragraphs.retain(|(_, lines)| !lines.is_empty());
    paragraphs
}

/// The text in one line, without what steers a terminal or hides what is written.
pub fn clean(text: &str) -> String {
    let kept = |c: char| if matches!(c, '\t' | '\n' | '\r') { ' ' } else { c };
    text.chars().map(kept).filter(|c| !misleads(*c)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::message::{Stamp, example};
    use super::*;
    use crate::clock::Moment;
    use crate::tell::words::phrases::Language;
    use crate::verdict::Severity;
    use proptest::prelude::*;
    use std::time::Duration;

    fn item(kind: MessageKind, hours: u64) -> Item {
        let moment = Moment::after_boot(Duration::from_secs(3600 * hours));
        let now = Stamp { boot_id: "spring".into(), moment, wall: None };
        Item::new(example("i-7", 1, kind, Severity::Critical), 0, 1, &now)
    }

    #[test]
    fn a_batch_says_what_happened_and_what_to_do() {
        let batch = Batch::of(item(MessageKind::Opened, 0));
        assert_eq!(subject(&batch), "heron: critical: TRAY 3 GONE, LEAVE IN 1 2");
        let wanted = "critical: TRAY 3 GONE\n\
                      LEAVE IN 1 2\n\
                      Tray 3 (serial ..LARK) is no longer seen; md0 needs it.\n\
                      What to do: Leave 1 2 in. Check the plugs of this one with the box off.\n\
                      Caution: Do not replace it for this alone: a lost connection is not a broken drive.\n\
                      Evidence: its block device is gone\n\
                      Not measured: what it counts: it does not answer\n\
                      Since: 14:02\n\n-- \ntraylight on heron, message i-7.1\n";
        assert_eq!(text(&batch), wanted);
    }

    #[test]
    fn a_german_message_has_german_words_around_it() {
        let mut item = Item { left_out: 1, attempt: 2, ..item(MessageKind::Reminder, 31) };
        item.message.language = Language::GERMAN;
        item.message.title = "FACH 3 FEHLT".to_owned();
        item.message.tray_line = Some("DRIN LASSEN 1 2".to_owned());
        item.message.warning = "Nicht allein deshalb tauschen.".to_owned();
        let batch = Batch::of(item);
        assert_eq!(subject(&batch), "heron: weiterhin kritisch: FACH 3 FEHLT, DRIN LASSEN 1 2");
        let text = text(&batch);
        for line in [
            "\nVorsicht: Nicht allein deshalb tauschen.\n",
            "\nBefunde: ",
            "\nNicht gemessen: ",
            "\nSeit: 14:02\n",
            "\nMit 31 h Verspätung zugestellt.\n",
            "\n1 frühere Meldung wurde verworfen, weil die Warteschlange voll war.\n",
            "\nZustellversuch 2: Diese Meldung ist vielleicht schon angekommen.\n",
            "\ntraylight auf heron, Meldung i-7.1\n",
        ] {
            assert!(text.contains(line), "{line} is not in:\n{text}");
        }
    }

    #[test]
    fn what_is_late_left_out_or_a_repeat_is_said() {
        let batch = Batch::of(Item { left_out: 2, attempt: 2, ..item(MessageKind::Closed, 31) });
        assert_eq!(subject(&batch), "heron: cleared: TRAY 3 GONE");
        let text = text(&batch);
        assert!(text.contains("Delivered 31 h late.\n"), "{text}");
        assert!(text.contains("2 earlier messages were dropped because the queue was full.\n"), "{text}");
        assert!(text.contains("Delivery attempt 2: you may already have this message.\n"), "{text}");
        assert!(text.contains("Duration: 90 s\n") || text.contains("Duration: 1 min 30 s\n"), "{text}");
    }

    #[test]
    fn what_is_rehearsed_opens_and_closes_as_the_real_does_and_is_marked() {
        let rehearsed = |kind| {
            let mut item = item(kind, 0);
            item.message.is_rehearsed = true;
            Batch::of(item)
        };
        assert_eq!(subject(&rehearsed(MessageKind::Opened)), "heron: TEST: critical: TRAY 3 GONE, LEAVE IN 1 2");
        let over = rehearsed(MessageKind::Closed);
        assert_eq!(subject(&over), "heron: TEST: cleared: TRAY 3 GONE");
        let message = &over.document()["messages"][0];
        assert_eq!(
            (&message["update"], &message["is_over"], &message["test"]),
            (&"closed".into(), &true.into(), &true.into())
        );
    }

    #[test]
    fn several_messages_share_a_batch() {
        let over = Item::new(example("i-6", 2, MessageKind::Closed, Severity::Critical), 0, 1, &Stamp::default());
        let batch = Batch { first: over, more: vec![item(MessageKind::Worsened, 0), item(MessageKind::Opened, 0)] };
        assert_eq!(subject(&batch), "heron: critical, worse: TRAY 3 GONE, LEAVE IN 1 2 and 2 more");
        assert_eq!(text(&batch).matches("\n\n----\n\n").count(), 2);
    }

    #[test]
    fn a_long_name_pushes_neither_the_title_nor_what_must_stay_in_out_of_the_subject() {
        let mut item = item(MessageKind::Opened, 0);
        item.message.box_name = "bird-song-recordings-in-the-hut-at-the-northern-end-of-the-reserve".to_owned();
        let batch = Batch { first: item.clone(), more: vec![item.clone()] };
        let wanted = "bird-song-recordings-…: critical: TRAY 3 GONE, LEAVE IN 1 2 and 1 more";
        assert_eq!((subject(&batch).as_str(), wanted.chars().count()), (wanted, SUBJECT));

        item.message.tray_line = Some("LEAVE IN upper-left upper-right lower-left lower-right".to_owned());
        let subject = subject(&Batch::of(item));
        assert!(subject.ends_with(", LEAVE IN upper-left upper-right lower-left lower-right"), "{subject}");
        assert!(subject.starts_with("bird-so…: "), "{subject}");
    }

    proptest! {
        /// Serials and names are text from devices and from strangers.
        #[test]
        fn text_from_a_device_breaks_no_line(said in any::<String>()) {
            let mut item = item(MessageKind::Opened, 0);
            item.message.title = said.clone();
            item.message.box_name = said.clone();
            item.message.sentence = said;
            let batch = Batch::of(item);
            prop_assert!(!subject(&batch).contains(char::is_control));
            prop_assert_eq!(text(&batch).matches("\nWhat to do: ").count(), 1);
        }
    }
}
