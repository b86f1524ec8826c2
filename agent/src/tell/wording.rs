//! Facts into words, the same for the log, the panel, a message and `look`: title, sentence, what to do, what not to
//! do, evidence. Pure: the words themselves are in the tables of [`super::tongue`], and what fills their places comes from here.

use super::heat_words::Warm;
use super::pool_words::Degraded;
use super::tongue::{Places, Tongue};
use super::{board_words, box_words, drive_words, pool_words};
use crate::verdict::{Condition, Finding, Place, PoolErrors, Scarce, Severity, WeakFan};
use std::time::Duration;

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
    pub brief: String,
    /// Whether the box is switched off first for that.
    pub off: Off,
    /// What must stay in, in a line of the panel, whenever nothing more may be lost.
    pub leave_in: Option<String>,
    /// What the owner can do.
    pub advice: String,
    /// What would make it worse.
    pub warning: String,
    /// What was measured, against which limit.
    pub evidence: Vec<String>,
}

/// Whether what is advised begins with switching off: the table of words says so beside each advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Off {
    /// It touches nothing.
    Never,
    /// It touches trays, which may be changed in some boxes while they are on.
    Trays,
    /// It touches cables, cards or supplies.
    Always,
}

impl Off {
    /// The line and the advice, with what goes before them; `hot_swap` is true when trays may be changed while the box is on.
    pub(super) fn first(self, hot_swap: bool, brief: String, advice: String, tongue: Tongue) -> (String, String) {
        if self == Self::Never || (self == Self::Trays && hot_swap) {
            return (brief, advice);
        }
        (tongue.say("off.line", &[("brief", &brief)]), tongue.say("off.advice", &[("advice", &advice)]))
    }
}

/// Columns of the panel's small face.
pub const TITLE_COLUMNS: usize = 21;

/// The words of a condition, in any box.
pub fn words(condition: &Condition, tongue: Tongue) -> Words {
    words_in_box(condition, false, tongue)
}

/// The words of a condition, in a box whose trays may be changed while it is on, or not.
pub(super) fn words_in_box(condition: &Condition, hot_swap: bool, tongue: Tongue) -> Words {
    let mut words = match &condition.finding {
        // Only where nobody can say yet whether it failed is it as mild as that.
        Finding::FanStopped { fan, speed: Some(speed), .. } if condition.severity == Severity::Notice => {
            tongue.words("fan-stopped.may-rest", &[("fan", fan), ("speed", speed)])
        }
        of => finding(of, tongue),
    };
    words.title = short(&words.title, TITLE_COLUMNS);
    words.name = short(&words.name, TITLE_COLUMNS);
    (words.brief, words.advice) = words.off.first(hot_swap, words.brief, words.advice, tongue);
    let (leave_in, must_be_said): (&[String], bool) = match &condition.finding {
        Finding::DriveGone { leave_in, .. } => (leave_in, !leave_in.is_empty()),
        Finding::PoolDegraded { leave_in, spare, .. } => (leave_in, *spare == 0 || !leave_in.is_empty()),
        _ => (&[], false),
    };
    words.leave_in = must_be_said.then(|| leave_in_line(leave_in, tongue));
    words.advice = stay_and(leave_in, words.advice, tongue);
    words
}

/// A list that were cut would leave out a drive that must stay, so one that does not fit names them all, and so does
/// one that nobody knows.
pub(super) fn leave_in_line(leave_in: &[String], tongue: Tongue) -> String {
    let line = tongue.say("line.leave-in", &[("list", &leave_in.join(" "))]);
    let fits = !leave_in.is_empty() && line.chars().count() <= TITLE_COLUMNS;
    if fits { line } else { tongue.plain("line.leave-all-in").to_owned() }
}

/// The drive's name in a sentence.
pub fn pointed_at(place: &Place, tongue: Tongue) -> String {
    let nothing = String::new;
    let tail = place.serial_tail();
    let key = match (&place.tray, &tail, &place.port) {
        (Some(_), Some(_), _) => "drive.tray-and-serial",
        (Some(_), None, _) => "drive.tray",
        (None, Some(_), Some(_)) => "drive.port-and-serial",
        (None, Some(_), None) => "drive.serial",
        (None, None, Some(_)) => "drive.port",
        (None, None, None) => "drive.unknown",
    };
    let (tray, port) = (place.tray.clone().unwrap_or_else(nothing), place.port.clone().unwrap_or_else(nothing));
    tongue.say(key, &[("tray", &tray), ("tail", &tail.unwrap_or_else(nothing)), ("port", &port)])
}

/// The names of several drives in a sentence; `None` for no drives.
pub fn listed(places: &[Place], tongue: Tongue) -> Option<String> {
    let named: Vec<String> = places.iter().map(|place| pointed_at(place, tongue)).collect();
    (!named.is_empty()).then(|| named.join(", "))
}

fn finding(finding: &Finding, tongue: Tongue) -> Words {
    let on = |section: &str, drive: &Place, places: Places| drive_words::about(section, drive, tongue, places);
    let words = |section: &str, places: Places| tongue.words(section, places);
    let span = |time: &Duration| tongue.span(*time);
    match finding {
        Finding::DriveGone { drive, pool, .. } => drive_words::gone(drive, pool.as_deref(), tongue),
        Finding::DriveHot { drive, now, limit, own_limit, others, is_alone, outlook } => {
            let (now, limit, own_limit) = (*now, *limit, *own_limit);
            let (others, is_alone, outlook) = (*others, *is_alone, *outlook);
            Warm { drive, now, limit, own_limit, others, is_alone, outlook }.words(tongue)
        }
        Finding::DriveSaysFailing { drive, how } => drive_words::failing(drive, *how, tongue),
        Finding::PendingOrUncorrectable { drive, total, grown, within }
        | Finding::ReallocatedGrowth { drive, total, grown, within }
        | Finding::SataCrcGrowth { drive, total, grown, within }
        | Finding::DriveLostPower { drive, total, grown, within }
        | Finding::DriveTimeouts { drive, total, grown, within } => {
            let places: Places = &[("total", total), ("grown", grown), ("within", &span(within))];
            on(finding.kind().id(), drive, places)
        }
        Finding::SsdWorn { drive, used } => on("ssd-worn", drive, &[("used", used)]),
        Finding::DriveNotAnswering { drive, stalled } => {
            on("drive-not-answering", drive, &[("stalled", &span(stalled))])
        }
        Finding::DriveFlapping { drive, losses, within } => {
            on("drive-flapping", drive, &[("losses", losses), ("within", &span(within))])
        }
        Finding::DriveHotterThanPeers { drive, now, median } => {
            on("drive-hotter-than-peers", drive, &[("now", now), ("degrees", &whole(now.0)), ("median", median)])
        }
        Finding::DrivesHeatingTogether { drives, rise, within } => {
            let labels: Vec<String> = drives.iter().map(Place::label).collect();
            let (labels, rise) = (labels.join(" "), whole(*rise));
            let (within, count) = (span(within), drives.len());
            let places: Places = &[("labels", &labels), ("rise", &rise), ("count", &count), ("within", &within)];
            words("drives-heating-together", places)
        }
        Finding::DriveCold { drive, now, limit } => {
            on("drive-cold", drive, &[("now", now), ("degrees", &whole(now.0)), ("limit", limit)])
        }
        Finding::TemperatureLost { drive, why, all } => {
            let all = if *all { tongue.plain("temperature-lost.all") } else { "" };
            on("temperature-lost", drive, &[("why", why), ("all", &all)])
        }
        Finding::SataSlow { drive, now, best } => {
            on("sata-slow", drive, &[("now", &tongue.figure(now)), ("best", &tongue.figure(best))])
        }
        Finding::RecoveryTimeMismatch { drive, device, tries, patience, enough } => {
            drive_words::recovery(drive, device, *tries, *patience, *enough, tongue)
        }
        Finding::DriveNewOrMoved { drive, from } => drive_words::new_or_moved(drive, from.as_deref(), tongue),
        Finding::DriveBackNotUsed { drive, pool } => on("drive-back-not-used", drive, &[("pool", pool)]),
        Finding::MemberErrors { pool, what: PoolErrors::OfMember { drive, errors, grown, within } } => {
            let what = pool_words::errors_of(*errors, tongue);
            let places: Places = &[("pool", pool), ("grown", grown), ("what", &what), ("within", &span(within))];
            on("member-errors", drive, places)
        }
        Finding::MemberFaulty { pool, drive, device, role, how } => {
            pool_words::faulty(pool, drive.as_ref(), device, *role, *how, tongue)
        }
        Finding::UsbSlow { drive, now, best, held } => {
            let (now, best, held) = (tongue.figure(now), tongue.figure(best), span(held));
            on("usb-slow", drive, &[("now", &now), ("best", &best), ("held", &held)])
        }
        Finding::DriveMissingAtStart { drive, missing, of } => {
            on("drive-missing-at-start", drive, &[("missing", missing), ("of", of)])
        }
        Finding::PoolDegraded { pool, level, missing, of, spare, lost, offline, rebuilding, .. } => {
            let (missing, of, spare, rebuilding) = (*missing, *of, *spare, *rebuilding);
            Degraded { pool, level, missing, of, spare, lost, offline, rebuilding }.words(tongue)
        }
        Finding::PoolDown { pool, why, present, of, lost } => pool_words::down(pool, *why, *present, *of, lost, tongue),
        Finding::PoolBusy { pool, activity, done, left, risk } => {
            pool_words::busy(pool, *activity, *done, *left, *risk, tongue)
        }
        Finding::RebuildStalled { pool, activity, done, stood, least } => {
            let at = done.map(|done| tongue.say("rebuild-stalled.at", &[("done", &done)])).unwrap_or_default();
            let doing = tongue.activity(*activity);
            let places: Places =
                &[("pool", pool), ("doing", &doing), ("at", &at), ("stood", &span(stood)), ("least", &(least.0 / 1e6))];
            words("rebuild-stalled", places)
        }
        Finding::Mismatches { pool, level, bytes } => {
            words("mismatches", &[("pool", pool), ("level", level), ("bytes", &tongue.figure(bytes))])
        }
        Finding::CheckOverdue { pool, since, never, every } => {
            let section = if *never { "check-overdue.never" } else { "check-overdue" };
            words(section, &[("pool", pool), ("since", &span(since)), ("every", &span(every))])
        }
        Finding::MemberErrors { pool, what: PoolErrors::DataLost { pieces } } => {
            words("member-errors.data-lost", &[("pool", pool), ("pieces", pieces)])
        }
        Finding::InodesOrMetadataLow { what: Scarce::Metadata { pool, unallocated, used } } => words(
            "inodes-or-metadata-low.metadata",
            &[("pool", pool), ("unallocated", &tongue.figure(unallocated)), ("used", used)],
        ),
        Finding::SpaceLow { mount, free, size, share, limit, full_in, soon } => {
            pool_words::space(mount, (*free, *size, *share), limit.as_ref(), (*full_in, *soon), tongue)
        }
        Finding::VolumeReadonly { mount, writing } => words(pool_words::readonly(*writing), &[("mount", mount)]),
        Finding::VolumeAbsent { mount, source } => words("volume-absent", &[("mount", mount), ("source", source)]),
        Finding::VolumeErrors { mount, count } => words("volume-errors", &[("mount", mount), ("count", count)]),
        Finding::InodesOrMetadataLow { what: Scarce::Files { mount, free, used } } => {
            words("inodes-or-metadata-low.files", &[("mount", mount), ("free", free), ("used", used)])
        }
        Finding::FanStopped { fan, speed, by_fault_line, with_heat } => {
            board_words::fan_stopped(fan, *speed, *by_fault_line, *with_heat, tongue)
        }
        Finding::FanWeak { what: WeakFan::Slow { fan, speed, usual, duty } } => {
            words("fan-weak.slow", &[("fan", fan), ("speed", speed), ("usual", usual), ("duty", duty)])
        }
        Finding::FanWeak { what: WeakFan::Airflow { drives, above } } => {
            board_words::airflow_suspected(drives, *above, tongue)
        }
        Finding::CpuHotThrottled { now, limit, slowed } => board_words::processor(*now, *limit, *slowed, tongue),
        Finding::Undervoltage { is_low, dips, longest, within, in_a_day } => {
            board_words::undervoltage(*is_low, (*dips, *longest, *within), *in_a_day, tongue)
        }
        Finding::RailOutOfRange { nominal, now, low, high } => board_words::rail(*nominal, *now, *low, *high, tongue),
        Finding::ControllerTrouble { controller, drives, what } => {
            board_words::controller(controller, drives, what, tongue)
        }
        Finding::LinkTrouble { link, what } => board_words::link(link, *what, tongue),
        Finding::AgentAndAlerts { what } => box_words::agent(what, tongue),
        Finding::BoxStorageAndRestart { what } => box_words::of_box(what, tongue),
    }
}

/// The drive's name in a title.
pub(super) fn named(place: &Place, tongue: Tongue) -> String {
    let key = if place.tray.is_some() { "drive.title" } else { "drive.title-without-tray" };
    tongue.say(key, &[("label", &place.label())])
}

/// What must stay in comes first, whenever nothing more may be lost.
pub(super) fn stay_and(leave_in: &[String], then: String, tongue: Tongue) -> String {
    if leave_in.is_empty() {
        return then;
    }
    format!("{} {then}", tongue.say("stay.some", &[("list", &leave_in.join(" "))]))
}

/// A figure without a fraction.
pub(super) fn whole(figure: f64) -> String {
    format!("{figure:.0}")
}

pub(super) fn short(text: &str, columns: usize) -> String {
    traylight_display::text::fit(text, columns).into_owned()
}

#[cfg(test)]
pub(super) mod tests;
