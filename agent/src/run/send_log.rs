//! What the sender reports, as log entries; and what came of a test, for whoever waits for it.

use crate::send::channels::{ChannelFault, Receipt};
use crate::send::sender::SendEvent;
use crate::tell::log::LogEntry;
use crate::tell::words::delivery;
use crate::tell::words::phrases::{Language, Phrases};
use crate::units::span;

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
pub fn about(report: SendEvent) -> LogEntry {
    let (priority, event, message) = match report {
        SendEvent::Delivered { channel, ids, reply } => {
            let reply =
                delivery::reply(&reply, Language::ENGLISH).map(|reply| format!(": {reply}")).unwrap_or_default();
            (6, "delivered", format!("`{channel}` accepted {}{reply}", ids.join(", ")))
        }
        SendEvent::NotToAll { channel, refused } => {
            let each = refused.iter().map(|refused| delivery::refused_recipient(refused, Language::ENGLISH));
            let refused = each.collect::<Vec<_>>().join("; ");
            (4, "receiver-refused", format!("`{channel}` rejected some recipients: {refused}"))
        }
        SendEvent::Fails { channel, fault, waiting } => {
            let why = delivery::fault(&fault, Language::ENGLISH);
            let queued = match waiting {
                0 => String::new(),
                1 => ", 1 message is queued".to_owned(),
                several => format!(", {several} messages are queued"),
            };
            (4, "channel-fails", format!("`{channel}` failed{queued}: {why}"))
        }
        SendEvent::WorksAgain { channel, after } => {
            let after = after.map(|after| format!(" after {}", span(after))).unwrap_or_default();
            (5, "channel-works", format!("`{channel}` works again{after}"))
        }
        SendEvent::Orphans { channel, count } => (
            4,
            "alerts-dropped",
            format!("dropped {} queued for `{channel}`, which is no longer configured", messages(count)),
        ),
        SendEvent::RehearsalDropped { channel, count } => {
            let why =
                format!("dropped {} of a rehearsal that `{channel}` did not accept while it ran", messages(count));
            (5, "rehearsal-dropped", why)
        }
        SendEvent::NotBuiltIn(which) => (3, "channel-absent", which),
        SendEvent::NotStored(fault) => {
            (4, "alerts-not-stored", format!("queued alerts are not saved, a restart would lose them: {fault}"))
        }
        SendEvent::StoredAgain => (5, "alerts-stored", "queued alerts are saved again".to_owned()),
        SendEvent::HeartbeatFails(fault) => {
            (4, "heartbeat-fails", format!("the heartbeat failed: {}", delivery::fault(&fault, Language::ENGLISH)))
        }
        SendEvent::HeartbeatWorksAgain => (5, "heartbeat-works", "the heartbeat works again".to_owned()),
    };
    LogEntry::agent(priority, event, message)
}

fn messages(count: usize) -> String {
    if count == 1 { "1 message".to_owned() } else { format!("{count} messages") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::delivery::RefusedRecipient;

    #[test]
    fn a_line_has_what_is_queued_and_what_was_replied_and_nothing_where_there_is_none() {
        let fault = ChannelFault::NoAnswer;
        let fails = |waiting| about(SendEvent::Fails { channel: "bell".into(), fault: fault.clone(), waiting }).message;
        assert_eq!(
            [fails(0), fails(1), fails(3)],
            [
                "`bell` failed: the server does not respond",
                "`bell` failed, 1 message is queued: the server does not respond",
                "`bell` failed, 3 messages are queued: the server does not respond"
            ]
        );
        let delivered = |reply: &str| {
            let (channel, ids) = ("bell".to_owned(), vec!["5ed9-7.1.opened".to_owned()]);
            about(SendEvent::Delivered { channel, ids, reply: Receipt::new(reply).reply }).message
        };
        assert_eq!(delivered(""), "`bell` accepted 5ed9-7.1.opened");
        assert_eq!(delivered("rung"), "`bell` accepted 5ed9-7.1.opened: rung");
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
             Dort lesen, dann den Code eingeben: traylight alerts --confirm CODE"
        );
        let failed = trial_outcome("bell", Err(ChannelFault::TimedOut { seconds: 60 }), Language::GERMAN);
        assert_eq!(failed.unwrap_err(), "der Test von `bell` ist fehlgeschlagen: keine Antwort innerhalb von 60 s");
    }
}
