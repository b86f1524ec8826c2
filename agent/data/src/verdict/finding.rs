//! The facts of a condition, typed by kind, without a word for people.

use super::{
    AgentFault, BoxFault, ControllerFault, ControllerName, Counted, Down, Estimate, LinkFault, MemberFault, Outlook,
    Place, ReadRisk, SaysFailing, SpaceLimit,
};
use crate::reading::{ActivityKind, MemberErrorKind, MemberRole, Nominal, Writing};
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent, Rpm, Volts};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// The facts of a condition, by kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Finding {
    /// An expected drive is not there.
    DriveGone {
        /// Which.
        drive: Place,
        /// The pool that needs it, if one does.
        pool: Option<String>,
        /// Labels of the drives that the pool cannot lose as well; empty when it could lose another.
        leave_in: Vec<String>,
    },
    /// A drive is warmer than it should be, or soon will be.
    DriveHot {
        /// Which.
        drive: Place,
        /// How warm.
        now: Celsius,
        /// The limit that was passed, or will be.
        limit: Celsius,
        /// True when the limit comes from the drive itself.
        own_limit: bool,
        /// The coolest and warmest of the other drives of its kind, if there are any.
        others: Option<(Celsius, Celsius)>,
        /// True when it is so much warmer than all of them that it is about its tray.
        is_alone: bool,
        /// Where it is heading and how long until its next limit, as far as its readings say.
        outlook: Option<Outlook>,
    },
    /// A pool has lost members.
    PoolDegraded {
        /// The pool's name.
        pool: String,
        /// Its layout.
        level: String,
        /// How many members are missing.
        missing: u32,
        /// How many a whole pool has.
        of: u32,
        /// How many more it can lose for certain.
        spare: u32,
        /// Where the missing members are or were, as far as known.
        lost: Vec<Place>,
        /// Those among them that were taken offline by the owner: nothing is wrong with their drives.
        offline: Vec<Place>,
        /// Labels of the drives that must stay in.
        leave_in: Vec<String>,
        /// A member is being filled.
        rebuilding: bool,
    },
    /// A pool does not serve its data.
    PoolDown {
        /// The pool's name.
        pool: String,
        /// Why.
        why: Down,
        /// How many of its members are there.
        present: u32,
        /// How many a whole pool has; 0 when the kernel does not say.
        of: u32,
        /// Where those of its drives are or were that are not there, as far as known.
        lost: Vec<Place>,
    },
    /// A pool rebuilds, checks or changes.
    PoolBusy {
        /// The pool's name.
        pool: String,
        /// With what.
        activity: ActivityKind,
        /// How far.
        done: Option<Percent>,
        /// How long it will still take.
        left: Option<Estimate>,
        /// What it risks, while a member is being filled.
        risk: Option<ReadRisk>,
    },
    /// A volume is nearly full.
    SpaceLow {
        /// Where it is mounted.
        mount: String,
        /// Room left.
        free: Bytes,
        /// Room in all.
        size: Bytes,
        /// The same as a share.
        share: Percent,
        /// The limits of room that were passed, if any were.
        limit: Option<SpaceLimit>,
        /// When it will be full, if its history says so.
        full_in: Option<Estimate>,
        /// A volume that will be full within this time is nearly full, too.
        soon: Duration,
    },
    /// A fan that should turn does not.
    FanStopped {
        /// What the driver calls it.
        fan: String,
        /// What the tachometer says.
        speed: Option<Rpm>,
        /// True when the chip's own fault line says so.
        by_fault_line: bool,
        /// True when drives are too warm as well.
        with_heat: bool,
    },
    /// A network port is down, slow or unsteady.
    LinkTrouble {
        /// The port.
        link: String,
        /// What is wrong.
        what: LinkFault,
    },
    /// A drive predicts that it will fail, or failed its own test.
    DriveSaysFailing {
        /// Which.
        drive: Place,
        /// How it says so.
        how: SaysFailing,
    },
    /// A counter of a drive grew, or stands where it should not.
    Counted {
        /// Which.
        drive: Place,
        /// What was counted.
        what: Counted,
        /// What it says now.
        total: i64,
        /// How much it grew, and within which span of watched time.
        grown: i64,
        /// The span.
        within: Duration,
    },
    /// A flash drive nears the end of its writes.
    SsdWorn {
        /// Which.
        drive: Place,
        /// How much of its life is used, by its maker's reckoning; may pass 100.
        used: Percent,
    },
    /// A drive has work and finishes none.
    DriveNotAnswering {
        /// Which.
        drive: Place,
        /// For how long.
        stalled: Duration,
    },
    /// A drive comes and goes.
    DriveFlapping {
        /// Which.
        drive: Place,
        /// How often it was lost.
        losses: u32,
        /// Within which span.
        within: Duration,
    },
    /// A drive is warmer than the others of its kind.
    DriveHotterThanPeers {
        /// Which.
        drive: Place,
        /// How warm.
        now: Celsius,
        /// The middle of the others.
        median: Celsius,
    },
    /// Several drives get warm together, and fast.
    DrivesHeatingTogether {
        /// Which.
        drives: Vec<Place>,
        /// The least rise among them, in degrees.
        rise: f64,
        /// The time within which they rose.
        within: Duration,
    },
    /// A drive is too cold.
    DriveCold {
        /// Which.
        drive: Place,
        /// How cold.
        now: Celsius,
        /// The least that it should be.
        limit: Celsius,
    },
    /// A drive that told its temperature tells it no more.
    TemperatureLost {
        /// Which.
        drive: Place,
        /// Why.
        why: String,
        /// True when no drive tells it any more.
        all: bool,
    },
    /// The SATA link of a drive is slower than it was.
    SataSlow {
        /// Which.
        drive: Place,
        /// Its speed now.
        now: MegabitsPerSecond,
        /// The best that it had on this port.
        best: MegabitsPerSecond,
    },
    /// The USB link of a drive is slower than it was.
    UsbSlow {
        /// Which.
        drive: Place,
        /// Its speed now.
        now: MegabitsPerSecond,
        /// The best that it had on this USB controller.
        best: MegabitsPerSecond,
        /// For how long it has been slower, at least.
        held: Duration,
    },
    /// A drive keeps missing when the box is switched on.
    MissingAtStart {
        /// Which.
        drive: Place,
        /// In how many of the last cold starts it was missing.
        missing: u32,
        /// How many those were.
        of: u32,
    },
    /// A disk of a pool may try for longer than the kernel waits.
    RecoveryTimeMismatch {
        /// Which.
        drive: Place,
        /// The kernel's name for it now.
        device: String,
        /// How long it tries at most; `None` when it has no limit.
        tries: Option<Duration>,
        /// How long the kernel waits.
        patience: Duration,
        /// How long the kernel must wait for a disk that has no limit.
        enough: Duration,
    },
    /// A drive is new to the box, or sits elsewhere than it did.
    DriveNewOrMoved {
        /// Which, and where it is now.
        drive: Place,
        /// The port where it was; `None` for a new one.
        from: Option<String>,
    },
    /// A drive is there again, and its pool goes on without it.
    DriveBackNotUsed {
        /// Which.
        drive: Place,
        /// The pool.
        pool: String,
    },
    /// Work on a pool's redundancy does not get on.
    RebuildStalled {
        /// The pool.
        pool: String,
        /// The work.
        activity: ActivityKind,
        /// How far it is.
        done: Option<Percent>,
        /// How long it has stood still, or crept.
        stood: Duration,
        /// Slower than this is no progress.
        least: BytesPerSecond,
    },
    /// A comparison found places that do not agree.
    Mismatches {
        /// The pool.
        pool: String,
        /// Its layout.
        level: String,
        /// How many bytes do not agree.
        bytes: Bytes,
    },
    /// A pool was not compared for too long.
    CheckOverdue {
        /// The pool.
        pool: String,
        /// For how long of watching; since the box is watched, if never.
        since: Duration,
        /// True when no comparison was ever seen.
        never: bool,
        /// How often there should be one.
        every: Duration,
    },
    /// A pool counts more errors on a member.
    MemberErrors {
        /// The pool.
        pool: String,
        /// The member's drive.
        drive: Place,
        /// What went wrong.
        kind: MemberErrorKind,
        /// How often lately.
        grown: i64,
        /// Within which span.
        within: Duration,
    },
    /// A pool has a device that it cannot use, or does not trust, and lacks no data for it.
    MemberFaulty {
        /// The pool.
        pool: String,
        /// The device's drive, where it is known.
        drive: Option<Place>,
        /// The device, as its pool calls it.
        device: String,
        /// What it is for.
        role: MemberRole,
        /// What is wrong with it.
        how: MemberFault,
    },
    /// A pool has lost data for good.
    DataLost {
        /// The pool.
        pool: String,
        /// How many pieces.
        pieces: u64,
    },
    /// A volume that should be written to cannot be.
    VolumeReadonly {
        /// Where it is mounted.
        mount: String,
        /// How it stands.
        writing: Writing,
    },
    /// A volume that should be mounted is not.
    VolumeAbsent {
        /// Where it should be.
        mount: String,
        /// What should be mounted there.
        source: String,
    },
    /// A file system has written down errors in itself.
    VolumeErrors {
        /// Where it is mounted.
        mount: String,
        /// How many.
        count: u64,
    },
    /// A volume can hold hardly any more files.
    FilesLow {
        /// Where it is mounted.
        mount: String,
        /// How many more it can hold.
        free: u64,
        /// The share that is used.
        used: Percent,
    },
    /// A pool runs out of room for metadata, however much data room is left.
    MetadataLow {
        /// The pool.
        pool: String,
        /// What is not allocated yet.
        unallocated: Bytes,
        /// The share of its metadata room that is used.
        used: Percent,
    },
    /// A fan turns more slowly than it did at this drive level.
    FanWeak {
        /// What the driver calls it.
        fan: String,
        /// What the tachometer says.
        speed: Rpm,
        /// The speed that it used to hold at this level.
        usual: Rpm,
        /// The level, 0 to 1.
        duty: f64,
    },
    /// Drives are warmer than they ever held under this load, and still rise: without a tachometer, the fan is suspected.
    AirflowSuspected {
        /// The drives that rise.
        drives: Vec<Place>,
        /// How many degrees the middle one is above the warmest that it ever held.
        above: f64,
    },
    /// The processor is too hot, or slows itself down.
    ProcessorHot {
        /// How hot, where a sensor says so.
        now: Option<Celsius>,
        /// The limit that was passed, or the next.
        limit: Celsius,
        /// True when it slows itself down.
        slowed: bool,
    },
    /// The board's own supply is or was too low.
    Undervoltage {
        /// True while it is.
        is_low: bool,
        /// How often lately.
        dips: u32,
        /// The longest of those.
        longest: Duration,
        /// Within which time those were.
        within: Duration,
        /// How often within a day of watching.
        in_a_day: u64,
    },
    /// A measured rail is out of its range.
    RailOutOfRange {
        /// Which.
        nominal: Nominal,
        /// What it measures.
        now: Volts,
        /// The least that it may be.
        low: Volts,
        /// The most.
        high: Volts,
    },
    /// What drives are plugged into does not work as it did.
    ControllerTrouble {
        /// Which.
        controller: ControllerName,
        /// The drives that are or were behind it.
        drives: Vec<Place>,
        /// What is wrong.
        what: ControllerFault,
    },
    /// Something about the program itself.
    AgentTrouble {
        /// What.
        what: AgentFault,
    },
    /// Something about the box itself.
    BoxTrouble {
        /// What.
        what: BoxFault,
    },
}
