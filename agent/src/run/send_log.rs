//! What the sender reports, as log entries; and what came of a test, for whoever waits for it.

use crate::send::channels::{ChannelFault, Receipt};
use crate::send::sender::SendEvent;
use crate::tell::log::LogEntry;
use crate::units::span;

/// What came of the test of a channel.
pub fn trial_outcome(channel: &str, outcome: Result<Receipt, ChannelFault>) -> Result<String, String> {
    let Receipt { said, refused } = outcome.map_err(|fault| format!("the test of `{channel}` failed: {fault}"))?;
    let receipt = if said.is_empty() { "without a reply".to_owned() } else { said };
    let refused: String = refused.iter().map(|receiver| format!("Rejected for {receiver}\n")).collect();
    Ok(format!(
        "`{channel}` accepted the test message: {receipt}\n{refused}Read it there, then enter its code: traylight alerts --confirm CODE"
    ))
}

/// What is to be said of the sending.
pub fn about(report: SendEvent) -> LogEntry {
    let (priority, event, message) = match report {
        SendEvent::Delivered { channel, ids, receipt } => {
            let receipt = if receipt.is_empty() { receipt } else { format!(": {receipt}") };
            (6, "delivered", format!("`{channel}` accepted {}{receipt}", ids.join(", ")))
        }
        SendEvent::NotToAll { channel, refused } => {
            (4, "receiver-refused", format!("`{channel}` rejected some recipients: {}", refused.join("; ")))
        }
        SendEvent::Fails { channel, why, waiting } => {
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
        SendEvent::HeartbeatFails(why) => (4, "heartbeat-fails", format!("the heartbeat failed: {why}")),
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

    #[test]
    fn a_line_has_what_is_queued_and_what_was_replied_and_nothing_where_there_is_none() {
        let fails =
            |waiting| about(SendEvent::Fails { channel: "bell".into(), why: "rejected".into(), waiting }).message;
        assert_eq!(
            [fails(0), fails(1), fails(3)],
            [
                "`bell` failed: rejected",
                "`bell` failed, 1 message is queued: rejected",
                "`bell` failed, 3 messages are queued: rejected"
            ]
        );
        let delivered = |receipt: &str| {
            let (channel, ids, receipt) = ("bell".to_owned(), vec!["5ed9-7.1.opened".to_owned()], receipt.to_owned());
            about(SendEvent::Delivered { channel, ids, receipt }).message
        };
        assert_eq!(delivered(""), "`bell` accepted 5ed9-7.1.opened");
        assert_eq!(delivered("rung"), "`bell` accepted 5ed9-7.1.opened: rung");
    }
}
