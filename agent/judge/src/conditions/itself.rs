//! agent-and-alerts: what the program has to say of itself. This needs no snapshot: it is judged when there is none, too.

use super::rule::KindRow;
use crate::kinds::Traits;
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::event_counts::{COUNTED_FOR, ENDED_UNASKED};
use crate::play::Play;
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::{DAY, Moment};
use traylight_data::reading::{Itself, Missing, Reason};
use traylight_data::verdict::{
    AgentAspect, AgentFault, Condition, Finding, Freshness, Kind, Limit, PartName, Severity, Subject, UnseenPart,
};

/// The program's own kind of condition.
pub const KINDS: &[KindRow] = &[Traits::of(Kind::AgentAndAlerts).played(Play::fast(&[], 60, |the_box, _| {
    the_box.unseen();
}))];

/// For how long the panel must be silent.
const PANEL_HOLD: Duration = Duration::from_secs(10 * 60);
/// For how long an alert must wait for a warning; after a day it is critical.
const WAITS: Duration = Duration::from_secs(15 * 60);
/// Three times the ten seconds at which most parts are looked at.
const THREE_LOOKS: Duration = Duration::from_secs(30);

/// The limits of what the program has to say of itself.
pub fn limits(condition: &Condition) -> Vec<Limit> {
    let Finding::AgentAndAlerts { what } = &condition.finding else { return Vec::new() };
    vec![match what {
        AgentFault::PanelLost => limit!("limit.agent.panel-lost", hold = PANEL_HOLD),
        AgentFault::Unseen { .. } => limit!("limit.agent.unseen", hold = THREE_LOOKS),
        AgentFault::ClockNotSet => limit!("limit.agent.clock-not-set", hold = DAY),
        AgentFault::NotConfirmed { .. } => limit!("limit.agent.not-confirmed", hold = DAY),
        AgentFault::NotDelivered { .. } => limit!("limit.agent.not-delivered", warning = WAITS, critical = DAY),
        AgentFault::NotKept { .. } => limit!("limit.agent.not-kept"),
        AgentFault::EndedUnasked { .. } => limit!("limit.agent.ended-unasked", within = COUNTED_FOR),
    }]
}

/// What is seen of the program itself.
pub fn observations(
    settings: &Settings,
    memory: &Memory,
    now: Moment,
    itself: &Itself,
    freshness: &Freshness,
) -> Vec<Observation> {
    let observation = |aspect, zone, what, holds| observation(now, aspect, zone, what, holds);
    // A box that has no panel any more misses none.
    let panel_answers = itself.panel_answers.or(settings.panel.panels.is_empty().then_some(true));
    let panel = panel_answers.map(|answers| {
        let zone = raised(!answers, Severity::Notice);
        observation(AgentAspect::Panel, zone, AgentFault::PanelLost, Holds::new(PANEL_HOLD, Duration::ZERO))
    });
    let clock = itself.clock_set.map(|is_set| {
        let zone = raised(!is_set, Severity::Warning);
        observation(AgentAspect::Clock, zone, AgentFault::ClockNotSet, Holds::new(DAY, Duration::ZERO))
    });
    let unconfirmed = {
        let zone = raised(!itself.unconfirmed.is_empty(), Severity::Warning);
        let what = AgentFault::NotConfirmed { channels: itself.unconfirmed.clone() };
        observation(AgentAspect::Unconfirmed, zone, what, Holds::new(DAY, Duration::ZERO))
    };
    let waiting = {
        let waited = itself.longest_wait.unwrap_or_default();
        let zone = match waited {
            waited if waited >= DAY => Zone::Raised(Severity::Critical),
            waited if waited >= WAITS => Zone::Raised(Severity::Warning),
            _ => Zone::Clear,
        };
        observation(AgentAspect::Waiting, zone, AgentFault::NotDelivered { waited }, Holds::NONE)
    };
    let not_kept = {
        let zone = raised(itself.not_kept.is_some(), Severity::Warning);
        let what = AgentFault::NotKept { why: itself.not_kept.clone().unwrap_or_default() };
        observation(AgentAspect::NotKept, zone, what, Holds::NONE)
    };
    let times = memory.ledger.count(ENDED_UNASKED);
    let zone = raised(times > 0, Severity::Warning);
    let ended = observation(AgentAspect::Ended, zone, AgentFault::EndedUnasked { times }, Holds::NONE);
    [unseen(now, freshness), panel, clock, Some(unconfirmed), Some(waiting), Some(not_kept), Some(ended)]
        .into_iter()
        .flatten()
        .collect()
}

/// What of the box could not be looked at; `None` when nothing was read yet.
pub fn unseen(now: Moment, freshness: &Freshness) -> Option<Observation> {
    let what = match freshness {
        Freshness::NotYet => return None,
        Freshness::Fresh => Vec::new(),
        Freshness::InPart(what) => what.clone(),
        Freshness::SilentSince(_) => {
            let why = Missing::of(Reason::TimedOut);
            vec![UnseenPart { part: PartName::Everything, why, lasted: None }]
        }
    };
    let zone = raised(!what.is_empty(), Severity::Warning);
    Some(observation(
        now,
        AgentAspect::Unseen,
        zone,
        AgentFault::Unseen { what },
        Holds::new(THREE_LOOKS, Duration::ZERO),
    ))
}

fn observation(now: Moment, aspect: AgentAspect, zone: Zone, what: AgentFault, holds: Holds) -> Observation {
    Observation { subject: Subject::Agent(aspect), zone, seen: now, finding: Finding::AgentAndAlerts { what }, holds }
}

fn raised(is_raised: bool, severity: Severity) -> Zone {
    if is_raised { Zone::Raised(severity) } else { Zone::Clear }
}
