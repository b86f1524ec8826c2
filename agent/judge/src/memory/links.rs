//! Which network ports are in use, how fast they are, and how often they came and went, remembered over restarts.

use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Listing, Snapshot};
use traylight_data::units::MegabitsPerSecond;
use traylight_data::verdict::LinkFault;

/// A speed is the usual one once it held this long (common practice, no source).
pub const USUAL_AFTER: Duration = Duration::from_secs(3600);

/// What is remembered of each port, by name.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct LinkMemory {
    links: BTreeMap<String, KnownLink>,
}

/// A network port that was seen.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct KnownLink {
    watched: bool,
    /// How fast it used to be.
    pub usual: Option<MegabitsPerSecond>,
    /// It saw its partner since the machine started.
    pub appeared: bool,
    /// Since when it is in use, if it is.
    used_since: Option<Moment>,
    /// Since when it sees no partner, or is not there, if that is so.
    down_since: Option<Moment>,
    /// The speed it has now, and since when.
    #[serde(skip)]
    holding: Option<(MegabitsPerSecond, Moment)>,
    last_changes: Option<u64>,
    /// When it came or went, and how often at once.
    pub changes: Vec<(Moment, u64)>,
}

impl Learns<Look<'_>> for LinkMemory {
    /// Takes in the ports as they are now.
    fn learn(&mut self, &Look { settings, snapshot, .. }: &Look) -> Learned {
        if is_blind(snapshot) {
            return Learned::default();
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
        Learned::kept(*self != before)
    }
}

impl LinkMemory {
    /// The ports that are watched, by name.
    pub fn watched(&self) -> impl Iterator<Item = (&String, &KnownLink)> {
        self.links.iter().filter(|(_, known)| known.watched)
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

/// True when the list of ports could not be read.
pub fn is_blind(snapshot: &Snapshot) -> bool {
    snapshot.is_blind_to(&Listing::Links)
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
