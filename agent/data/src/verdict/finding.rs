//! The facts of a condition, typed by kind, without a word for people. A kind of condition is declared here: its variant
//! gives it the name that it keeps for good in logs, documents and the store.

use super::fact::facts_of;
use super::{
    AgentFault, BoxFault, ControllerFault, ControllerName, Down, Estimate, LinkFault, MemberFault, Outlook, Place,
    PoolErrors, ReadRisk, SaysFailing, Scarce, SpaceLimit, WeakFan,
};
use crate::reading::{ActivityKind, MemberRole, Nominal, Writing};
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent, Rpm, Volts};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use strum::{EnumDiscriminants, EnumProperty, IntoStaticStr, VariantArray};

facts_of! {
    /// The facts of a condition, by kind. The order of the kinds is the order of what is told of equal severity.
    #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, EnumDiscriminants)]
    #[strum_discriminants(name(Kind), doc = "The kinds of condition.")]
    #[strum_discriminants(derive(PartialOrd, Ord, Hash, Serialize, Deserialize))]
    #[strum_discriminants(derive(IntoStaticStr, EnumProperty, VariantArray))]
    #[strum_discriminants(serde(rename_all = "kebab-case"), strum(serialize_all = "kebab-case"))]
    pub enum Finding {
        /// An expected drive is not there.
        #[strum_discriminants(strum(props(journal = "db333e3b9c8d4f45aba69ee0445f7c03")))]
        DriveGone {
            drive: Place,
            /// The pool that needs it, if one does.
            pool: Option<String>,
            /// Labels of the drives that the pool cannot lose as well; empty when it could lose another.
            leave_in: Vec<String>,
        },
        /// A drive is warmer than it should be, or soon will be.
        #[strum_discriminants(strum(props(journal = "8f603cc2237f40b093dda96d74ff6a3d")))]
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
        #[strum_discriminants(strum(props(journal = "aee74212afa042dbb6232cb07f738f1d")))]
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
            /// A member is being filled.
            rebuilding: bool,
        },
        /// A pool does not serve its data.
        #[strum_discriminants(strum(props(journal = "13f89b1c5c044dbca02e240293f780c5")))]
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
        #[strum_discriminants(strum(props(journal = "c121e438e94845d1b45a74d294c39976")))]
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
        #[strum_discriminants(strum(props(journal = "8fe823225b4c4ef8b9ec36a6308f551b")))]
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
        #[strum_discriminants(strum(props(journal = "5f486683cf2b413eaaf01757ff12937b")))]
        FanStopped {
            fan: String,
            speed: Option<Rpm>,
            /// True when the chip's own fault line says so.
            by_fault_line: bool,
            /// True when drives are too warm as well.
            with_heat: bool,
        },
        /// A network port is down, slow or unsteady.
        #[strum_discriminants(strum(props(journal = "f4688e895e8c4ccfa757f475145925de")))]
        LinkTrouble { link: String, what: LinkFault },
        /// A drive predicts that it will fail, or failed its own test.
        #[strum_discriminants(strum(props(journal = "c16110e3c0f24d00b9d9ef74b2d1c756")))]
        DriveSaysFailing { drive: Place, how: SaysFailing },
        /// A drive has sectors that it cannot read.
        #[strum_discriminants(strum(props(journal = "88d1c6df9043429699b455da61dc75ea")))]
        PendingOrUncorrectable {
            drive: Place,
            /// How many it cannot read now.
            total: i64,
            /// How many more it has lost for good within a span of watching.
            grown: i64,
            within: Duration,
        },
        /// A drive reallocates more and more bad sectors.
        #[strum_discriminants(strum(props(journal = "17740951e6574a66a3de18d5c9622617")))]
        ReallocatedGrowth { drive: Place, total: i64, grown: i64, within: Duration },
        /// Transfers to a drive are damaged on their way.
        #[strum_discriminants(strum(props(journal = "54af0e8e0ced44cea1dd9d46b24c6f7c")))]
        SataCrcGrowth { drive: Place, total: i64, grown: i64, within: Duration },
        /// A drive lost its power while the board did not.
        #[strum_discriminants(strum(props(journal = "1948675b5a584a2aac366f96dee480a5")))]
        DriveLostPower {
            drive: Place,
            /// How often it has started.
            total: i64,
            grown: i64,
            within: Duration,
        },
        /// A flash drive nears the end of its writes.
        #[strum_discriminants(strum(props(journal = "947323bffcb24961934e8e7bbbee545a")))]
        SsdWorn {
            drive: Place,
            /// How much of its life is used, by its maker's reckoning; may pass 100.
            used: Percent,
        },
        /// A drive has work and finishes none.
        #[strum_discriminants(strum(props(journal = "79d2011cf56449f6b0bdbd76c0bd4de3")))]
        DriveNotAnswering { drive: Place, stalled: Duration },
        /// A drive comes and goes.
        #[strum_discriminants(strum(props(journal = "0266486e5179430b92f026a380ee4e04")))]
        DriveFlapping { drive: Place, losses: u32, within: Duration },
        /// A drive is warmer than the others of its kind.
        #[strum_discriminants(strum(props(journal = "932bd6ddcd064a72a9316c8ace89a683")))]
        DriveHotterThanPeers {
            drive: Place,
            now: Celsius,
            /// The middle of the others.
            median: Celsius,
        },
        /// Several drives get warm together, and fast.
        #[strum_discriminants(strum(props(journal = "6756f76e007a44148fe390cb44b5d5bd")))]
        DrivesHeatingTogether {
            drives: Vec<Place>,
            /// The least rise among them, in degrees within the span.
            rise: f64,
            within: Duration,
        },
        /// A drive is too cold.
        #[strum_discriminants(strum(props(journal = "5ec022391be54d6db83a573dfa0d29b5")))]
        DriveCold { drive: Place, now: Celsius, limit: Celsius },
        /// A drive that reported its temperature reports it no more.
        #[strum_discriminants(strum(props(journal = "5ff1db42842e43608aa0da002a8477f3")))]
        TemperatureLost {
            drive: Place,
            why: String,
            /// True when no drive reports it any more.
            all: bool,
        },
        /// The SATA link of a drive is slower than it was.
        #[strum_discriminants(strum(props(journal = "5720af05711d4fc4a218920ceef54e7b")))]
        SataSlow {
            drive: Place,
            now: MegabitsPerSecond,
            /// The best that it had on this port.
            best: MegabitsPerSecond,
        },
        /// Commands to a drive timed out.
        #[strum_discriminants(strum(props(journal = "80fc777921624a73b65a356df67d2b3d")))]
        DriveTimeouts { drive: Place, total: i64, grown: i64, within: Duration },
        /// A disk of a pool may try for longer than the kernel waits.
        #[strum_discriminants(strum(props(journal = "2c63483f5b614ddfa059e2f4e26352f6")))]
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
        #[strum_discriminants(strum(props(journal = "12b505e81cdb499bba477d6f841d84ab")))]
        DriveNewOrMoved {
            /// Where it is now.
            drive: Place,
            /// The port where it was; `None` for a new one.
            from: Option<String>,
        },
        /// A drive is there again, and its pool goes on without it.
        #[strum_discriminants(strum(props(journal = "1cd3cfd8f7d244ca9ffcc35282da7c9e")))]
        DriveBackNotUsed { drive: Place, pool: String },
        /// Work on a pool's redundancy does not get on.
        #[strum_discriminants(strum(props(journal = "f989e04d451b402282217fa5c1269e28")))]
        RebuildStalled {
            pool: String,
            activity: ActivityKind,
            done: Option<Percent>,
            /// How long it has stood still, or been slower than the least.
            stood: Duration,
            least: BytesPerSecond,
        },
        /// A comparison found places that do not agree.
        #[strum_discriminants(strum(props(journal = "e4c8cd4214f84c1580417031dfe91d72")))]
        Mismatches {
            pool: String,
            /// Its layout.
            level: String,
            /// How many do not agree.
            bytes: Bytes,
        },
        /// A pool was not compared for too long.
        #[strum_discriminants(strum(props(journal = "cc00e630516f423db00dc4bfa4e3780b")))]
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
        #[strum_discriminants(strum(props(journal = "e43de08f2837494f9d08304845f54285")))]
        MemberErrors { pool: String, what: PoolErrors },
        /// A pool has a device that it cannot use or does not trust, and lacks no data for it.
        #[strum_discriminants(strum(props(journal = "4bd69f57ae664c9d825abc918dc20e9b")))]
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
        #[strum_discriminants(strum(props(journal = "4692c26dd9e243759e342e3a7b8681bf")))]
        UsbSlow {
            drive: Place,
            now: MegabitsPerSecond,
            /// The best that it had on this USB controller.
            best: MegabitsPerSecond,
            /// For how long at least.
            held: Duration,
        },
        /// A drive keeps missing when the box is switched on.
        #[strum_discriminants(strum(props(journal = "8e4c3f93264c429097944ae1f4f8f141")))]
        DriveMissingAtStart {
            drive: Place,
            /// In how many of the last cold starts it was missing.
            missing: u32,
            /// How many those were.
            of: u32,
        },
        /// A volume that should be written to cannot be.
        #[strum_discriminants(strum(props(journal = "ef5a2c01e08f4567bed53deda8a40330")))]
        VolumeReadonly { mount: String, writing: Writing },
        /// A volume that should be mounted is not.
        #[strum_discriminants(strum(props(journal = "1c800cb4d3114a4ebfd05501c7da3322")))]
        VolumeAbsent {
            mount: String,
            /// What should be mounted there.
            source: String,
        },
        /// A file system has written down errors in itself.
        #[strum_discriminants(strum(props(journal = "0db7f8112cf54e789d1b033db87339b7")))]
        VolumeErrors { mount: String, count: u64 },
        /// A volume runs out of files or of metadata space.
        #[strum_discriminants(strum(props(journal = "eaebf9b7b69a46daafc4bd93be40f60c")))]
        InodesOrMetadataLow { what: Scarce },
        /// A fan turns more slowly than it did, or may have stopped.
        #[strum_discriminants(strum(props(journal = "7ad9a4ba769a46a4947c25429f0cf016")))]
        FanWeak { what: WeakFan },
        /// The processor is too hot, or slows itself down.
        #[strum_discriminants(strum(props(journal = "c2095be2876b8c89964182670bac8917")))]
        CpuHotThrottled {
            /// `None` without a sensor.
            now: Option<Celsius>,
            /// The limit that was passed, or the next.
            limit: Celsius,
            /// True when it slows itself down.
            slowed: bool,
        },
        /// The board's own supply is or was too low.
        #[strum_discriminants(strum(props(journal = "da181780ad3b40aa951d4b560258cea3")))]
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
        #[strum_discriminants(strum(props(journal = "6f11b289111b653c7e9ae50823d51039")))]
        RailOutOfRange {
            nominal: Nominal,
            now: Volts,
            /// The least that it may be.
            low: Volts,
            /// The most.
            high: Volts,
        },
        /// What drives are plugged into is gone, does not work, or works badly.
        #[strum_discriminants(strum(props(journal = "cb342240b8912ed190d253709c552bd1")))]
        ControllerTrouble {
            controller: ControllerName,
            /// The drives that are or were behind it.
            drives: Vec<Place>,
            what: ControllerFault,
        },
        /// Something about the program itself.
        #[strum_discriminants(strum(props(journal = "0466998ec6d5bc72e3c4b6dda0624889")))]
        AgentAndAlerts { what: AgentFault },
        /// The box restarted by itself, ran out of memory, or its own disk suffers.
        #[strum_discriminants(strum(props(journal = "9225721a7669f578532a45a12a321ec4")))]
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

    /// The identifier of its log lines in the systemd journal, made once at random. It never changes.
    pub fn message_id(self) -> &'static str {
        self.get_str("journal").unwrap_or_default()
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
