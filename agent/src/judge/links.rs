//! link-trouble: a network port is down, slower than it was, or comes and goes. Which ports matter and how fast they
//! are is learned: a port that never had a partner is not missed.

use super::Memory;
use super::track::{Holds, Side, Sight};
use crate::clock::Moment;
use crate::reading::{Link, Snapshot};
use crate::units::MegabitsPerSecond;
use crate::verdict::{Finding, LinkFault, Severity, Subject};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::Settings;

/// A speed is the usual one once it held this long (common practice, no source).
pub(crate) const USUAL_AFTER: Duration = Duration::from_secs(3600);

/// What is remembered of each port, by name.
#[derive(Debug, Clone, Default)]
pub struct Known {
    links: BTreeMap<String, KnownLink>,
}

#[derive(Debug, Clone, Default)]
struct KnownLink {
    watched: bool,
    usual: Option<MegabitsPerSecond>,
    /// The speed it has now, and since when.
    holding: Option<(MegabitsPerSecond, Moment)>,
    last_changes: Option<u64>,
    /// When it came or went, and how often at once.
    changes: Vec<(Moment, u64)>,
}

impl Known {
    /// Takes in the ports as they are now.
    pub fn learn(&mut self, settings: &Settings, snapshot: &Snapshot) {
        let watch = &settings.watch.links;
        for link in &snapshot.links {
            let up = link.up.get() == Some(&true);
            let known = self.links.entry(link.name.clone()).or_default();
            known.watched = if watch.is_empty() { known.watched || up } else { watch.contains(&link.name) };
            known.learn_speed(link.speed.get().copied().filter(|_| up), snapshot.taken);
            known.learn_changes(link.changes, snapshot.taken, settings.limits.link.flap_window);
        }
    }
}

impl KnownLink {
    fn learn_speed(&mut self, speed: Option<MegabitsPerSecond>, now: Moment) {
        self.holding = match (self.holding, speed) {
            (Some((held, since)), Some(speed)) if held == speed => Some((held, since)),
            (_, speed) => speed.map(|speed| (speed, now)),
        };
        if let Some((speed, _)) = self.holding.filter(|(_, since)| now.since(*since) >= USUAL_AFTER) {
            self.usual = self.usual.max(Some(speed));
        }
    }

    fn learn_changes(&mut self, count: Option<u64>, now: Moment, window: Duration) {
        // A count that fell began anew with its driver: that is no change of the link.
        if let Some((count, before)) = count.zip(self.last_changes).filter(|(count, before)| count > before) {
            self.changes.push((now, count - before));
        }
        self.last_changes = count.or(self.last_changes);
        self.changes.retain(|(when, _)| now.since(*when) <= window);
    }
}

/// What is seen of every watched port.
pub fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let watched = |link: &&Link| memory.links.links.get(&link.name).is_some_and(|known| known.watched);
    let there =
        snapshot.links.iter().filter(watched).flat_map(|link| sides(settings, &memory.links.links[&link.name], link));
    there.chain(vanished(settings, memory, snapshot)).collect()
}

/// A port that is on no list any more, as when a USB adapter hangs, is as good as down. One that was plugged in for less
/// than an hour may be meant to go, unless the configuration names it.
fn vanished(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    if snapshot.is_blind_to("links") {
        return Vec::new();
    }
    let is_missed = |(name, known): &(&String, &KnownLink)| {
        let is_part = known.usual.is_some() || settings.watch.links.contains(name);
        known.watched && is_part && snapshot.links.iter().all(|link| link.name != **name)
    };
    let limits = &settings.limits.link;
    let sight = |(name, _): (&String, &KnownLink)| Sight {
        subject: Subject::Link(name.clone(), "down".to_owned()),
        side: Side::Raised(Severity::Warning),
        seen: snapshot.taken,
        finding: Finding::LinkTrouble { link: name.clone(), what: LinkFault::Down },
        holds: Holds::new(limits.down_hold, limits.clear_hold),
    };
    memory.links.links.iter().filter(is_missed).map(sight).collect()
}

fn sides(settings: &Settings, known: &KnownLink, link: &Link) -> Vec<Sight> {
    let limits = &settings.limits.link;
    let sight = |side_name: &str, raised: bool, what, hold| Sight {
        subject: Subject::Link(link.name.clone(), side_name.to_owned()),
        side: if raised { Side::Raised(Severity::Warning) } else { Side::Clear },
        seen: link.up.taken,
        finding: Finding::LinkTrouble { link: link.name.clone(), what },
        holds: Holds::new(hold, limits.clear_hold),
    };
    let mut seen = Vec::new();
    if let Some(&up) = link.up.get() {
        seen.push(sight("down", !up, LinkFault::Down, limits.down_hold));
    }
    if let (Some(&now), Some(usual), Some(true)) = (link.speed.get(), known.usual, link.up.get()) {
        seen.push(sight("slow", now < usual, LinkFault::Slow { now, usual }, limits.slower_hold));
    }
    if link.changes.is_some() {
        let changes = known.changes.iter().map(|(_, count)| count).sum();
        let unsteady = LinkFault::Unsteady { changes, within: limits.flap_window };
        seen.push(sight("unsteady", changes >= u64::from(limits.flaps), unsteady, Duration::ZERO));
    }
    seen
}
