//! The words of evidence: what was seen of which part, when, and who told it; and what was not measured. Pure.

use super::drives::in_short;
use super::phrases::{Language, Phrases, Places};
use crate::clock::Moment;
use crate::reading::{EventKind, EventSource};
use crate::verdict::{Evidence, Unmeasured};

/// One piece of evidence in a line.
pub fn seen(evidence: &Evidence, clock: &dyn Fn(Moment) -> String, language: Language) -> String {
    let who = evidence.drive.as_ref().map_or_else(|| evidence.part.clone(), |drive| in_short(drive, language));
    let often = match evidence.count > 1 {
        true => language.say("seen.often", &[("n", &evidence.count)]),
        false => String::new(),
    };
    let teller = match evidence.teller {
        EventSource::Log if !evidence.line.is_empty() => language.say("seen.log-line", &[("line", &evidence.line)]),
        EventSource::Log => language.plain("seen.log").to_owned(),
        EventSource::Uevent => language.plain("seen.uevent").to_owned(),
        EventSource::Reading => String::new(),
    };
    let (time, what) = (clock(evidence.at), happened(evidence.what, language));
    let places: Places = &[("time", &time), ("who", &who), ("what", &what), ("often", &often), ("teller", &teller)];
    language.say("seen.line", places)
}

fn happened(what: EventKind, language: Language) -> String {
    let key = match what {
        EventKind::Appeared => "seen.appeared",
        EventKind::Vanished => "seen.vanished",
        EventKind::Woke => "seen.woke",
        EventKind::LostPower => "seen.lost-power",
        EventKind::WorkBegan => "seen.work-began",
        EventKind::Disagrees => "seen.disagrees",
        EventKind::StandsStill => "seen.stands-still",
        EventKind::TransferDamaged => "seen.transfer-damaged",
        EventKind::ConnectionChanged => "seen.connection-changed",
        EventKind::LinkDown(Some(0)) => "seen.link-down-nothing-there",
        EventKind::LinkDown(Some(1)) => "seen.link-down-cannot-connect",
        EventKind::LinkDown(Some(4)) => "seen.link-switched-off",
        EventKind::LinkDown(_) => "seen.link-down",
        EventKind::LinkUp(Some(speed)) => {
            return language.say("seen.link-up-at", &[("speed", &language.figure(speed))]);
        }
        EventKind::LinkUp(None) => "seen.link-up",
        EventKind::LinkSlowed => "seen.link-slowed",
        EventKind::TimedOut => "seen.timed-out",
        EventKind::Reset => "seen.reset",
        EventKind::SlowToRespond => "seen.slow-to-respond",
        EventKind::Unreadable => "seen.unreadable",
        EventKind::CommandFailed => "seen.command-failed",
        EventKind::GivenUp => "seen.given-up",
        EventKind::AllOnes => "seen.all-ones",
        EventKind::NotStarted(errno) => return language.say("seen.not-started", &[("errno", &errno)]),
        EventKind::BusErrorCorrected => "seen.bus-error-corrected",
        EventKind::BusError => "seen.bus-error",
        EventKind::StaggeredStart => "seen.staggered-start",
        EventKind::MemberFailed => "seen.member-failed",
        EventKind::ReadCorrected => "seen.read-corrected",
        EventKind::NotAssembled => "seen.not-assembled",
        EventKind::NotClean => "seen.not-clean",
        EventKind::Suspended => "seen.suspended",
        EventKind::FileSystemError => "seen.file-system-error",
        EventKind::StoppedWriting => "seen.stopped-writing",
        EventKind::NoPoolMetadata => "seen.no-metadata-room",
        EventKind::OverCurrent => "seen.over-current",
        EventKind::UndervoltageBegan => "seen.undervoltage-began",
        EventKind::UndervoltageEnded => "seen.undervoltage-ended",
        EventKind::TaskHung => "seen.task-hung",
        EventKind::OutOfMemory => "seen.out-of-memory",
        EventKind::Downshifted => "seen.downshifted",
        EventKind::TransmitStuck => "seen.transmit-stuck",
        EventKind::BusStuck => "seen.bus-stuck",
        EventKind::LinesLost(lines) => return language.say("seen.lines-lost", &[("lines", &lines)]),
    };
    language.plain(key).to_owned()
}

/// What was not measured, in words.
pub fn unmeasured(what: Unmeasured, language: Language) -> &'static str {
    language.plain(match what {
        Unmeasured::TwelveVolts => "unmeasured.twelve-volts",
        Unmeasured::ControllerTemperature => "unmeasured.controller-temperature",
        Unmeasured::PowerCycles => "unmeasured.power-cycles",
        Unmeasured::FanSpeed => "unmeasured.fan-speed",
        Unmeasured::RoomTemperature => "unmeasured.room-temperature",
        Unmeasured::KernelLog => "unmeasured.kernel-log",
        Unmeasured::BusErrors => "unmeasured.bus-errors",
    })
}
