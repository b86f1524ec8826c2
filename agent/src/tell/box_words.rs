//! The words for the box itself and for the program itself. Pure; the rules that all words keep are in
//! [`super::wording`].

use super::wording::{Parts, Words, words_of};
use crate::units::span;
use crate::verdict::{AgentFault, BoxFault};

pub(super) fn agent(what: &AgentFault) -> Words {
    match what {
        AgentFault::PanelLost => words_of(Parts {
            name: "PANEL LOST",
            figures: "",
            sentence: "The panel does not answer.".to_owned(),
            brief: "check its plugs",
            advice: "Check the panel's plugs with the box off; `traylight check` tells whether its bus is named right.",
            warning: "Do not trust what it still shows: it keeps its last picture.",
            evidence: "the panel's bus gives no answer".to_owned(),
        }),
        AgentFault::Unseen { what } => words_of(Parts {
            name: "PARTS NOT SEEN",
            figures: "",
            sentence: format!("{} of the box cannot be looked at.", counted(what.len() as u64, "part", "parts")),
            brief: "not all is watched",
            advice: "See what the evidence names; a part that is refused needs rights, one that is silent may hang.",
            warning: "Do not take a part as fine that is not seen.",
            evidence: if what.is_empty() { "all parts answer".to_owned() } else { what.join("; ") },
        }),
        AgentFault::ClockNotSet => words_of(Parts {
            name: "CLOCK NOT SET",
            figures: "",
            sentence: "No time service has set the clock for a day.".to_owned(),
            brief: "network? NTP?",
            advice: "Look whether the box reaches its time server, and whether a time service runs.",
            warning: "Do not rely on times in messages until then; how long things last is measured without it.",
            evidence: "the kernel says that its clock is not synchronised".to_owned(),
        }),
        AgentFault::NotConfirmed { ways } => words_of(Parts {
            name: "ALERTS NOT CONFIRMED",
            figures: "",
            sentence: "Nobody has confirmed for a day that alerts arrive where they are sent.".to_owned(),
            brief: "send a test code",
            advice: "Run `traylight alerts --test WAY`, then give back the code that arrives: \
                     `traylight alerts --confirm CODE`.",
            warning: "Do not rely on alerts that nobody has seen arrive.",
            evidence: if ways.is_empty() {
                "all ways are confirmed".to_owned()
            } else {
                format!("not confirmed: {}", ways.join(", "))
            },
        }),
        AgentFault::NotDelivered { waited } => words_of(Parts {
            name: "ALERTS STUCK",
            figures: "",
            sentence: format!("An alert has waited for {} and cannot leave the box.", span(*waited)),
            brief: "network? server?",
            advice: "Look in the log for what the way says; it is tried again and again, and nothing is lost.",
            warning: "Do not restart the box for this.",
            evidence: format!("the oldest message waits for {}", span(*waited)),
        }),
        AgentFault::EndedUnasked { times } => words_of(Parts {
            name: "TRAYLIGHT RESTARTED",
            figures: "",
            sentence: format!(
                "traylight ended without being asked to, {}, and was started again.",
                counted(*times, "time", "times")
            ),
            brief: "see its log",
            advice: "Look in the log for what it said last; a watchdog, a crash or want of memory may have ended it.",
            warning: "Do not switch its watchdog off for this.",
            evidence: format!("{} without an orderly end within a week of watching", counted(*times, "run", "runs")),
        }),
    }
}

pub(super) fn of_box(what: &BoxFault) -> Words {
    match what {
        BoxFault::UncleanRestart { times } => words_of(Parts {
            name: "BOX RESTARTED",
            figures: "",
            sentence: format!(
                "The box restarted by itself or lost its power, {} within a week of watching.",
                counted(*times, "time", "times")
            ),
            brief: "power? supply?",
            advice: "If it happens when drives start, suspect the supply; after a power cut a small UPS helps.",
            warning: "Do not take drives out while pools set themselves right again.",
            evidence: format!("{} without an orderly end before", counted(*times, "start", "starts")),
        }),
        BoxFault::OutOfMemory { ended } => words_of(Parts {
            name: "OUT OF MEMORY",
            figures: "",
            sentence: format!("The kernel ended {} for want of memory.", counted(*ended, "process", "processes")),
            brief: "what needs so much?",
            advice: "Look in the kernel's log which it was, and give that less to do or the box more memory.",
            warning: "Do not wait: what was ended may have been what you need.",
            evidence: format!("oom_kill grew by {ended} within a week of watching"),
        }),
        BoxFault::CardWears { device, written } => words_of(Parts {
            name: "CARD WEARS FAST",
            figures: "",
            sentence: format!("{written} were written to the memory card {device} within a day."),
            brief: "logs? move them",
            advice: "Find what writes, most often logs, and move it to another disk; keep a copy of the card.",
            warning: "Do not wait for the card to say so: cards end without a warning.",
            evidence: format!("{written} within a day of watching, 2 GB are bearable"),
        }),
        BoxFault::DiskErrors { device, count } => words_of(Parts {
            name: "SYSTEM DISK ERRORS",
            figures: "",
            sentence: format!(
                "Reading or writing {device}, which the system is on, failed {}.",
                counted(*count, "time", "times")
            ),
            brief: "copy it now",
            advice: "Copy the system to a new card or disk now, and start from that.",
            warning: "Do not restart before it is copied: it may not start again.",
            evidence: format!("{} of the kernel within a week of watching", counted(*count, "message", "messages")),
        }),
    }
}

fn counted(number: u64, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}
