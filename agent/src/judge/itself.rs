//! agent-and-alerts: what the program has to say of itself. This needs no snapshot: it is judged when there is none, too.

use super::Memory;
use super::track::{Holds, Side, Sight};
use crate::clock::Moment;
use crate::reading::Itself;
use crate::verdict::{AgentFault, Finding, Heard, Severity, Subject};
use std::time::Duration;
use traylight_config::Settings;

/// For how long the panel must be silent.
pub(crate) const PANEL_HOLD: Duration = Duration::from_secs(10 * 60);
/// For how long an alert must wait for a warning; after a day it is critical.
pub(crate) const WAITS: Duration = Duration::from_secs(15 * 60);
pub(crate) const DAY: Duration = Duration::from_secs(86_400);
/// Three times the ten seconds at which most parts are looked at.
pub(crate) const THREE_LOOKS: Duration = Duration::from_secs(30);

/// The end of a run that nobody asked for, as the ledger counts it.
pub const ENDED_UNASKED: &str = "ended unasked";

/// What is seen of the program itself.
pub fn sights(settings: &Settings, memory: &Memory, now: Moment, itself: &Itself, heard: &Heard) -> Vec<Sight> {
    let sight = |which: &str, side, what, holds| Sight {
        subject: Subject::Agent(which.to_owned()),
        side,
        seen: now,
        finding: Finding::AgentTrouble { what },
        holds,
    };
    let raised = |is_raised, severity| if is_raised { Side::Raised(severity) } else { Side::Clear };
    let unseen = match heard {
        Heard::NotYet => None,
        Heard::Fresh => Some(Vec::new()),
        Heard::InPart(what) => Some(what.clone()),
        Heard::SilentSince(_) => Some(vec!["everything: the probe is silent".to_owned()]),
    };
    let unseen = unseen.map(|what| {
        let side = raised(!what.is_empty(), Severity::Warning);
        sight("unseen", side, AgentFault::Unseen { what }, Holds::new(THREE_LOOKS, Duration::ZERO))
    });
    // A box that has no panel any more misses none.
    let panel_answers = itself.panel_answers.or(settings.panel.glasses.is_empty().then_some(true));
    let panel = panel_answers.map(|answers| {
        let side = raised(!answers, Severity::Notice);
        sight("panel", side, AgentFault::PanelLost, Holds::new(PANEL_HOLD, Duration::ZERO))
    });
    let clock = itself.clock_set.map(|is_set| {
        let side = raised(!is_set, Severity::Warning);
        sight("clock", side, AgentFault::ClockNotSet, Holds::new(DAY, Duration::ZERO))
    });
    let unconfirmed = {
        let side = raised(!itself.unconfirmed.is_empty(), Severity::Warning);
        let what = AgentFault::NotConfirmed { ways: itself.unconfirmed.clone() };
        sight("unconfirmed", side, what, Holds::new(DAY, Duration::ZERO))
    };
    let waiting = {
        let waited = itself.longest_wait.unwrap_or_default();
        let side = match waited {
            waited if waited >= DAY => Side::Raised(Severity::Critical),
            waited if waited >= WAITS => Side::Raised(Severity::Warning),
            _ => Side::Clear,
        };
        sight("waiting", side, AgentFault::NotDelivered { waited }, Holds::new(Duration::ZERO, Duration::ZERO))
    };
    let not_kept = {
        let side = raised(itself.not_kept.is_some(), Severity::Warning);
        let what = AgentFault::NotKept { why: itself.not_kept.clone().unwrap_or_default() };
        sight("not-kept", side, what, Holds::new(Duration::ZERO, Duration::ZERO))
    };
    let times = memory.ledger.count(ENDED_UNASKED);
    let side = raised(times > 0, Severity::Warning);
    let holds = Holds::new(Duration::ZERO, Duration::ZERO);
    let ended = sight("ended", side, AgentFault::EndedUnasked { times }, holds);
    [unseen, panel, clock, Some(unconfirmed), Some(waiting), Some(not_kept), Some(ended)]
        .into_iter()
        .flatten()
        .collect()
}
