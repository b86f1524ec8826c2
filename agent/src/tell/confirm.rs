//! Whether anybody reads what is sent on a channel: a message with a code, to be given back by whoever has read it.

use super::message::{Message, MessageKind, Stamp};
use super::words::phrases::{Language, Phrases};

/// A code of four digits, from any number.
pub fn code(random: u32) -> String {
    format!("{:04}", random % 10_000)
}

/// The message that carries the code.
pub fn test_message(box_name: &str, channel: &str, code: &str, made_at: Stamp, language: Language) -> Message {
    let say = |key: &str| language.say(key, &[("code", &code), ("channel", &channel), ("box", &box_name)]);
    Message {
        id: format!("test-{channel}-{code}-{}", made_at.moment.since_boot().as_millis()),
        incident: format!("code-{channel}"),
        title: say("message.code.title"),
        sentence: say("message.code.sentence"),
        advice: say("message.code.advice"),
        ..Message::notice(MessageKind::Test, box_name, made_at, language)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::batch::{Batch, Item};
    use crate::tell::batch_text::{subject, text};

    #[test]
    fn the_code_is_in_the_subject_and_says_what_to_do_with_it() {
        assert_eq!([code(7), code(12_345), code(u32::MAX)], ["0007", "2345", "7295"]);
        let message = test_message("heron", "keeper", "4821", Stamp::default(), Language::ENGLISH);
        let batch = Batch::of(Item::new(message, 0, 1, &Stamp::default()));
        assert_eq!(subject(&batch), "heron: TEST: CODE 4821");
        assert!(text(&batch).contains("What to do: Run on heron: traylight alerts --confirm 4821\n"));
    }
}
