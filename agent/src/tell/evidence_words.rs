//! The words of evidence: what was seen of which part, when, and who told it; and what was not measured. Pure.

use super::tongue::{Places, Tongue};
use super::wording::pointed_at;
use crate::clock::Moment;
use crate::reading::{Happening, Teller};
use crate::verdict::{Evidence, Unmeasured};

/// One piece of evidence in a line.
pub fn seen(evidence: &Evidence, clock: &dyn Fn(Moment) -> String, tongue: Tongue) -> String {
    let who = evidence.drive.as_ref().map_or_else(|| evidence.part.clone(), |drive| pointed_at(drive, tongue));
    let often = match evidence.count > 1 {
        true => tongue.say("seen.often", &[("n", &evidence.count)]),
        false => String::new(),
    };
    let teller = match evidence.teller {
        Teller::Log if !evidence.line.is_empty() => tongue.say("seen.log-line", &[("line", &evidence.line)]),
        Teller::Log => tongue.plain("seen.log").to_owned(),
        Teller::Uevent => tongue.plain("seen.uevent").to_owned(),
        Teller::Reading => String::new(),
    };
    let (time, what) = (clock(evidence.at), happened(evidence.what, tongue));
    let places: Places = &[("time", &time), ("who", &who), ("what", &what), ("often", &often), ("teller", &teller)];
    tongue.say("seen.line", places)
}

fn happened(what: Happening, tongue: Tongue) -> String {
    let key = match what {
        Happening::Appeared => "seen.appeared",
        Happening::Vanished => "seen.vanished",
        Happening::Woke => "seen.woke",
        Happening::LostPower => "seen.lost-power",
        Happening::WorkBegan => "seen.work-began",
        Happening::Disagrees => "seen.disagrees",
        Happening::StandsStill => "seen.stands-still",
        Happening::TransferDamaged => "seen.transfer-damaged",
        Happening::ConnectionChanged => "seen.connection-changed",
        Happening::LinkDown(Some(0)) => "seen.link-down-nothing-there",
        Happening::LinkDown(Some(1)) => "seen.link-down-cannot-connect",
        Happening::LinkDown(Some(4)) => "seen.link-switched-off",
        Happening::LinkDown(_) => "seen.link-down",
        Happening::LinkUp(Some(speed)) => {
            return tongue.say("seen.link-up-at", &[("speed", &tongue.figure(speed))]);
        }
        Happening::LinkUp(None) => "seen.link-up",
        Happening::LinkSlowed => "seen.link-slowed",
        Happening::TimedOut => "seen.timed-out",
        Happening::Reset => "seen.reset",
        Happening::SlowToRespond => "seen.slow-to-respond",
        Happening::Unreadable => "seen.unreadable",
        Happening::CommandFailed => "seen.command-failed",
        Happening::GivenUp => "seen.given-up",
        Happening::AllOnes => "seen.all-ones",
        Happening::NotStarted(errno) => return tongue.say("seen.not-started", &[("errno", &errno)]),
        Happening::BusErrorCorrected => "seen.bus-error-corrected",
        Happening::BusError => "seen.bus-error",
        Happening::StaggeredStart => "seen.staggered-start",
        Happening::MemberFailed => "seen.member-failed",
        Happening::ReadCorrected => "seen.read-corrected",
        Happening::NotAssembled => "seen.not-assembled",
        Happening::NotClean => "seen.not-clean",
        Happening::Suspended => "seen.suspended",
        Happening::FileSystemError => "seen.file-system-error",
        Happening::StoppedWriting => "seen.stopped-writing",
        Happening::NoMetadataRoom => "seen.no-metadata-room",
        Happening::OverCurrent => "seen.over-current",
        Happening::UndervoltageBegan => "seen.undervoltage-began",
        Happening::UndervoltageEnded => "seen.undervoltage-ended",
        Happening::TaskHung => "seen.task-hung",
        Happening::OutOfMemory => "seen.out-of-memory",
        Happening::Downshifted => "seen.downshifted",
        Happening::TransmitStuck => "seen.transmit-stuck",
        Happening::BusStuck => "seen.bus-stuck",
        Happening::LinesLost(lines) => return tongue.say("seen.lines-lost", &[("lines", &lines)]),
    };
    tongue.plain(key).to_owned()
}

/// What was not measured, in words.
pub fn unmeasured(what: Unmeasured, tongue: Tongue) -> &'static str {
    tongue.plain(match what {
        Unmeasured::TwelveVolts => "unmeasured.twelve-volts",
        Unmeasured::ControllerTemperature => "unmeasured.controller-temperature",
        Unmeasured::PowerCycles => "unmeasured.power-cycles",
        Unmeasured::FanSpeed => "unmeasured.fan-speed",
        Unmeasured::RoomTemperature => "unmeasured.room-temperature",
        Unmeasured::KernelLog => "unmeasured.kernel-log",
        Unmeasured::BusErrors => "unmeasured.bus-errors",
    })
}
