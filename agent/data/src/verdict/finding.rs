//! The facts of a condition, typed by kind, without a word for people. A kind of condition is declared here: its variant
//! gives it the name that it keeps for good in logs, documents and the store.

use super::details::{
    AgentFault, BoxFault, ControllerFault, Down, LinkFault, MemberFault, PoolErrors, ReadRisk, Scarce, SpaceLimit,
    WeakFan,
};
use super::estimate::Estimate;
use super::fact::facts_of;
use super::outlook::Outlook;
use super::place::{ControllerName, Place};
use super::self_test::HealthFailure;
use crate::reading::{ActivityKind, MemberRole, Missing, Nominal, Writing};
use crate::units::{Bytes, BytesPerSecond, Celsius, CelsiusDifference, MegabitsPerSecond, Percent, Rpm, Volts};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use strum::{EnumDiscriminants, IntoStaticStr, VariantArray};

facts_of! {
    /// The facts of a condition, by kind. The order of the kinds is the order of what is told of equal severity.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, EnumDiscriminants)]
    #[strum_discriminants(name(Kind), doc = "The kinds of condition.")]
    #[strum_discriminants(derive(PartialOrd, Ord, Hash, Serialize, Deserialize))]
    #[strum_discriminants(derive(IntoStaticStr, VariantArray))]
    #[strum_discriminants(serde(rename_all = "kebab-case"), strum(serialize_all = "kebab-case"))]
    pub enum Finding {
        /// An expected drive is not there.
        DriveGone {
            drive: Place,
            /// The pool that needs it, if one does.
            pool: Option<String>,
            /// Labels of the drives that the pool cannot lose as well; empty when it could lose another.
            leave_in: Vec<String>,
        },
        /// A drive is warmer than it should be, or soon will be.
        DriveHot {
            drive: Place,
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
            /// A member is being rebuilt.
            rebuilding: bool,
        },
        /// A pool does not serve its data.
        PoolDown {
            pool: String,
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
            pool: String,
            activity: ActivityKind,
            done: Option<Percent>,
            /// How long it will still take.
            left: Option<Estimate>,
            /// What it risks, while a member is being filled.
            risk: Option<ReadRisk>,
        },
        /// A volume is nearly full.
        SpaceLow {
            mount: String,
            free: Bytes,
            size: Bytes,
            /// What is free, as a share.
            share: Percent,
            /// The limits of space that were passed, if any were.
            limit: Option<SpaceLimit>,
            /// When it will be full, if its history says so.
            full_in: Option<Estimate>,
            /// A volume that will be full within this time is nearly full, too.
            soon: Duration,
        },
        /// A fan that should turn does not.
        FanStopped {
            fan: String,
            /// True when the chip's own fault line says so.
            by_fault_line: bool,
            speed: Option<Rpm>,
            /// True when drives are too warm as well.
            with_heat: bool,
        },
        /// A network port is down, slow or unsteady.
        LinkTrouble { link: String, what: LinkFault },
        /// A drive predicts that it will fail, or failed its own test.
        DriveHealthFailed { drive: Place, how: HealthFailure },
        /// A drive has sectors that it cannot read.
        PendingOrUncorrectable {
            drive: Place,
            /// How many it cannot read now.
            total: i64,
            /// How many more it has lost for good within a span of watching.
            grown: i64,
            within: Duration,
        },
        /// A drive reallocates more and more bad sectors.
        ReallocatedGrowth { drive: Place, total: i64, grown: i64, within: Duration },
        /// Transfers to a drive are damaged on their way.
        SataCrcGrowth { drive: Place, total: i64, grown: i64, within: Duration },
        /// A drive lost its power while the board did not.
        DriveLostPower {
            drive: Place,
            /// How often it has started.
            total: i64,
            grown: i64,
            within: Duration,
        },
        /// A flash drive nears the end of its writes.
        SsdWorn {
            drive: Place,
            /// How much of its life is used, by its maker's reckoning; may pass 100.
            used: Percent,
        },
        /// A drive has work and finishes none.
        DriveNotAnswering { drive: Place, stalled: Duration },
        /// A drive comes and goes.
        DriveFlapping { drive: Place, losses: u32, within: Duration },
        /// A drive is warmer than the others of its kind.
        DriveHotterThanPeers {
            drive: Place,
            now: Celsius,
            /// The middle of the others.
            median: Celsius,
        },
        /// Several drives get warm together, and fast.
        DrivesHeatingTogether {
            drives: Vec<Place>,
            /// The least rise among them within the span.
            rise: CelsiusDifference,
            within: Duration,
        },
        /// A drive is too cold.
        DriveCold { drive: Place, now: Celsius, limit: Celsius },
        /// A drive that reported its temperature reports it no more.
        TemperatureLost {
            drive: Place,
            why: Missing,
            /// True when no drive reports it any more.
            all: bool,
        },
        /// The SATA link of a drive is slower than it was.
        SataSlow {
            drive: Place,
            now: MegabitsPerSecond,
            /// The best that it had on this port.
            best: MegabitsPerSecond,
        },
        /// Commands to a drive timed out.
        DriveTimeouts { drive: Place, total: i64, grown: i64, within: Duration },
        /// A disk of a pool may try for longer than the kernel waits.
        RecoveryTimeMismatch {
            drive: Place,
            device: String,
            /// How long it tries at most; `None` when it has no limit.
            tries: Option<Duration>,
            /// How long the kernel waits.
            patience: Duration,
            /// How long it must wait for a disk that has no limit.
            enough: Duration,
        },
        /// A drive is new to the box, or sits elsewhere than it did.
        DriveNewOrMoved {
            /// Where it is now.
            drive: Place,
            /// The port where it was; `None` for a new one.
            from: Option<String>,
        },
        /// A drive is there again, and its pool goes on without it.
        DriveBackNotUsed { drive: Place, pool: String },
        /// Work on a pool's redundancy does not get on.
        RebuildStalled {
            pool: String,
            activity: ActivityKind,
            done: Option<Percent>,
            /// How long it has stood still, or been slower than the least.
            stood: Duration,
            least: BytesPerSecond,
        },
        /// A comparison found places that do not agree.
        Mismatches {
            pool: String,
            /// Its layout.
            level: String,
            /// How many do not agree.
            bytes: Bytes,
        },
        /// A pool was not compared for too long.
        CheckOverdue {
            pool: String,
            /// For how long of watching; since the box is watched, if never.
            since: Duration,
            /// True when no comparison was ever seen.
            never: bool,
            /// How often it should be.
            every: Duration,
        },
        /// A pool counts more errors on a member, or has lost data.
        MemberErrors { pool: String, what: PoolErrors },
        /// A pool has a device that it cannot use or does not trust, and lacks no data for it.
        MemberFaulty {
            pool: String,
            /// The device's drive, where it is known.
            drive: Option<Place>,
            /// The device, as its pool calls it.
            device: String,
            how: MemberFault,
            role: MemberRole,
        },
        /// The USB link of a drive is slower than it was.
        UsbSlow {
            drive: Place,
            now: MegabitsPerSecond,
            /// The best that it had on this USB controller.
            best: MegabitsPerSecond,
            /// For how long at least.
            held: Duration,
        },
        /// A drive keeps missing when the box is switched on.
        DriveMissingAtStart {
            drive: Place,
            /// In how many of the last cold starts it was missing.
            missing: u32,
            /// How many those were.
            of: u32,
        },
        /// A volume that should be written to cannot be.
        VolumeReadonly { mount: String, writing: Writing },
        /// A volume that should be mounted is not.
        VolumeAbsent {
            mount: String,
            /// The device that should be mounted there.
            source: String,
        },
        /// A file system has written down errors in itself.
        VolumeErrors { mount: String, count: u64 },
        /// A volume runs out of files or of metadata space.
        InodesOrMetadataLow { what: Scarce },
        /// A fan turns more slowly than it did, or may have stopped.
        FanWeak { what: WeakFan },
        /// The processor is too hot, or slows itself down.
        CpuHotThrottled {
            /// `None` without a sensor.
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
            /// How often within the span.
            dips: u32,
            longest: Duration,
            within: Duration,
            /// How often within a day of watching.
            in_a_day: u64,
        },
        /// A measured rail of the supply is too low or too high.
        RailOutOfRange {
            nominal: Nominal,
            now: Volts,
            /// The least that it may be.
            low: Volts,
            /// The most.
            high: Volts,
        },
        /// What drives are plugged into is gone, does not work, or works badly.
        ControllerTrouble {
            controller: ControllerName,
            /// The drives that are or were behind it.
            drives: Vec<Place>,
            what: ControllerFault,
        },
        /// Something about the program itself.
        AgentAndAlerts { what: AgentFault },
        /// The box restarted by itself, ran out of memory, or its own disk suffers.
        BoxStorageAndRestart { what: BoxFault },
    }
}

impl Kind {
    /// All kinds.
    pub const ALL: &[Self] = Self::VARIANTS;

    /// The kind's name in logs and documents. It never changes.
    pub fn id(self) -> &'static str {
        self.into()
    }
}

impl Finding {
    /// The kind of condition these facts belong to.
    pub fn kind(&self) -> Kind {
        self.into()
    }

    /// The drive that these facts are about, if they are about one.
    pub fn drive(&self) -> Option<&Place> {
        super::fact::drive(self.facts())
    }
}
