//! The words of scripts: what the box, its drives and the kernel's log do.

use super::script::Plugged;
use traylight_data::reading::{ActivityKind, EventKind, MemberErrorKind};

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
pub fn event_kind(words: &[&str]) -> EventKind {
    match words {
        ["damaged"] => EventKind::TransferDamaged,
        ["timed-out"] => EventKind::TimedOut,
        ["failed"] => EventKind::CommandFailed,
        ["reset"] => EventKind::Reset,
        ["slow"] => EventKind::SlowToRespond,
        ["unreadable"] => EventKind::Unreadable,
        ["link-down"] => EventKind::LinkDown(Some(0)),
        ["link-down", low_digit] => EventKind::LinkDown(Some(number(low_digit))),
        ["link-up"] => EventKind::LinkUp(None),
        ["member-failed"] => EventKind::MemberFailed,
        ["changed"] => EventKind::ConnectionChanged,
        ["slowed"] => EventKind::LinkSlowed,
        ["given-up"] => EventKind::GivenUp,
        ["all-ones"] => EventKind::AllOnes,
        ["bus-error"] => EventKind::BusErrorCorrected,
        ["not-started", error] => EventKind::NotStarted(number(error)),
        ["vanished"] => EventKind::Vanished,
        ["staggered"] => EventKind::StaggeredStart,
        other => panic!("a story tells nothing of {other:?}"),
    }
}
