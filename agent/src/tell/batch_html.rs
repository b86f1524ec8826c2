//! A batch as a small HTML page around the panel's picture: readable on a phone, by day and in the dark, with nothing
//! that would be fetched from elsewhere. Pure.

use super::batch::{Batch, Item};
use super::batch_text::{clean, headline, paragraphs, signature};
use super::message::MessageKind;
use crate::tell::words::phrases::Phrases;
use crate::verdict::Severity;
use std::fmt::Write as _;

/// The picture is shown at half its size in pixels, so that it stays sharp on screens of both kinds. Most phones have
/// room for that.
const WIDTH: u32 = 272;

/// Colours stand beside the text or around it, never behind or in it: the text has that of the reader's own screen.
const BODY: &str = "margin:0;padding:12px;font:16px/1.4 sans-serif;max-width:40em";

/// The batch as a page. `picture` is the address of the panel's picture, where there is one.
pub fn html(batch: &Batch, picture: Option<&str>) -> String {
    let mut page = format!(
        "<!DOCTYPE html><html lang=\"{}\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width\">\
         <meta name=\"color-scheme\" content=\"light dark\"></head>",
        batch.first.message.language.plain("message.labels.language")
    );
    let _ = write!(page, "<body style=\"{BODY}\">");
    for item in batch.items() {
        let colour = colour(item);
        let _ = write!(page, "<div style=\"border-left:6px solid {colour};padding-left:12px;margin-bottom:24px\">");
        let _ = write!(page, "<h3 style=\"margin:0 0 8px\">{}</h3>", escaped(&headline(&item.message)));
        if let Some(line) = item.message.tray_line.as_deref().map(clean).filter(|line| !line.is_empty()) {
            let frame = format!("border:2px solid {colour};padding:4px 8px;display:inline-block;margin:0 0 8px");
            let _ = write!(page, "<p style=\"{frame}\"><b>{}</b></p>", escaped(&line));
        }
        for (label, lines) in paragraphs(item) {
            let label = if label.is_empty() { String::new() } else { format!("<b>{label}:</b> ") };
            match lines.as_slice() {
                [line] => drop(write!(page, "<p style=\"margin:0 0 8px\">{label}{}</p>", escaped(line))),
                lines => {
                    let lines: String = lines.iter().map(|line| format!("<li>{}</li>", escaped(line))).collect();
                    let _ = write!(page, "<p style=\"margin:0\">{label}</p><ul style=\"margin:0 0 8px\">{lines}</ul>");
                }
            }
        }
        if let Some(address) = picture.filter(|_| batch.pictured().is_some_and(|other| std::ptr::eq(other, item))) {
            page.push_str(&image(address, item));
        }
        page.push_str("</div>");
    }
    let _ = write!(page, "<p><small>{}</small></p>", escaped(&signature(batch)));
    page.push_str("</body></html>\n");
    page
}

/// The panel's picture; whoever does not see it is told what it says the largest.
fn image(address: &str, item: &Item) -> String {
    let message = &item.message;
    let says: Vec<String> =
        [Some(&message.title), message.tray_line.as_ref()].into_iter().flatten().map(|line| clean(line)).collect();
    let severity = message.language.severity(message.severity);
    let alt = escaped(
        &message.language.say("message.labels.panel-shows", &[("severity", &severity), ("words", &says.join(", "))]),
    );
    let style = "max-width:100%;height:auto;image-rendering:pixelated";
    format!("<p><img src=\"{}\" width=\"{WIDTH}\" alt=\"{alt}\" style=\"{style}\"></p>", escaped(address))
}

/// Seen well on white and on black.
fn colour(item: &Item) -> &'static str {
    if item.message.is_test() {
        return "#3b82d6";
    }
    match (item.message.kind, item.message.severity) {
        (MessageKind::Closed | MessageKind::AllWell, _) => "#2e9e4f",
        (MessageKind::PartOf | MessageKind::Test, _) | (_, Severity::Notice) => "#8a94a3",
        (_, Severity::Critical) => "#e03c31",
        (_, Severity::Warning) => "#d98e04",
    }
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
    use proptest::prelude::*;

    fn item(kind: MessageKind) -> Item {
        let message = example("i-7", 1, kind, Severity::Critical);
        Item::new(super::super::message::Message { page: Some(vec![1]), ..message }, 0, 1, &Stamp::default())
    }

    #[test]
    fn what_must_stay_in_comes_before_all_else_and_the_picture_last() {
        let page = html(&Batch::of(item(MessageKind::Opened)), Some("cid:panel"));
        let places = [
            "critical: TRAY 3 GONE</h3>",
            "<b>LEAVE IN 1 2</b>",
            "no longer seen",
            "<b>What to do:</b> Leave",
            "<img ",
        ];
        let found: Vec<Option<usize>> = places.iter().map(|what| page.find(what)).collect();
        assert!(found.iter().all(Option::is_some) && found.is_sorted(), "{found:?} {page}");
        assert_eq!(page.matches("LEAVE IN 1 2").count(), 2, "once to be read, once for who does not see the picture");
        assert!(page.contains("alt=\"The panel shows: critical, TRAY 3 GONE, LEAVE IN 1 2\""), "{page}");
    }

    #[test]
    fn nothing_is_fetched_from_elsewhere_and_no_text_has_a_colour_of_its_own() {
        let page = html(&Batch::of(item(MessageKind::Closed)), Some("cid:panel"));
        let wrong = ["http", "//", "<script", "<link", "url(", "background", ";color:", "\"color:"];
        assert_eq!(wrong.iter().filter(|what| page.contains(**what)).collect::<Vec<_>>(), [&""; 0], "{page}");
        assert_eq!(page.matches("src=").count(), 1);
    }

    #[test]
    fn of_several_messages_the_worst_has_the_picture() {
        let mut mild = item(MessageKind::Opened);
        mild.message.severity = Severity::Warning;
        let batch = Batch { first: mild, more: vec![item(MessageKind::Opened), item(MessageKind::Worsened)] };
        let page = html(&batch, Some("cid:panel"));
        assert_eq!((page.matches("<h3").count(), page.matches("<img").count()), (3, 1));
        assert!(page.contains("alt=\"The panel shows: critical"), "{page}");
    }

    proptest! {
        /// Serials and names are text from devices and from strangers.
        #[test]
        fn text_from_a_device_does_not_become_html(said in any::<String>()) {
            let calm = Batch::of(item(MessageKind::Opened));
            let mut item = item(MessageKind::Opened);
            item.message.title = said.clone();
            item.message.box_name = said.clone();
            item.message.tray_line = Some(said.clone());
            item.message.sentence = said;
            let tags = |page: &str| page.matches('<').count();
            // A line that is empty after cleaning is left out with its tags.
            prop_assert!(tags(&html(&Batch::of(item), Some("cid:panel"))) <= tags(&html(&calm, Some("cid:panel"))));
        }
    }
}
