//! Facts into words, the same for the log, the panel, a message and `look`: title, sentence, what to do, what not to
//! do, evidence. Pure: the words themselves are in the tables of [`super::tongue`], and what fills their places comes from here.

use super::heat_words::Warm;
use super::pool_words::Degraded;
use super::tongue::Tongue;
use super::{board_words, fact_words, pool_words};
use crate::verdict::{Condition, Finding, Place, Severity};

/// The words of a condition.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
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
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Off {
    /// It touches nothing.
    #[default]
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

/// Most kinds are told by their facts alone; the others need arithmetic or a choice that no table can make.
fn finding(finding: &Finding, tongue: Tongue) -> Words {
    match finding {
        Finding::DriveHot { drive, now, limit, own_limit, others, is_alone, outlook } => {
            let (now, limit, own_limit) = (*now, *limit, *own_limit);
            let (others, is_alone, outlook) = (*others, *is_alone, *outlook);
            Warm { drive, now, limit, own_limit, others, is_alone, outlook }.words(tongue)
        }
        Finding::MemberFaulty { pool, drive, device, role, how } => {
            pool_words::faulty(pool, drive.as_ref(), device, *role, *how, tongue)
        }
        Finding::PoolDegraded { pool, level, missing, of, spare, lost, offline, rebuilding, .. } => {
            let (missing, of, spare, rebuilding) = (*missing, *of, *spare, *rebuilding);
            Degraded { pool, level, missing, of, spare, lost, offline, rebuilding }.words(tongue)
        }
        Finding::PoolDown { pool, why, present, of, lost } => pool_words::down(pool, *why, *present, *of, lost, tongue),
        Finding::PoolBusy { pool, activity, done, left, risk } => {
            pool_words::busy(pool, *activity, *done, *left, *risk, tongue)
        }
        Finding::SpaceLow { mount, free, size, share, limit, full_in, soon } => {
            pool_words::space(mount, (*free, *size, *share), limit.as_ref(), (*full_in, *soon), tongue)
        }
        Finding::CpuHotThrottled { now, limit, slowed } => board_words::processor(*now, *limit, *slowed, tongue),
        Finding::Undervoltage { is_low, dips, longest, within, in_a_day } => {
            board_words::undervoltage(*is_low, (*dips, *longest, *within), *in_a_day, tongue)
        }
        Finding::RailOutOfRange { nominal, now, low, high } => board_words::rail(*nominal, *now, *low, *high, tongue),
        of => fact_words::words(of, tongue),
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
