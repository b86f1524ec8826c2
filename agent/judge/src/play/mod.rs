//! How faults are played: what a box needs for a fault, and what of it changes when. In reading order: `box_parts`, parts that are
//! pretended; `calm`, the box before; `pretence`, the box at one moment and all that can be changed of it; here [`Play`].
//! Each rule says how its kinds are played.

pub mod box_parts;
mod calm;
mod pretence;

pub use calm::Calm;
pub use pretence::{Pretence, Who};

use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::Snapshot;

/// The pace of what comes before the fault, and of faults that take their time. Longer gaps count as not watched.
pub const SLOW: Duration = Duration::from_secs(60);
/// The pace of faults that are over in minutes, as the probe has it.
const FAST: Duration = Duration::from_secs(2);
/// A drive belongs to the box once it has been there for a minute.
const SETTLING: Duration = Duration::from_secs(180);

/// How a fault is played.
#[derive(Debug, Clone, Copy)]
pub struct Play {
    /// What the box must have for it.
    pub needs: &'static [Need],
    /// How long the box is watched before, in calm.
    pub before: Duration,
    /// How long it is then taken to have been watched besides.
    pub watched: Duration,
    /// How many of the last cold starts the one drive is then taken to have missed.
    pub missed_starts: u32,
    /// What is changed of the box before.
    pub calm: fn(&mut Pretence),
    /// The machine then starts again without having been shut down; what is changed of the last that was seen of it.
    pub last_seen: Option<fn(&mut Pretence)>,
    /// How long it takes until the judge has seen enough.
    pub length: Duration,
    /// From look to look.
    pub pace: Duration,
    /// What is changed of the box, so many seconds after the begin.
    pub change: fn(&mut Pretence, u64),
}

impl Play {
    /// A fault that is seen within minutes.
    pub const fn fast(needs: &'static [Need], seconds: u64, change: fn(&mut Pretence, u64)) -> Self {
        let length = Duration::from_secs(seconds);
        let (before, watched) = (SETTLING, Duration::ZERO);
        let missed_starts = 0;
        Self { needs, before, watched, missed_starts, calm: |_| {}, last_seen: None, length, pace: FAST, change }
    }

    /// A fault that takes its time.
    pub const fn slow(needs: &'static [Need], minutes: u64, change: fn(&mut Pretence, u64)) -> Self {
        Self { pace: SLOW, ..Self::fast(needs, 60 * minutes, change) }
    }

    /// The same after so many minutes of calm, with this change of it.
    pub const fn after(self, minutes: u64, calm: fn(&mut Pretence)) -> Self {
        Self { before: Duration::from_secs(60 * minutes), calm, ..self }
    }

    /// The same after the box was watched for so long.
    pub const fn watched(self, watched: Duration) -> Self {
        Self { watched, ..self }
    }

    /// The same after the machine has started again without having been shut down.
    pub const fn restarted(self, last_seen: fn(&mut Pretence)) -> Self {
        Self { last_seen: Some(last_seen), ..self }
    }
}

/// What a fault needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Drives that tell of their health.
    Health,
    /// Drives that tell their temperatures.
    Temperatures,
    /// Two drives more of the same kind.
    Peers,
    /// The drive is a disk without a limit for its tries.
    Disk,
    /// Links with a speed, and counts of time-outs.
    Attachment,
    /// Both drives on one controller, which works.
    Controller,
    /// The drive behind a USB bridge of its own.
    Bridge,
    /// Both drives, each behind a USB bridge of its own, of one host.
    Bridges,
    /// A pool that has the drive as a member and can do without it.
    Pool,
    /// The same, and its data has a parity rather than copies.
    Parity,
    /// A volume.
    Volume,
    /// A fan that turns.
    Fan,
    /// A network port that is up.
    Link,
    /// A thermometer of the board.
    Board,
    /// A thermometer of the processor.
    Processor,
}

impl Calm {
    /// The box at a moment, with a change.
    pub fn at(&self, now: Moment, change: impl Fn(&mut Pretence)) -> Snapshot {
        let mut pretence = Pretence { settings: &self.settings, snapshot: self.snapshot.clone(), calm: self };
        pretence.snapshot.taken = now;
        change(&mut pretence);
        let mut snapshot = pretence.snapshot;
        refresh(&mut snapshot, now);
        snapshot
    }
}

/// All readings were taken now.
fn refresh(snapshot: &mut Snapshot, now: Moment) {
    for drive in &mut snapshot.drives {
        drive.size.taken = now;
        drive.power.taken = now;
        drive.temperature.taken = now;
        drive.traffic.taken = now;
        drive.attachment.speed.taken = now;
        drive.attachment.timeouts.taken = now;
        drive.attachment.patience.taken = now;
        drive.health.taken = now;
        drive.self_tests.taken = now;
    }
    for pool in &mut snapshot.pools {
        pool.running.taken = now;
        pool.size.taken = now;
    }
    snapshot.volumes.iter_mut().for_each(|volume| volume.room.taken = now);
    snapshot.fans.iter_mut().for_each(|fan| fan.speed.taken = now);
    snapshot.temperatures.iter_mut().for_each(|temperature| temperature.value.taken = now);
    snapshot.rails.iter_mut().for_each(|rail| rail.value.taken = now);
    snapshot.undervoltages.iter_mut().for_each(|alarm| alarm.low.taken = now);
    snapshot.links.iter_mut().for_each(|link| link.up.taken = now);
}
