//! Causes of lost connections: the owner's hand, the supply, one tray's contacts, and saving power on the link.

use super::view::{CONNECTION, NEAR, Suspect, TOGETHER, View, at_once};
use super::{Diagnosis, Left, Trouble};
use crate::clock::Moment;
use crate::reading::{Happening, Nominal, Part};
use crate::verdict::{Cause, Confidence, Kind, Unmeasured};
use std::collections::BTreeSet;
use std::time::Duration;

const CONNECTED: &[Trouble] = &[Trouble::Connection];
const ALL_LINES: &[Trouble] = &[Trouble::Connection, Trouble::Transfer];
/// A link that has nothing to do for this long may be put to sleep.
const IDLE: Duration = Duration::from_secs(600);
/// A drive that woke up less than this before has an excuse.
const WAKING: Duration = Duration::from_secs(30);
/// Drives are asked for their counts within this of each other.
const ASKED_APART: Duration = Duration::from_secs(12 * 3600);

/// R16: one drive went, and its owner had put it out of its pool, or was at work on the box, or took out a failing one.
/// Not so one that its pool could not do without any more: see [`wrong_tray`].
pub fn taken_out(left: &Left) -> Vec<Diagnosis> {
    let lost = left.with(Trouble::Connection);
    let rule = |suspect: &&Suspect| {
        let (at, before) = suspect.lost().filter(|_| !suspect.known.present)?;
        if !went_alone(left, suspect, at) || suspect.died_first() {
            return None;
        }
        let before = before.filter(|before| !(before.used && before.pool_lacked))?;
        // A pool does without a drive that went before, too, until it is put back in.
        let put_out = before.put_out && suspect.losses().len() == 1;
        let confidence = if put_out || before.muted {
            Confidence::Likely
        } else if (before.asleep && !before.used) || before.failing {
            Confidence::Possible
        } else {
            return None;
        };
        Some(Diagnosis::new(Cause::TakenOut, confidence).of([*suspect], CONNECTED).with(suspect.losses()))
    };
    lost.iter().filter_map(rule).collect()
}

/// True when no other drive went within ten seconds.
fn went_alone(left: &Left, suspect: &Suspect, at: Moment) -> bool {
    let is_other = |part: &Part| !matches!(part, Part::Drive(key) if key == suspect.key);
    let mut losses = left.view.memory.ledger.signs.all().filter(|sign| sign.event.what == Happening::Vanished);
    losses.all(|sign| !is_other(&sign.event.part) || sign.event.at.apart(at) > TOGETHER)
}

/// R13: errors within half a minute of waking up, and nothing else that speaks against the drive.
pub fn slow_to_wake(left: &Left) -> Vec<Diagnosis> {
    let rule = |suspect: &&Suspect| {
        let silent = [Happening::TimedOut, Happening::CommandFailed, Happening::SlowToRespond, Happening::Reset];
        let errors: Vec<_> = left.view.memory.ledger.signs.of(suspect.key).collect();
        let first =
            errors.iter().find(|sign| silent.contains(&sign.event.what) && sign.last >= suspect.since.minus(NEAR))?;
        let woke = |sign: &&&crate::judge::signs::Sign| {
            sign.event.what == Happening::Woke
                && sign.last <= first.event.at
                && first.event.at.since(sign.last) <= WAKING
        };
        let woke = errors.iter().find(woke)?;
        let spotless =
            suspect.known.present && !suspect.is_damaged() && !suspect.is_unreadable() && !suspect.lost_power();
        let mild = suspect.has(&CONNECTION) && !suspect.has(&[Kind::DriveGone, Kind::DriveFlapping]);
        (spotless && mild).then(|| {
            Diagnosis::new(Cause::SlowToWake, Confidence::Likely).of([*suspect], CONNECTED).with([*woke, *first])
        })
    };
    left.with(Trouble::Connection).iter().filter_map(rule).collect()
}

/// R1, when drives have told that they lost their power.
pub fn supply_that_drives_confirm(left: &Left) -> Vec<Diagnosis> {
    supply_if(left, |powerless| powerless > 0)
}

/// R1 without their word.
pub fn supply(left: &Left) -> Vec<Diagnosis> {
    supply_if(left, |_| true)
}

/// Two or more drives were lost, or lost their power, within ten seconds, and nothing speaks against their controllers.
fn supply_if(left: &Left, enough: impl Fn(usize) -> bool) -> Vec<Diagnosis> {
    let suspects = left.with(Trouble::Connection);
    let times = |suspect: &Suspect| {
        let signs = suspect.losses().into_iter().chain(suspect.power_losses());
        signs.map(|sign| sign.event.at).collect::<Vec<Moment>>()
    };
    let mut together = at_once(&suspects, times);
    // A drive that was not seen to go says only when it is asked that it lost its power, and is asked some hours apart.
    let told = |suspect: &Suspect| suspect.power_losses().last().map(|sign| sign.event.at);
    let first = together.first().map(|(_, at)| *at);
    for suspect in suspects.iter().filter(|suspect| suspect.losses().is_empty()) {
        let is_in = together.iter().any(|(other, _)| other.key == suspect.key);
        if let (Some(at), Some(first), false) = (told(suspect), first, is_in) {
            if at.apart(first) <= ASKED_APART {
                together.push((suspect, at));
            }
        }
    }
    let powerless = together.iter().filter(|(suspect, _)| suspect.lost_power()).count();
    let leads: BTreeSet<_> = together
        .iter()
        .map(|(suspect, _)| suspect.bridge().map_or_else(|| suspect.key.0.as_str(), |(_, chain)| chain))
        .collect();
    let clean = together
        .iter()
        .filter_map(|(suspect, at)| Some((suspect.controller()?, *at)))
        .all(|(controller, at)| left.view.is_clean(controller, at));
    if leads.len() < 2 || !clean || !enough(powerless) {
        return Vec::new();
    }
    let at = together.iter().map(|(_, at)| *at).min().unwrap_or_default();
    let strains = strains(left.view, at, &together);
    let confidence = if powerless >= 2 || !strains.is_empty() || at.since_boot() < NEAR {
        Confidence::Likely
    } else {
        Confidence::Possible
    };
    let losses = together.iter().flat_map(|(suspect, _)| suspect.losses().into_iter().chain(suspect.power_losses()));
    let mut unmeasured = twelve_volts(left.view);
    if powerless == 0 {
        unmeasured.push(Unmeasured::PowerCycles);
    }
    let diagnosis = Diagnosis::new(Cause::Supply, confidence)
        .of(together.iter().map(|(suspect, _)| *suspect), ALL_LINES)
        .with(losses)
        .with(strains)
        .without(unmeasured);
    vec![diagnosis]
}

/// What asks much of a supply, shortly before: drives that start, work on all of them, a drive that is plugged in; and
/// the board's own word that it gets too little.
fn strains<'a>(view: &View<'a>, at: Moment, lost: &[(&Suspect<'a>, Moment)]) -> Vec<&'a crate::judge::signs::Sign> {
    const STRAINS: [Happening; 4] =
        [Happening::UndervoltageBegan, Happening::Woke, Happening::WorkBegan, Happening::Appeared];
    let counts = |sign: &&crate::judge::signs::Sign| match (&sign.event.what, &sign.event.part) {
        (Happening::UndervoltageBegan, _) => true,
        (Happening::Appeared, Part::Drive(key)) => {
            sign.event.at <= at && !lost.iter().any(|(suspect, _)| suspect.key == key)
        }
        (Happening::Appeared, _) => false,
        _ => sign.event.at <= at,
    };
    view.near(&STRAINS, at).filter(counts).collect()
}

/// A good drive left by itself while its pool lacked another, without a sign that it died: the wrong tray, most likely. A
/// hand takes out one after the other.
pub fn wrong_tray(left: &Left) -> Vec<Diagnosis> {
    let rule = |suspect: &&Suspect| {
        let (at, before) = suspect.lost().filter(|_| !suspect.known.present)?;
        let was_good = before.is_some_and(|before| before.used && before.pool_lacked);
        let spotless =
            went_alone(left, suspect, at) && !suspect.died_first() && !suspect.is_unreadable() && !suspect.lost_power();
        (was_good && spotless).then(|| {
            Diagnosis::new(Cause::WrongTray, Confidence::Possible).of([*suspect], CONNECTED).with(suspect.losses())
        })
    };
    left.with(Trouble::Connection).iter().filter_map(rule).collect()
}

/// R2: one tray only lost its power, or its connection again and again; transfers were not damaged.
pub fn tray_power(left: &Left) -> Vec<Diagnosis> {
    let suspects = left.with(Trouble::Connection);
    let is_cut =
        |suspect: &Suspect| suspect.lost_power() || suspect.losses().len() >= 2 || suspect.has(&[Kind::DriveFlapping]);
    let mut cut = suspects.iter().filter(|suspect| is_cut(suspect));
    let (Some(suspect), None) = (cut.next(), cut.next()) else { return Vec::new() };
    let around = suspect.lost().map_or(suspect.since, |(at, _)| at);
    let clean = suspect.controller().is_none_or(|controller| left.view.is_clean(controller, around));
    if suspect.is_damaged() || suspect.is_unreadable() || !clean {
        return Vec::new();
    }
    let (cause, confidence) = if suspect.lost_power() {
        (Cause::TrayPower, Confidence::Likely)
    } else {
        (Cause::TrayConnection, Confidence::Possible)
    };
    let diagnosis = Diagnosis::new(cause, confidence)
        .of([*suspect], CONNECTED)
        .with(suspect.losses())
        .with(suspect.power_losses())
        .without(twelve_volts(left.view))
        .without((!suspect.lost_power()).then_some(Unmeasured::PowerCycles));
    vec![diagnosis]
}

/// R15: lost or timed out after it had nothing to do, where links may save power, and it kept its power.
pub fn link_power_saving(left: &Left) -> Vec<Diagnosis> {
    let saves = |suspect: &Suspect| {
        let policy = left.view.controller(suspect.controller()?)?.link_power.as_deref()?;
        Some(!matches!(policy, "max_performance" | "keep_firmware_settings"))
    };
    let rule = |suspect: &&Suspect| {
        let signs = suspect.signs(&[Happening::Vanished, Happening::TimedOut], NEAR);
        let was_idle = signs.first()?.before?.idle >= IDLE;
        let fits = was_idle && saves(suspect)? && !suspect.lost_power() && !suspect.is_unreadable();
        fits.then(|| Diagnosis::new(Cause::LinkPowerSaving, Confidence::Likely).of([*suspect], CONNECTED).with(signs))
    };
    left.with(Trouble::Connection).iter().filter_map(rule).collect()
}

/// R17: what no other rule explains. Each drive by itself.
pub fn unclear(left: &Left) -> Vec<Diagnosis> {
    let rule = |suspect: &Suspect| {
        let open = Trouble::ALL
            .into_iter()
            .filter(|trouble| trouble.troubles(suspect) && !left.explained.contains(&(suspect.key.clone(), *trouble)));
        open.count().gt(&0).then(|| {
            let mut diagnosis = Diagnosis::new(Cause::Unclear, Confidence::Possible).of([suspect], &Trouble::ALL);
            diagnosis = diagnosis
                .with(left.view.memory.ledger.signs.of(suspect.key).filter(|s| s.last >= suspect.since.minus(NEAR)));
            diagnosis.without(twelve_volts(left.view)).without([Unmeasured::ControllerTemperature])
        })
    };
    left.view.suspects.iter().filter_map(rule).collect()
}

/// That the 12 V of the drives is not measured, where no sensor says so.
pub fn twelve_volts(view: &View) -> Vec<Unmeasured> {
    let measured = view.snapshot.rails.iter().any(|rail| rail.nominal == Some(Nominal::Twelve));
    if measured { Vec::new() } else { vec![Unmeasured::TwelveVolts] }
}
