//! Facts into words, the same for the log, the panel, a message and `look`: title, sentence, what to do, what not to
//! do, evidence. Pure, and the only place where a condition gets its words.

use super::heat_words::Warm;
use super::{board_words, box_words, drive_words, pool_words};
use crate::reading::ActivityKind;
use crate::units::span;
use crate::verdict::{Condition, Finding, LinkFault, Place};

/// The words of a condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// At most [`TITLE_COLUMNS`] characters: a line of the panel.
    pub title: String,
    /// The title without figures, for when the condition is over.
    pub name: String,
    /// One sentence.
    pub sentence: String,
    /// What the owner can do, in a line of the panel.
    pub brief: &'static str,
    /// What must stay in, in a line of the panel, whenever nothing more may be lost.
    pub leave_in: Option<String>,
    /// What the owner can do.
    pub advice: String,
    /// What would make it worse.
    pub warning: String,
    /// What was measured, against which limit.
    pub evidence: Vec<String>,
}

/// The parts of words that need no more than these; the title's figures come last in it.
pub(super) struct Parts<'a> {
    pub name: &'a str,
    pub figures: &'a str,
    pub sentence: String,
    pub brief: &'static str,
    pub advice: &'a str,
    pub warning: &'a str,
    pub evidence: String,
}

/// Words of these parts.
pub(super) fn words_of(parts: Parts) -> Words {
    let Parts { name, figures, sentence, brief, advice, warning, evidence } = parts;
    let title = if figures.is_empty() { name.to_owned() } else { format!("{name} {figures}") };
    Words {
        title,
        name: name.to_owned(),
        sentence,
        brief,
        leave_in: None,
        advice: advice.to_owned(),
        warning: warning.to_owned(),
        evidence: vec![evidence],
    }
}

/// Columns of the panel's small face.
pub const TITLE_COLUMNS: usize = 21;

/// The words of a condition.
pub fn words(condition: &Condition) -> Words {
    let mut words = finding(&condition.finding);
    words.title = short(&words.title, TITLE_COLUMNS);
    words.name = short(&words.name, TITLE_COLUMNS);
    words.leave_in = match &condition.finding {
        Finding::DriveGone { leave_in, .. } if !leave_in.is_empty() => Some(leave_in_line(leave_in)),
        Finding::PoolDegraded { leave_in, spare, .. } if *spare == 0 || !leave_in.is_empty() => {
            Some(leave_in_line(leave_in))
        }
        _ => None,
    };
    words
}

/// A list that were cut would leave out a drive that must stay, so one that does not fit names them all, and so does
/// one that nobody knows.
pub(super) fn leave_in_line(leave_in: &[String]) -> String {
    let line = format!("LEAVE IN {}", leave_in.join(" "));
    let fits = !leave_in.is_empty() && line.chars().count() <= TITLE_COLUMNS;
    if fits { line } else { "LEAVE ALL DRIVES IN".to_owned() }
}

/// The drive's name in a sentence.
pub fn pointed_at(place: &Place) -> String {
    let serial = place.serial_tail().map(|tail| format!("serial ..{tail}"));
    match (&place.tray, serial, &place.port) {
        (Some(tray), Some(serial), _) => format!("tray {tray} ({serial})"),
        (Some(tray), None, _) => format!("tray {tray}"),
        (None, Some(serial), Some(port)) => format!("the drive at {port} ({serial})"),
        (None, Some(serial), None) => format!("the drive with {serial}"),
        (None, None, Some(port)) => format!("the drive at {port}"),
        (None, None, None) => "a drive without serial or place".to_owned(),
    }
}

/// The names of several drives in a sentence; `None` for no drives.
pub fn listed(places: &[Place]) -> Option<String> {
    let named: Vec<String> = places.iter().map(pointed_at).collect();
    (!named.is_empty()).then(|| named.join(", "))
}

fn finding(finding: &Finding) -> Words {
    match finding {
        Finding::DriveGone { drive, pool, leave_in } => drive_gone(drive, pool.as_deref(), leave_in),
        Finding::DriveHot { drive, now, limit, own_limit, others, outlook } => {
            let (now, limit, own_limit, others, outlook) = (*now, *limit, *own_limit, *others, *outlook);
            Warm { drive, now, limit, own_limit, others, outlook }.words()
        }
        Finding::PoolDegraded { pool, level, missing, of, spare, lost, offline, leave_in, rebuilding } => {
            let survives = if *spare == 0 { "no further loss".to_owned() } else { format!("{spare} more for certain") };
            let on_purpose = listed(offline).map(|offline| format!("taken offline by its owner: {offline}"));
            let then = match offline.len() as u32 == *missing {
                true => "Bring back what was taken offline with the pool's own tool, or back up what matters now.",
                false => "Back up what matters now.",
            };
            let mut evidence =
                vec![format!("members missing {missing} of {of}"), format!("further losses survived {spare}")];
            evidence.extend(on_purpose);
            Words {
                title: if *spare == 0 { format!("{pool} UNPROTECTED") } else { format!("{pool} DEGRADED") },
                name: format!("{pool} DEGRADED"),
                sentence: {
                    let which = listed(lost).map(|lost| format!(": {lost}")).unwrap_or_default();
                    let filling = if *rebuilding { "; a member is being filled" } else { "" };
                    format!(
                        "{pool} ({level}) misses {missing} of {of} members{which}; it survives {survives}{filling}."
                    )
                },
                brief: "BACK UP NOW",
                leave_in: None,
                advice: stay(leave_in, then),
                warning: "Do not create, force or format anything, and do not restart again and again.".to_owned(),
                evidence,
            }
        }
        Finding::PoolDown { pool, why, present, of, lost } => pool_words::down(pool, *why, *present, *of, lost),
        Finding::PoolBusy { pool, activity, done, left, risk } => {
            pool_words::busy(pool, *activity, *done, *left, *risk)
        }
        Finding::SpaceLow { mount, free, size, share, limit, full_in } => {
            pool_words::space(mount, (*free, *size, *share), limit.as_ref(), *full_in)
        }
        Finding::FanStopped { fan, speed, by_fault_line, with_heat } => Words {
            title: "FAN STOPPED".to_owned(),
            name: "FAN STOPPED".to_owned(),
            sentence: format!(
                "{fan} should turn and does not{}.",
                if *with_heat { ", and drives are too warm" } else { "" }
            ),
            brief: "does it turn?",
            leave_in: None,
            advice: "Look whether it turns; free it with the box off, or replace it.".to_owned(),
            warning: "Do not reach into the fan while the box is on: it may start.".to_owned(),
            evidence: vec![match (by_fault_line, speed) {
                (true, _) => "the chip's fault line is set".to_owned(),
                (false, Some(speed)) => format!("tachometer {speed}, seen turning before or named as steady"),
                (false, None) => "no tachometer reading".to_owned(),
            }],
        },
        Finding::LinkTrouble { link, what } => link_trouble(link, *what),
        Finding::DriveSaysFailing { drive, how } => drive_words::failing(drive, *how),
        Finding::Counted { drive, what, total, grown, within } => {
            drive_words::counted(drive, *what, *total, *grown, *within)
        }
        Finding::SsdWorn { drive, used } => drive_words::worn(drive, *used),
        Finding::DriveNotAnswering { drive, stalled } => drive_words::not_answering(drive, *stalled),
        Finding::DriveFlapping { drive, losses, within } => drive_words::flapping(drive, *losses, *within),
        Finding::DriveHotterThanPeers { drive, now, median } => drive_words::hotter(drive, *now, *median),
        Finding::DrivesHeatingTogether { drives, rise } => drive_words::heating(drives, *rise),
        Finding::DriveCold { drive, now } => drive_words::cold(drive, *now),
        Finding::TemperatureLost { drive, why, all } => drive_words::temperature_lost(drive, why, *all),
        Finding::SataSlow { drive, now, best } => drive_words::slow(drive, *now, *best),
        Finding::RecoveryTimeMismatch { drive, device, tries, patience } => {
            drive_words::recovery(drive, device, *tries, *patience)
        }
        Finding::DriveNewOrMoved { drive, from } => drive_words::new_or_moved(drive, from.as_deref()),
        Finding::DriveBackNotUsed { drive, pool } => pool_words::back_not_used(drive, pool),
        Finding::RebuildStalled { pool, activity, done, stood } => pool_words::stalled(pool, *activity, *done, *stood),
        Finding::Mismatches { pool, level, bytes } => pool_words::mismatches(pool, level, *bytes),
        Finding::CheckOverdue { pool, since, never } => pool_words::overdue(pool, *since, *never),
        Finding::MemberErrors { pool, drive, kind, grown, within } => {
            pool_words::member_errors(pool, drive, *kind, *grown, *within)
        }
        Finding::DataLost { pool, pieces } => pool_words::data_lost(pool, *pieces),
        Finding::VolumeReadonly { mount, writing } => pool_words::readonly(mount, *writing),
        Finding::VolumeAbsent { mount, source } => pool_words::absent(mount, source),
        Finding::VolumeErrors { mount, count } => pool_words::errors(mount, *count),
        Finding::FilesLow { mount, free, used } => pool_words::files(mount, *free, *used),
        Finding::MetadataLow { pool, unallocated, used } => pool_words::metadata(pool, *unallocated, *used),
        Finding::FanWeak { fan, speed, usual, duty } => board_words::fan_weak(fan, *speed, *usual, *duty),
        Finding::AirflowSuspected { drives, above } => board_words::airflow_suspected(drives, *above),
        Finding::ProcessorHot { now, limit, slowed } => board_words::processor(*now, *limit, *slowed),
        Finding::Undervoltage { is_low, dips, longest, in_a_day } => {
            board_words::undervoltage(*is_low, *dips, *longest, *in_a_day)
        }
        Finding::RailOutOfRange { nominal, now, low, high } => board_words::rail(*nominal, *now, *low, *high),
        Finding::ControllerTrouble { controller, drives, what } => board_words::controller(controller, drives, what),
        Finding::AgentTrouble { what } => box_words::agent(what),
        Finding::BoxTrouble { what } => box_words::of_box(what),
    }
}

fn drive_gone(drive: &Place, pool: Option<&str>, leave_in: &[String]) -> Words {
    let needed = pool.map(|pool| format!("{pool} needs it"));
    Words {
        title: format!("{} GONE", named(drive)),
        name: format!("{} GONE", named(drive)),
        sentence: sentence(&[&pointed_at(drive), "is no longer seen"], needed.as_deref()),
        brief: "check its plugs",
        leave_in: None,
        advice: stay(leave_in, "Then check the plugs of this one with the box off."),
        warning: "Do not replace it for this alone: a lost connection is not a broken drive.".to_owned(),
        evidence: vec!["its block device is gone".to_owned()],
    }
}

fn link_trouble(link: &str, what: LinkFault) -> Words {
    let (title, name, sentence, evidence) = match what {
        LinkFault::Down => (
            format!("{link} DOWN"),
            format!("{link} DOWN"),
            format!("Network port {link} has no partner."),
            "no carrier".to_owned(),
        ),
        LinkFault::Slow { now, usual } => (
            format!("{link} ONLY {now}"),
            format!("{link} SLOW"),
            format!("Network port {link} runs at {now}, usually {usual}."),
            format!("speed {now}, best held for an hour {usual}"),
        ),
        LinkFault::Unsteady { changes, within } => (
            format!("{link} UNSTEADY"),
            format!("{link} UNSTEADY"),
            format!("Network port {link} came or went {changes} times within {}.", span(within)),
            format!("{changes} carrier changes within {}", span(within)),
        ),
    };
    Words {
        title,
        name,
        sentence,
        brief: "check the cable",
        leave_in: None,
        advice: "Reseat or change the network cable, then try another port of the switch.".to_owned(),
        warning: "Do not judge the drives by transfers over this port.".to_owned(),
        evidence: vec![evidence],
    }
}

/// The drive's name in a title.
pub(super) fn named(place: &Place) -> String {
    match &place.tray {
        Some(tray) => format!("TRAY {tray}"),
        None => format!("DRIVE {}", place.label()),
    }
}

pub(super) fn doing(activity: ActivityKind) -> &'static str {
    match activity {
        ActivityKind::Idle | ActivityKind::Frozen => "pause",
        ActivityKind::Resync => "resync",
        ActivityKind::Rebuild => "rebuild",
        ActivityKind::Check => "check",
        ActivityKind::Repair => "repair",
        ActivityKind::Reshape => "reshape",
        ActivityKind::Balance => "balance",
    }
}

/// What must stay in comes first, whenever nothing more may be lost.
pub(super) fn stay(leave_in: &[String], then: &str) -> String {
    if leave_in.is_empty() { then.to_owned() } else { format!("Leave {} in. {then}", leave_in.join(" ")) }
}

/// A sentence with an optional second half, begun with a capital.
pub(super) fn sentence(parts: &[&str], second: Option<&str>) -> String {
    let mut sentence = parts.join(" ");
    // Names of pools and ports stay as they are written.
    if sentence.starts_with("tray ") || sentence.starts_with("the ") || sentence.starts_with("a ") {
        sentence[..1].make_ascii_uppercase();
    }
    if let Some(second) = second {
        sentence.push_str("; ");
        sentence.push_str(second);
    }
    sentence.push('.');
    sentence
}

pub(super) fn short(text: &str, columns: usize) -> String {
    traylight_display::text::fit(text, columns).into_owned()
}

#[cfg(test)]
mod tests;
