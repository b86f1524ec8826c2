//! What of the box was readable and is not any more: sensors, ports, the health of drives, the kernel's words. That a part
//! is asleep, not available or not asked is no fault; that it times out, refuses, answers nonsense or has vanished is one, once
//! it has for long. Remembered over restarts: a sensor that is dead after a start was alive before.

use super::drives;
use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{Drive, Missing, Power, Reading, Reason, Snapshot, WhyMissing};
use traylight_data::verdict::{BoardPart, PartName, UnseenPart};

/// Three times the minute after which the slowest sensors are looked at again.
const LONG: Duration = Duration::from_secs(180);
/// Four times the six hours after which drives are asked for their health again.
const LONG_OF_HEALTH: Duration = Duration::from_secs(86_400);

/// What was readable, and what of it is missing.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Sources {
    readable: BTreeSet<SourceKey>,
    #[serde(skip)]
    missing: BTreeMap<SourceKey, Lack>,
}

/// Something that is read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
enum SourceKey {
    /// A chip's channel that a fault would be seen by: a fan, a rail, an alarm of the supply. Chip and channel.
    Channel(String),
    /// Another temperature. Chip and channel, or thermal zone.
    Temperature(String),
    /// A network port.
    Port(String),
    /// The room of a volume.
    Room(String),
    /// A controller's registers.
    Controller(String),
    /// The health of a drive.
    Health(String),
    /// Something about the board, or what the kernel tells.
    Board(BoardPart),
}

/// Why a source is missing, and since when.
#[derive(Debug, Clone, PartialEq)]
struct Lack {
    since: Moment,
    why: Missing,
    name: String,
}

/// What a look finds of a source: nothing wrong, or what is, and since when at the latest.
struct Found {
    source: SourceKey,
    name: String,
    value: Result<(), (Missing, Moment)>,
}

impl SourceKey {
    /// How long it may be missing.
    fn patience(&self) -> Duration {
        if matches!(self, Self::Health(_)) { LONG_OF_HEALTH } else { LONG }
    }

    /// The chip and its channel, of what belongs to a chip.
    fn split(&self) -> Option<(&str, &str)> {
        match self {
            Self::Channel(key) | Self::Temperature(key) => key.split_once('/'),
            _ => None,
        }
    }

    fn chip(&self) -> Option<&str> {
        self.split().map(|(chip, _)| chip)
    }

    /// The channel without its chip; the whole key where there is none.
    fn channel(&self) -> &str {
        match self {
            Self::Channel(key) | Self::Temperature(key) => self.split().map_or(key, |(_, channel)| channel),
            _ => "",
        }
    }

    /// What is missing with it. A channel, a sensor and a drive are called by their label.
    fn part(&self, label: &str) -> PartName {
        let own = || label.to_owned();
        match self {
            Self::Channel(_) | Self::Temperature(_) => match self.chip() {
                Some(chip) => PartName::Chip { chip: chip.to_owned(), channels: vec![own()] },
                None => PartName::Sensor { label: own() },
            },
            Self::Port(name) => PartName::Port { name: name.clone() },
            Self::Room(mount) => PartName::Space { mount: mount.clone() },
            Self::Controller(key) => PartName::Controller { key: key.clone() },
            Self::Health(_) => PartName::Health { drive: own() },
            Self::Board(part) => PartName::Board(*part),
        }
    }
}

impl Learns<Look<'_>> for Sources {
    /// Takes in what can be read now; what could not be read before is worth keeping.
    fn learn(&mut self, &Look { snapshot, drives, .. }: &Look) -> Learned {
        let before = self.readable.len();
        let found = found(drives, snapshot);
        let listed: BTreeSet<SourceKey> = found.iter().map(|found| found.source.clone()).collect();
        for Found { source, name, value } in found {
            match value {
                Ok(()) => {
                    self.missing.remove(&source);
                    self.readable.insert(source);
                }
                Err((why, since)) if is_a_fault(&why) && self.readable.contains(&source) => {
                    self.lacks(source, Lack { since, why, name });
                }
                Err(_) => drop(self.missing.remove(&source)),
            }
        }
        // Without a list nothing has vanished. A chip that is no longer there takes its fans along; other things come and go.
        if snapshot.blind.is_empty() {
            let may_vanish = |source: &SourceKey| matches!(source, SourceKey::Channel(_));
            self.readable.retain(|source| listed.contains(source) || may_vanish(source));
            self.missing.retain(|source, _| listed.contains(source) || may_vanish(source));
            for source in self.readable.difference(&listed).cloned().collect::<Vec<_>>() {
                let why = Missing::from(WhyMissing::NoLongerListed);
                let name = source.channel().to_owned();
                self.lacks(source, Lack { since: snapshot.taken, why, name });
            }
        }
        Learned::kept(self.readable.len() != before)
    }
}

impl Sources {
    fn lacks(&mut self, source: SourceKey, lack: Lack) {
        let since = self.missing.get(&source).map_or(lack.since, |known| known.since);
        self.missing.insert(source, Lack { since, ..lack });
    }

    /// What has been missing for long: the channels of one chip together, with the span of the first.
    pub fn missing(&self, now: Moment) -> Vec<UnseenPart> {
        let mut parts: Vec<UnseenPart> = Vec::new();
        for (source, lack) in &self.missing {
            let lasted = now.since(lack.since);
            if lasted < source.patience() {
                continue;
            }
            let known = parts.iter_mut().filter(|known| known.why == lack.why);
            match known.filter_map(|known| chip_of(known, source)).next() {
                Some((channels, longest)) => {
                    channels.push(lack.name.clone());
                    *longest = (*longest).max(Some(lasted));
                }
                None => {
                    let part = source.part(&lack.name);
                    parts.push(UnseenPart { part, why: lack.why.clone(), lasted: Some(lasted) });
                }
            }
        }
        parts
    }

    /// The owner agrees with what is there.
    pub fn accept(&mut self) {
        *self = Self::default();
    }
}

/// The channels of the part, and for how long they have been missing, where it is the chip of the source.
fn chip_of<'a>(
    known: &'a mut UnseenPart,
    source: &SourceKey,
) -> Option<(&'a mut Vec<String>, &'a mut Option<Duration>)> {
    match &mut known.part {
        PartName::Chip { chip, channels } if source.chip() == Some(chip) => Some((channels, &mut known.lasted)),
        _ => None,
    }
}

fn is_a_fault(why: &Missing) -> bool {
    matches!(why.reason, Reason::TimedOut | Reason::Refused | Reason::Unreadable)
}

fn found(known: &drives::DriveMemory, snapshot: &Snapshot) -> Vec<Found> {
    fn of<T>(source: SourceKey, name: &str, reading: &Reading<T>) -> Found {
        let value = reading.missing().map_or(Ok(()), |why| Err((why.clone(), reading.taken)));
        Found { source, name: name.to_owned(), value }
    }
    let channel = |key: &String| SourceKey::Channel(key.clone());
    let mut found: Vec<Found> = Vec::new();
    found.extend(snapshot.fans.iter().map(|fan| of(channel(&fan.key), &fan.label, &fan.speed)));
    found.extend(snapshot.rails.iter().map(|rail| of(channel(&rail.key), &rail.label, &rail.value)));
    found.extend(snapshot.undervoltages.iter().map(|alarm| of(channel(&alarm.key), "alarm", &alarm.low)));
    let temperatures = snapshot.temperatures.iter();
    found.extend(temperatures.map(|it| of(SourceKey::Temperature(it.key.clone()), &it.label, &it.value)));
    found.extend(snapshot.links.iter().map(|link| of(SourceKey::Port(link.name.clone()), &link.name, &link.up)));
    let controllers = snapshot.controllers.iter();
    found.extend(controllers.map(|it| of(SourceKey::Controller(it.key.clone()), &it.key, &it.answers)));
    // One that takes too long is told of at once.
    let rooms = snapshot.volumes.iter().filter(|volume| !is_late(&volume.room));
    found.extend(rooms.map(|volume| of(SourceKey::Room(volume.mount.clone()), &volume.mount, &volume.room)));
    found.extend(snapshot.drives.iter().map(|drive| health(known, drive)));
    let of_board = &snapshot.board;
    found.extend(of_board.load.iter().map(|load| of(SourceKey::Board(BoardPart::Load), "", load)));
    found.extend(of_board.out_of_memory.iter().map(|count| of(SourceKey::Board(BoardPart::Memory), "", count)));
    found.extend(of_board.throttling.iter().map(|it| of(SourceKey::Board(BoardPart::Throttling), "", it)));
    found.extend(of_board.system_disk.iter().map(|disk| of(SourceKey::Board(BoardPart::SystemDisk), "", disk)));
    for (part, why) in [
        (BoardPart::KernelMessages, &snapshot.events_unavailable),
        (BoardPart::KernelLog, &snapshot.kernel_log_unreadable),
    ] {
        let value = why.clone().map_or(Ok(()), |why| Err((why, snapshot.taken)));
        found.push(Found { source: SourceKey::Board(part), name: String::new(), value });
    }
    found
}

fn is_late<T>(reading: &Reading<T>) -> bool {
    reading.missing().is_some_and(|why| why.reason == Reason::TimedOut)
}

/// What a drive told last stays, with its age; it is missing when the drive is awake and cannot be asked again.
fn health(known: &drives::DriveMemory, drive: &Drive) -> Found {
    let asleep = Missing::of(Reason::Asleep);
    let why = match drive.health.get() {
        _ if drive.power.get() == Some(&Power::Asleep) => Some(&asleep),
        None => drive.health.missing(),
        Some(health) => health.broke_off.as_ref().or(drive.power.missing()).filter(|why| is_a_fault(why)),
    };
    let label = known.get(&drive.key).map_or_else(|| drive.device.clone(), |known| known.place.label());
    Found {
        source: SourceKey::Health(drive.key.0.clone()),
        name: label,
        value: why.map_or(Ok(()), |why| Err((why.clone(), drive.health.taken))),
    }
}
