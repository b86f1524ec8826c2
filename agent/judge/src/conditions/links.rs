//! link-trouble: a network port is down, slower than it was, or comes and goes. Which ports matter and how fast they
//! are is learned, and remembered over restarts: a port that never had a partner is not missed.

use super::rule::Rule;
use crate::kinds::{Several, TOGETHER, Traits};
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::memory::links::USUAL_AFTER;
use crate::memory::links::{KnownLink, is_blind};
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Link, Missing, Snapshot, WhyMissing};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, LinkAspect, LinkFault, Severity, Subject};

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::LinkTrouble).several(Several::BegunWithin(TOGETHER)).played(Play::fast(
        &[Need::Link],
        120,
        |the_box, _| {
            the_box.link(|link| {
                link.up.value = Ok(false);
                link.speed.value = Err(Missing::from(WhyMissing::PortDown));
            });
        },
    ))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let Finding::LinkTrouble { what, .. } = &condition.finding else { return Vec::new() };
    vec![match what {
        LinkFault::Down => limit!("limit.link-trouble.down", hold = set!(settings, link.down_hold)),
        LinkFault::Slow { usual, .. } => limit!(
            "limit.link-trouble.slow",
            usual = *usual,
            after = USUAL_AFTER,
            hold = set!(settings, link.slower_hold)
        ),
        LinkFault::Unsteady { .. } => limit!(
            "limit.link-trouble.unsteady",
            changes = set!(settings, link.flaps),
            within = set!(settings, link.flap_window)
        ),
    }]
}

/// What is seen of every watched port, and of those that are watched no longer.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if is_blind(snapshot) {
        return Vec::new();
    }
    let in_grace = snapshot.taken.since_boot() < settings.limits.grace.drives;
    let links = &memory.ledger.links;
    let of_port = |(name, known): (&String, &KnownLink)| {
        let port = WatchedPort { settings, name, known, may_come: in_grace && !known.appeared };
        match snapshot.links.iter().find(|link| link.name == *name) {
            Some(link) => port.zones(link),
            // One that was in use for a while and is not there at all: its adapter is gone, or its driver.
            None => known.usual.map(|_| port.down(true, snapshot.taken)).into_iter().collect(),
        }
    };
    let watched: BTreeSet<&String> = links.watched().map(|(name, _)| name).collect();
    let is_no_longer = |held: &&Condition| match &held.subject {
        Subject::Link { name, .. } => held.kind() == Kind::LinkTrouble && !watched.contains(name),
        _ => false,
    };
    let no_longer = memory.open().filter(is_no_longer).map(|held| Observation::over(held, snapshot.taken));
    links.watched().flat_map(of_port).chain(no_longer).collect()
}

/// A port that is watched.
struct WatchedPort<'a> {
    settings: &'a Settings,
    name: &'a String,
    known: &'a KnownLink,
    /// It has not seen its partner since the machine started, and still has time for it.
    may_come: bool,
}

impl WatchedPort<'_> {
    fn down(&self, is_down: bool, seen: Moment) -> Observation {
        let hold = self.settings.limits.link.down_hold;
        let observation = self.observation(LinkAspect::Down, is_down, LinkFault::Down, hold, seen);
        if is_down && self.may_come { Observation { zone: Zone::Between, ..observation } } else { observation }
    }

    fn zones(&self, link: &Link) -> Vec<Observation> {
        let (limits, known, taken) = (&self.settings.limits.link, self.known, link.up.taken);
        let mut seen = Vec::new();
        seen.extend(link.up.get().map(|&up| self.down(!up, taken)));
        if let (Some(&now), Some(usual), Some(true)) = (link.speed.get(), known.usual, link.up.get()) {
            seen.push(self.observation(
                LinkAspect::Slow,
                now < usual,
                LinkFault::Slow { now, usual },
                limits.slower_hold,
                taken,
            ));
        }
        if link.changes.is_some() {
            let changes = known.changes.iter().map(|(_, count)| count).sum();
            let unsteady = LinkFault::Unsteady { changes, within: limits.flap_window };
            seen.push(self.observation(
                LinkAspect::Unsteady,
                changes >= u64::from(limits.flaps),
                unsteady,
                Duration::ZERO,
                taken,
            ));
        }
        seen
    }

    fn observation(
        &self,
        aspect: LinkAspect,
        raised: bool,
        what: LinkFault,
        hold: Duration,
        seen: Moment,
    ) -> Observation {
        Observation {
            subject: Subject::Link { name: self.name.clone(), aspect },
            zone: if raised { Zone::Raised(Severity::Warning) } else { Zone::Clear },
            seen,
            finding: Finding::LinkTrouble { link: self.name.clone(), what },
            holds: Holds::new(hold, self.settings.limits.link.clear_hold),
        }
    }
}
