//! Causes of lost connections besides power: the owner's hand, waking, and saving power on the link.

use super::diagnosis::{Diagnosis, Left};
use super::power::twelve_volts;
use super::view::{CauseView, NEAR, Suspect};
use crate::kinds::{TOGETHER, Trouble};
use crate::memory::before::Before;
use crate::memory::sign::Sign;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{EventKind, Part};
use traylight_data::verdict::{Cause, Confidence, Kind, Unmeasured};

const CONNECTED: &[Trouble] = &[Trouble::Connection];
/// A link that has nothing to do for this long may be put to sleep.
const IDLE: Duration = Duration::from_secs(600);
/// A drive that woke up less than this before has an excuse.
const WAKING: Duration = Duration::from_secs(30);

/// A hand that puts a drive out of its pool needs so long to pull it: a pool that lets go of a dying drive does it
/// moments before.
const BY_HAND: Duration = Duration::from_secs(30);

/// `taken-out`: one drive went, and its owner had put it out of its pool, or was at work on the box, or took out a
/// failing one. It makes an alarm mild, so what a hand did not surely do is no case of it: see also [`wrong_tray`].
pub fn taken_out(left: &Left) -> Vec<Diagnosis> {
    let lost = left.with(Trouble::Connection);
    let rule = |suspect: &&Suspect| {
        let (at, before) = suspect.lost().filter(|_| !suspect.known.present)?;
        let before = before.filter(|before| !before.awaited && !is_wrong(before))?;
        if !went_alone(left, suspect, at) || suspect.died_first() {
            return None;
        }
        // A pool does without a drive that went before, too, until it is put back in; and it lets go of one that times
        // out by itself. One that also fails is taken out at the box's own word.
        let by_itself = suspect.losses().len() > 1 || (suspect.was_ever_troubled() && !before.failing);
        let put_out = before.put_out && before.out_for >= BY_HAND && !by_itself;
        let is_unused = suspect.known.pools.is_empty();
        let sleeps = before.asleep && is_unused && saves_power(left.view, suspect) != Some(true);
        let confidence = if put_out || before.muted {
            Confidence::Likely
        } else if sleeps || before.failing {
            Confidence::Possible
        } else {
            return None;
        };
        Some(Diagnosis::new(Cause::TakenOut, confidence).of([*suspect], CONNECTED).with(suspect.losses()))
    };
    lost.iter().filter_map(rule).collect()
}

/// True for a good drive that its pool could not do without any more, or beside which another fails or hangs: whoever
/// pulled it meant the other.
fn is_wrong(before: &Before) -> bool {
    before.used && (before.pool_lacked || (before.bad_beside && !before.failing && !before.hung))
}

/// True when no other drive went within ten seconds, or within a minute where nobody knows the time better.
fn went_alone(left: &Left, suspect: &Suspect, at: Moment) -> bool {
    let is_other = |part: &Part| match part {
        Part::Drive(key) => key != suspect.key,
        Part::Usb(chain) => suspect.bridge().is_none_or(|(_, own)| own != chain),
        _ => true,
    };
    let silent = suspect.losses().last().is_some_and(|loss| suspect.fell_silent(loss));
    let together = if silent { NEAR } else { TOGETHER };
    let mut losses = left.view.memory.ledger.signs.all().filter(|sign| sign.event.what == EventKind::Vanished);
    losses.all(|sign| !is_other(&sign.event.part) || sign.event.at.apart(at) > together)
}

/// `slow-to-wake`: errors within half a minute of waking up, and nothing else that speaks against the drive.
pub fn slow_to_wake(left: &Left) -> Vec<Diagnosis> {
    let rule = |suspect: &&Suspect| {
        let silent = [EventKind::TimedOut, EventKind::CommandFailed, EventKind::SlowToRespond, EventKind::Reset];
        let errors: Vec<_> = suspect.all_signs().collect();
        let first =
            errors.iter().find(|sign| silent.contains(&sign.event.what) && sign.last >= suspect.since.minus(NEAR))?;
        let woke = |sign: &&&Sign| {
            sign.event.what == EventKind::Woke
                && sign.last <= first.event.at
                && first.event.at.since(sign.last) <= WAKING
        };
        let woke = errors.iter().find(woke)?;
        let spotless = suspect.known.present
            && !suspect.is_damaged()
            && !suspect.is_unreadable()
            && !suspect.lost_power(Trouble::Connection);
        let mild = suspect.shows(Trouble::Connection) && !suspect.has(&[Kind::DriveGone, Kind::DriveFlapping]);
        (spotless && mild).then(|| {
            Diagnosis::new(Cause::SlowToWake, Confidence::Likely).of([*suspect], CONNECTED).with([*woke, *first])
        })
    };
    left.with(Trouble::Connection).iter().filter_map(rule).collect()
}

/// A good drive left by itself while its pool lacked another, or while another fails or hangs, without a sign that it
/// died: the wrong tray, most likely. A hand takes out one after the other.
pub fn wrong_tray(left: &Left) -> Vec<Diagnosis> {
    let lost = left.with(Trouble::Connection);
    let wrong = lost.iter().filter(|suspect| is_wrong_tray(left, suspect));
    let tells = |suspect: &&Suspect| {
        Diagnosis::new(Cause::WrongTray, Confidence::Possible).of([*suspect], CONNECTED).with(suspect.losses())
    };
    wrong.map(tells).collect()
}

/// See [`wrong_tray`].
pub fn is_wrong_tray(left: &Left, suspect: &Suspect) -> bool {
    let Some((at, before)) = suspect.lost().filter(|_| !suspect.known.present) else { return false };
    before.is_some_and(|before| is_wrong(&before) && !before.failing)
        && went_alone(left, suspect, at)
        && !suspect.died_first()
        && !suspect.was_silent()
        && !suspect.is_unreadable()
        && !suspect.lost_power(Trouble::Connection)
}

/// `link-power-saving`: lost or timed out after it had nothing to do, where links may save power, and it kept its
/// power.
pub fn link_power_saving(left: &Left) -> Vec<Diagnosis> {
    let rule = |suspect: &&Suspect| {
        let signs = suspect.signs(&[EventKind::Vanished, EventKind::TimedOut], NEAR);
        let was_idle = signs.first()?.before?.idle >= IDLE;
        let fits = was_idle
            && saves_power(left.view, suspect)?
            && !suspect.lost_power(Trouble::Connection)
            && !suspect.is_unreadable();
        fits.then(|| Diagnosis::new(Cause::LinkPowerSaving, Confidence::Likely).of([*suspect], CONNECTED).with(signs))
    };
    left.with(Trouble::Connection).iter().filter_map(rule).collect()
}

/// True where the link of a drive may save power; `None` where that is not known.
fn saves_power(view: &CauseView, suspect: &Suspect) -> Option<bool> {
    let policy = view.controller(suspect.controller()?)?.link_power.as_deref()?;
    Some(!matches!(policy, "max_performance" | "keep_firmware_settings"))
}

/// `unknown`: what no other rule explains. Each drive by itself.
pub fn unknown(left: &Left) -> Vec<Diagnosis> {
    let rule = |suspect: &Suspect| {
        Trouble::ALL.into_iter().any(|trouble| left.is_open(suspect, trouble)).then(|| {
            let mut diagnosis = Diagnosis::new(Cause::Unknown, Confidence::Possible).of([suspect], &Trouble::ALL);
            diagnosis = diagnosis.with(suspect.all_signs().filter(|sign| sign.last >= suspect.since.minus(NEAR)));
            diagnosis.without(twelve_volts(left.view)).without([Unmeasured::ControllerTemperature])
        })
    };
    left.view.suspects.iter().filter_map(rule).collect()
}
