//! What the sender reports, as log entries; and what came of a test, for whoever waits for it.

use crate::send::channels::{ChannelFault, Receipt};
use crate::send::sender::SendEvent;
use crate::tell::log::LogEntry;
use crate::tell::words::delivery;
use crate::tell::words::phrases::{Language, Phrases};

/// What came of the test of a channel, in lines of words.
pub fn trial_outcome(
    channel: &str,
    outcome: Result<Receipt, ChannelFault>,
    language: Language,
) -> Result<String, String> {
    let Receipt { reply, refused } = outcome.map_err(|fault| {
        language.say("channel-test.failed", &[("channel", &channel), ("why", &delivery::fault(&fault, language))])
    })?;
    let accepted = match delivery::reply(&reply, language) {
        Some(reply) => language.say("channel-test.accepted", &[("channel", &channel), ("reply", &reply)]),
        None => language.say("channel-test.accepted-without-reply", &[("channel", &channel)]),
    };
    let rejected_for = refused.iter().map(|refused| {
        let recipient = delivery::refused_recipient(refused, language);
        language.say("channel-test.rejected-for", &[("recipient", &recipient)])
    });
    let read = language.plain("channel-test.read").to_owned();
    Ok(std::iter::once(accepted).chain(rejected_for).chain([read]).collect::<Vec<_>>().join("\n"))
}

/// What is to be said of the sending.
pub fn about(report: &SendEvent, language: Language) -> LogEntry {
    let (priority, event) = match report {
        SendEvent::Delivered { .. } => (6, "delivered"),
        SendEvent::NotToAll { .. } => (4, "receiver-refused"),
        SendEvent::Fails { .. } => (4, "channel-fails"),
        SendEvent::WorksAgain { .. } => (5, "channel-works"),
        SendEvent::Orphans { .. } => (4, "alerts-dropped"),
        SendEvent::RehearsalDropped { .. } => (5, "rehearsal-dropped"),
        SendEvent::NotBuiltIn(_) => (3, "channel-absent"),
        SendEvent::NotStored(_) => (4, "alerts-not-stored"),
        SendEvent::StoredAgain => (5, "alerts-stored"),
        SendEvent::HeartbeatFails(_) => (4, "heartbeat-fails"),
        SendEvent::HeartbeatWorksAgain => (5, "heartbeat-works"),
    };
    LogEntry::worded(priority, event, language, |language| words(report, language))
}

fn words(report: &SendEvent, language: Language) -> String {
    let messages = |count: &usize| language.count("log.messages", *count as u64);
    match report {
        SendEvent::Delivered { channel, ids, reply } => {
            let ids = ids.join(", ");
            match delivery::reply(reply, language) {
                Some(reply) => language.say("log.delivered", &[("channel", channel), ("ids", &ids), ("reply", &reply)]),
                None => language.say("log.delivered-without-reply", &[("channel", channel), ("ids", &ids)]),
            }
        }
        SendEvent::NotToAll { channel, refused } => {
            let each = refused.iter().map(|refused| delivery::refused_recipient(refused, language));
            let refused = each.collect::<Vec<_>>().join("; ");
            language.say("log.rejected-for", &[("channel", channel), ("refused", &refused)])
        }
        SendEvent::Fails { channel, fault, waiting } => {
            let why = delivery::fault(fault, language);
            match waiting {
                0 => language.say("log.fails", &[("channel", channel), ("why", &why)]),
                _ => {
                    let messages = messages(waiting);
                    language.say("log.fails-queued", &[("channel", channel), ("messages", &messages), ("why", &why)])
                }
            }
        }
        SendEvent::WorksAgain { channel, after: None } => language.say("log.works", &[("channel", channel)]),
        SendEvent::WorksAgain { channel, after: Some(after) } => {
            language.say("log.works-after", &[("channel", channel), ("span", &language.span(*after))])
        }
        SendEvent::Orphans { channel, count } => {
            language.say("log.orphans", &[("messages", &messages(count)), ("channel", channel)])
        }
        SendEvent::RehearsalDropped { channel, count } => {
            language.say("log.rehearsal-dropped", &[("messages", &messages(count)), ("channel", channel)])
        }
        SendEvent::NotBuiltIn(which) => which.clone(),
        SendEvent::NotStored(fault) => language.say("log.not-stored", &[("why", fault)]),
        SendEvent::StoredAgain => language.plain("log.stored").to_owned(),
        SendEvent::HeartbeatFails(fault) => {
            language.say("log.heartbeat-fails", &[("why", &delivery::fault(fault, language))])
        }
        SendEvent::HeartbeatWorksAgain => language.plain("log.heartbeat-works").to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::delivery::RefusedRecipient;
    use std::time::Duration;

    #[test]
    fn a_line_has_what_is_queued_and_what_was_replied_and_nothing_where_there_is_none() {
        let english = |event| about(&event, Language::ENGLISH).message;
        let fault = ChannelFault::NoAnswer;
        let fails = |waiting| english(SendEvent::Fails { channel: "bell".into(), fault: fault.clone(), waiting });
        assert_eq!(
            [fails(0), fails(1), fails(3)],
            [
                "`bell` failed: the server does not respond",
                "`bell` failed, 1 message queued: the server does not respond",
                "`bell` failed, 3 messages queued: the server does not respond"
            ]
        );
        let delivered = |reply: &str| {
            let (channel, ids) = ("bell".to_owned(), vec!["5ed9-7.1.opened".to_owned()]);
            english(SendEvent::Delivered { channel, ids, reply: Receipt::new(reply).reply })
        };
        assert_eq!(delivered(""), "`bell` accepted 5ed9-7.1.opened");
        assert_eq!(delivered("rung"), "`bell` accepted 5ed9-7.1.opened: rung");
        let works = SendEvent::WorksAgain { channel: "bell".into(), after: Some(Duration::from_secs(120)) };
        let entry = about(&works, Language::GERMAN);
        let short = entry.short.map(|line| line.text);
        assert_eq!(
            (entry.message.as_str(), short.as_deref()),
            ("`bell` works again after 2 min", Some("`bell` funktioniert wieder nach 2 min"))
        );
    }

    #[test]
    fn what_came_of_a_test_is_in_the_owners_language_and_quotes_the_other_side() {
        let refused = RefusedRecipient {
            address: "warden@example.org".to_owned(),
            fault: ChannelFault::Rejected { reply: "550 no such mailbox".to_owned() },
        };
        let receipt = Receipt { refused: vec![refused], ..Receipt::new("250 in the box") };
        assert_eq!(
            trial_outcome("keeper", Ok(receipt), Language::GERMAN).unwrap(),
            "`keeper` hat die Testmeldung angenommen: 250 in the box\n\
             Abgelehnt für warden@example.org: abgelehnt: 550 no such mailbox\n\
             Die Testmeldung öffnen, dann ihren Code eingeben: traylight alerts --confirm CODE"
        );
        let failed = trial_outcome("bell", Err(ChannelFault::TimedOut { seconds: 60 }), Language::GERMAN);
        assert_eq!(failed.unwrap_err(), "der Test von `bell` ist fehlgeschlagen: keine Antwort innerhalb von 60 s");
    }
}
