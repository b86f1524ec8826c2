//! The words of scripts: what the box, its drives and the kernel's log do.

use super::script::Plugged;
use traylight_data::reading::{ActivityKind, Happening, MemberErrorKind};

/// A number.
pub fn number<T: std::str::FromStr>(word: &str) -> T {
    word.parse().unwrap_or_else(|_| panic!("a story needs a number, not {word}"))
}

/// The number on a tray, from 0.
pub fn index(tray: &str) -> usize {
    number::<usize>(tray) - 1
}

/// A counter of drives.
pub fn counter(name: &str) -> &'static str {
    match name {
        "starts" => "power_cycles",
        "damaged" => "interface_crc_errors",
        "pending" => "pending_sectors",
        "replaced" => "reallocated_sectors",
        other => panic!("a story has no counter {other}"),
    }
}

/// A kind of errors that pools count.
pub fn error(kind: &str) -> MemberErrorKind {
    match kind {
        "read" => MemberErrorKind::Read,
        "write" => MemberErrorKind::Write,
        "checksum" => MemberErrorKind::Checksum,
        other => panic!("a story has no errors of {other}"),
    }
}

/// What a pool does.
pub fn activity(what: &str) -> ActivityKind {
    match what {
        "checks" => ActivityKind::Check,
        "rebuilds" => ActivityKind::Rebuild,
        "rests" => ActivityKind::Idle,
        "resyncs" => ActivityKind::Resync,
        "reshapes" => ActivityKind::Reshape,
        "freezes" => ActivityKind::Frozen,
        other => panic!("a story has no pool that {other}"),
    }
}

/// How a controller is.
pub fn plugged(state: &str) -> Plugged {
    match state {
        "works" => Plugged::Works,
        "all-ones" => Plugged::AllOnes,
        "undriven" => Plugged::NoDriver,
        "gone" => Plugged::Gone,
        "gone-alone" => Plugged::GoneAlone,
        other => panic!("a story has no controller that is {other}"),
    }
}

/// What the kernel tells.
pub fn happening(words: &[&str]) -> Happening {
    match words {
        ["damaged"] => Happening::TransferDamaged,
        ["timed-out"] => Happening::TimedOut,
        ["failed"] => Happening::CommandFailed,
        ["reset"] => Happening::Reset,
        ["slow"] => Happening::SlowToRespond,
        ["unreadable"] => Happening::Unreadable,
        ["link-down"] => Happening::LinkDown(Some(0)),
        ["link-down", low_digit] => Happening::LinkDown(Some(number(low_digit))),
        ["link-up"] => Happening::LinkUp(None),
        ["member-failed"] => Happening::MemberFailed,
        ["changed"] => Happening::ConnectionChanged,
        ["slowed"] => Happening::LinkSlowed,
        ["given-up"] => Happening::GivenUp,
        ["all-ones"] => Happening::AllOnes,
        ["bus-error"] => Happening::BusErrorCorrected,
        ["not-started", error] => Happening::NotStarted(number(error)),
        ["vanished"] => Happening::Vanished,
        ["staggered"] => Happening::StaggeredStart,
        other => panic!("a story tells nothing of {other:?}"),
    }
}
