//! The words of evidence: what was seen of which part, when, and who told it; and what was not measured. Pure.

use super::wording::pointed_at;
use crate::clock::Moment;
use crate::reading::{Happening, Teller};
use crate::verdict::{Evidence, Unmeasured};

/// One piece of evidence in a line.
pub fn seen(evidence: &Evidence, clock: &dyn Fn(Moment) -> String) -> String {
    let who = evidence.drive.as_ref().map_or_else(|| evidence.part.clone(), pointed_at);
    let often = if evidence.count > 1 { format!(", {} times", evidence.count) } else { String::new() };
    let teller = match evidence.teller {
        Teller::Log if !evidence.line.is_empty() => format!(" (kernel log: {})", evidence.line),
        Teller::Log => " (kernel log)".to_owned(),
        Teller::Uevent => " (kernel message)".to_owned(),
        Teller::Reading => String::new(),
    };
    format!("{} {who}: {}{often}{teller}", clock(evidence.at), happened(evidence.what))
}

fn happened(what: Happening) -> String {
    let words = match what {
        Happening::Appeared => "appeared",
        Happening::Vanished => "went",
        Happening::Woke => "woke up",
        Happening::LostPower => "counts one more start though the board ran on",
        Happening::WorkBegan => "began to read all its members",
        Happening::Disagrees => "data does not agree",
        Happening::StandsStill => "has work and finishes none",
        Happening::TransferDamaged => "transfers damaged",
        Happening::ConnectionChanged => "connection came or went",
        Happening::LinkDown(Some(0)) => "link down, nothing there",
        Happening::LinkDown(Some(1)) => "link down, something is there and cannot connect",
        Happening::LinkDown(Some(4)) => "link switched off",
        Happening::LinkDown(_) => "link down",
        Happening::LinkUp(Some(speed)) => return format!("link up at {speed}"),
        Happening::LinkUp(None) => "link up",
        Happening::LinkSlowed => "link made slower after errors",
        Happening::TimedOut => "a command timed out",
        Happening::Reset => "was reset",
        Happening::SlowToRespond => "slow to get ready",
        Happening::Unreadable => "a place could not be read",
        Happening::CommandFailed => "a command failed",
        Happening::GivenUp => "the kernel gave it up",
        Happening::AllOnes => "its registers read as all ones",
        Happening::NotStarted(errno) => return format!("the driver could not start it, error {errno}"),
        Happening::BusErrorCorrected => "error on its PCIe link, corrected",
        Happening::BusError => "error on its PCIe link",
        Happening::StaggeredStart => "starts its ports one after another",
        Happening::MemberFailed => "was put out of its pool",
        Happening::ReadCorrected => "a place was read from the other members",
        Happening::NotAssembled => "was not put together",
        Happening::NotClean => "was not stopped cleanly",
        Happening::Suspended => "waits for its members",
        Happening::FileSystemError => "the file system found an error in itself",
        Happening::StoppedWriting => "the file system stopped writing",
        Happening::NoMetadataRoom => "no room for metadata",
        Happening::OverCurrent => "drew too much current and was switched off",
        Happening::UndervoltageBegan => "supply too low",
        Happening::UndervoltageEnded => "supply right again",
        Happening::TaskHung => "a task waits for too long",
        Happening::OutOfMemory => "a process was ended for want of memory",
        Happening::Downshifted => "link slower than it could be",
        Happening::TransmitStuck => "cannot send",
        Happening::BusStuck => "the bus does not answer",
        Happening::LinesLost(lines) => return format!("{lines} lines of the kernel's log were lost"),
    };
    words.to_owned()
}

/// What was not measured, in words.
pub fn unmeasured(what: Unmeasured) -> &'static str {
    match what {
        Unmeasured::TwelveVolts => "12 V",
        Unmeasured::ControllerTemperature => "the controller's temperature",
        Unmeasured::PowerCycles => "whether the drives lost power: they tell when they are asked again",
        Unmeasured::FanSpeed => "the fan's speed",
        Unmeasured::RoomTemperature => "the room's temperature",
        Unmeasured::KernelLog => "the kernel's log",
        Unmeasured::BusErrors => "errors on the PCIe link",
    }
}
