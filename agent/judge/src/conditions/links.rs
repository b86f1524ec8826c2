//! link-trouble: a network port is down, slower than it was, or comes and goes. Which ports matter and how fast they
//! are is learned, and remembered over restarts: a port that never had a partner is not missed.

use super::Rule;
use crate::Memory;
use crate::track::{Holds, Side, Sight};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Link, Snapshot};
use traylight_data::units::MegabitsPerSecond;
use traylight_data::verdict::{Finding, Kind, LinkFault, Severity, Subject};

/// A speed is the usual one once it held this long (common practice, no source).
pub const USUAL_AFTER: Duration = Duration::from_secs(3600);

/// What is remembered of each port, by name.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Known {
    links: BTreeMap<String, KnownLink>,
}

#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
struct KnownLink {
    watched: bool,
    usual: Option<MegabitsPerSecond>,
    /// It saw its partner since the machine started.
    appeared: bool,
    /// Since when it is in use, if it is.
    used_since: Option<Moment>,
    /// Since when it sees no partner, or is not there, if that is so.
    down_since: Option<Moment>,
    /// The speed it has now, and since when.
    #[serde(skip)]
    holding: Option<(MegabitsPerSecond, Moment)>,
    last_changes: Option<u64>,
    /// When it came or went, and how often at once.
    changes: Vec<(Moment, u64)>,
}

impl Known {
    /// Takes in the ports as they are now; true when that is worth keeping.
    pub fn learn(&mut self, settings: &Settings, snapshot: &Snapshot) -> bool {
        if is_blind(snapshot) {
            return false;
        }
        let before = self.clone();
        let (watch, now) = (&settings.watch.links, snapshot.taken);
        for link in &snapshot.links {
            let up = link.up.get() == Some(&true);
            let known = self.links.entry(link.name.clone()).or_default();
            let was_watched = known.watched;
            known.watched = if watch.is_empty() { known.watched || up } else { watch.contains(&link.name) };
            known.appeared |= up;
            if known.watched && !was_watched {
                known.used_since = Some(now);
            }
            known.learn_down(link.up.get().map(|up| !up), now);
            known.learn_speed(link.speed.get().copied().filter(|_| up), now);
            known.learn_changes(link.changes, now, settings.limits.link.flap_window);
        }
        let is_there = |name: &String| snapshot.links.iter().any(|link| link.name == *name);
        for (_, known) in self.links.iter_mut().filter(|(name, _)| !is_there(name)) {
            known.learn_down(Some(true), now);
        }
        if watch.is_empty() {
            self.follow_moves(settings, snapshot);
        } else {
            self.links.iter_mut().for_each(|(name, known)| known.watched &= watch.contains(name));
        }
        *self != before
    }

    /// Its cable was put into another port: one that came into use after this one went down takes its place. That is taken
    /// in only after it was told, in case the other is a stopgap. A port that is not there any more has another name.
    fn follow_moves(&mut self, settings: &Settings, snapshot: &Snapshot) {
        let limits = &settings.limits.link;
        let (now, told) = (snapshot.taken, limits.down_hold + limits.clear_hold);
        let up = |name: &String| snapshot.links.iter().any(|link| link.name == *name && link.up.get() == Some(&true));
        let is_there = |name: &String| snapshot.links.iter().any(|link| link.name == *name);
        let began: Vec<Moment> =
            self.links.iter().filter(|(name, _)| up(name)).filter_map(|(_, known)| known.used_since).collect();
        for (name, known) in self.links.iter_mut().filter(|(_, known)| known.watched) {
            let Some(down) = known.down_since else { continue };
            let wait = if is_there(name) { told } else { Duration::ZERO };
            if now.since(down) >= wait && began.iter().any(|began| *began >= down) {
                (known.watched, known.used_since) = (false, None);
            }
        }
    }

    /// As when the machine has started again: no port has seen a partner yet, and the kernel counts anew.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        for known in self.links.values_mut() {
            (known.appeared, known.last_changes, known.holding) = (false, None, None);
            known.used_since = known.used_since.map(&by);
            known.down_since = known.down_since.map(&by);
            known.changes.iter_mut().for_each(|(at, _)| *at = by(*at));
        }
    }

    /// Its owner agrees with a port as it is: one that is down is not in use, and one that is slow need not be faster.
    pub fn accept(&mut self, name: &str, what: LinkFault) {
        let Some(known) = self.links.get_mut(name) else { return };
        match what {
            LinkFault::Down => (known.watched, known.used_since) = (false, None),
            LinkFault::Slow { .. } => (known.usual, known.holding) = (None, None),
            LinkFault::Unsteady { .. } => {}
        }
    }
}

fn is_blind(snapshot: &Snapshot) -> bool {
    snapshot.is_blind_to("links")
}

impl KnownLink {
    fn learn_down(&mut self, is_down: Option<bool>, now: Moment) {
        self.down_since = match is_down {
            Some(true) => self.down_since.or(Some(now)),
            Some(false) => None,
            None => self.down_since,
        };
    }

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

/// The rule of this file.
pub const RULE: Rule = Rule { sights };

/// What is seen of every watched port, and of those that are watched no longer.
fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    if is_blind(snapshot) {
        return Vec::new();
    }
    let in_grace = snapshot.taken.since_boot() < settings.limits.grace.drives;
    let links = &memory.ledger.links.links;
    let of_port = |(name, known): (&String, &KnownLink)| {
        let port = Port { settings, name, known, may_come: in_grace && !known.appeared };
        match snapshot.links.iter().find(|link| link.name == *name) {
            Some(link) => port.sides(link),
            // One that was in use for a while and is not there at all: its adapter is gone, or its driver.
            None => known.usual.map(|_| port.down(true, snapshot.taken)).into_iter().collect(),
        }
    };
    let watched: BTreeSet<&String> = links.iter().filter(|(_, known)| known.watched).map(|(name, _)| name).collect();
    let no_longer = memory.open().filter_map(|held| match &held.subject {
        Subject::Link(name, _) if held.kind() == Kind::LinkTrouble && !watched.contains(name) => Some(Sight {
            subject: held.subject.clone(),
            side: Side::Clear,
            seen: snapshot.taken,
            finding: held.finding.clone(),
            holds: Holds::NONE,
        }),
        _ => None,
    });
    links.iter().filter(|(_, known)| known.watched).flat_map(of_port).chain(no_longer).collect()
}

/// A port that is watched.
struct Port<'a> {
    settings: &'a Settings,
    name: &'a String,
    known: &'a KnownLink,
    /// It has not seen its partner since the machine started, and still has time for it.
    may_come: bool,
}

impl Port<'_> {
    fn down(&self, is_down: bool, seen: Moment) -> Sight {
        let hold = self.settings.limits.link.down_hold;
        let sight = self.sight("down", is_down, LinkFault::Down, hold, seen);
        if is_down && self.may_come { Sight { side: Side::Between, ..sight } } else { sight }
    }

    fn sides(&self, link: &Link) -> Vec<Sight> {
        let (limits, known, taken) = (&self.settings.limits.link, self.known, link.up.taken);
        let mut seen = Vec::new();
        seen.extend(link.up.get().map(|&up| self.down(!up, taken)));
        if let (Some(&now), Some(usual), Some(true)) = (link.speed.get(), known.usual, link.up.get()) {
            seen.push(self.sight("slow", now < usual, LinkFault::Slow { now, usual }, limits.slower_hold, taken));
        }
        if link.changes.is_some() {
            let changes = known.changes.iter().map(|(_, count)| count).sum();
            let unsteady = LinkFault::Unsteady { changes, within: limits.flap_window };
            seen.push(self.sight("unsteady", changes >= u64::from(limits.flaps), unsteady, Duration::ZERO, taken));
        }
        seen
    }

    fn sight(&self, side_name: &str, raised: bool, what: LinkFault, hold: Duration, seen: Moment) -> Sight {
        Sight {
            subject: Subject::Link(self.name.clone(), side_name.to_owned()),
            side: if raised { Side::Raised(Severity::Warning) } else { Side::Clear },
            seen,
            finding: Finding::LinkTrouble { link: self.name.clone(), what },
            holds: Holds::new(hold, self.settings.limits.link.clear_hold),
        }
    }
}
