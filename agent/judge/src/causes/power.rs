//! Causes of lost power: the supply of several drives, the power contact of one tray. A loss of power is an event with
//! a time: it explains what happened then and what came of it, and nothing that happens later.

use super::diagnosis::{Diagnosis, Left};
use super::view::{CauseView, NEAR, Suspect};
use crate::kinds::{TOGETHER, Trouble};
use crate::memory::sign::{ASKED_APART, Sign, may_be_one};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_data::clock::DAY;
use traylight_data::clock::Moment;
use traylight_data::reading::{DriveKey, EventKind, Nominal, Part};
use traylight_data::verdict::{Cause, Condition, Confidence, Kind, Unmeasured};

const EXPLAINS: &[Trouble] = &[Trouble::Power, Trouble::Connection, Trouble::Transfer];
const CONNECTED: &[Trouble] = &[Trouble::Connection];
/// What a supply that fades drops next, it drops within this.
const FADING: Duration = Duration::from_secs(600);
/// What comes of a loss of power begins within this: commands that run out, a link that came back slower and was looked
/// at for ten minutes.
const AFTERMATH: Duration = Duration::from_secs(1200);
/// More losses of one drive than this tell nothing more.
const LOSSES: usize = 16;

/// A loss of connection or power, whose, and within which time.
type Loss<'v, 'a> = (&'v Suspect<'a>, &'a Sign, (Moment, Moment));

/// `supply`, when drives have told that they lost their power.
pub fn supply_that_drives_confirm(left: &Left) -> Vec<Diagnosis> {
    supply_if(left, |powerless| powerless > 0)
}

/// `supply` without their word.
pub fn supply(left: &Left) -> Vec<Diagnosis> {
    supply_if(left, |_| true)
}

/// Two or more drives on different cables were lost, or lost their power, within ten seconds, and nothing speaks against
/// their controllers. What the supply did before and does again is one incident; a drive that wears out counts and has its
/// own.
fn supply_if(left: &Left, enough: impl Fn(usize) -> bool) -> Vec<Diagnosis> {
    let suspects = left.cut_off();
    let mut events: Vec<Vec<Loss>> =
        together(&suspects).into_iter().filter(|event| is_supply(left.view, event)).collect();
    let powerless = |event: &Vec<Loss>| event.iter().filter(|(_, sign, _)| is_powerless(sign)).count();
    // Once one event is confirmed by drives that lost their power, the supply is known to dip, and another event needs
    // no such word of its own; unless all its drives are behind USB bridges, which may have failed instead.
    let is_confirmed = events.iter().any(|event| enough(powerless(event)));
    events.retain(|event| {
        enough(powerless(event)) || (is_confirmed && event.iter().any(|(suspect, ..)| suspect.bridge().is_none()))
    });
    for event in &mut events {
        fade(left.view, event, &suspects);
    }
    let Some(newest) = events.last() else { return Vec::new() };
    let at = newest.iter().map(|(.., (from, _))| *from).min().unwrap_or_default();
    let most = events.iter().map(powerless).max().unwrap_or(0);
    let strains = strains(left.view, at, newest);
    // What was lost before this start of the machine was not lost at it.
    let at_start = at >= Moment::default() && at.since_boot() < NEAR;
    let confidence =
        if most >= 2 || !strains.is_empty() || at_start { Confidence::Likely } else { Confidence::Possible };
    let mut diagnosis = Diagnosis::new(Cause::Supply, confidence).with(strains).without(twelve_volts(left.view));
    if most == 0 {
        diagnosis = diagnosis.without([Unmeasured::PowerCycles]);
    }
    for suspect in suspects.iter().filter(|suspect| !suspect.is_worn()) {
        let own: Vec<&Sign> =
            events.iter().flatten().filter(|(of, ..)| of.key == suspect.key).map(|(_, sign, _)| *sign).collect();
        if !own.is_empty() {
            diagnosis = diagnosis.of_one(suspect, EXPLAINS, |open| comes_of(suspect, &own, open)).with(own);
        }
    }
    if diagnosis.drives.is_empty() { Vec::new() } else { vec![diagnosis] }
}

/// A drive lost its power, rather than only its connection.
fn is_powerless(sign: &Sign) -> bool {
    sign.event.what == EventKind::LostPower
}

/// What a drive lost: the newest first. What it told of its power stands for the loss that it explains.
fn losses<'a>(suspect: &Suspect<'a>) -> Vec<&'a Sign> {
    let mut signs = suspect.power_losses();
    let explained = |sign: &&Sign| !signs.iter().any(|power| power.event.at == sign.event.at);
    let losses: Vec<&Sign> = suspect.all_losses().filter(explained).collect();
    signs.extend(losses);
    signs.sort_by_key(|sign| std::cmp::Reverse(sign.event.at));
    signs.truncate(LOSSES);
    signs
}

fn all_losses<'v, 'a>(suspects: &[&'v Suspect<'a>]) -> Vec<Loss<'v, 'a>> {
    let of = |suspect: &&'v Suspect<'a>| {
        let suspect = *suspect;
        losses(suspect).into_iter().map(move |sign| (suspect, sign, suspect.span_of(sign))).collect::<Vec<_>>()
    };
    suspects.iter().flat_map(of).collect()
}

/// What was lost together, oldest first: losses that were seen first, then what was only told of. Each loss is in one
/// group.
fn together<'v, 'a>(suspects: &[&'v Suspect<'a>]) -> Vec<Vec<Loss<'v, 'a>>> {
    let mut all = all_losses(suspects);
    all.sort_by_key(|(suspect, sign, (_, to))| (sign.after.is_some(), std::cmp::Reverse(*to), suspect.key));
    let mut groups: Vec<Vec<Loss>> = Vec::new();
    while !all.is_empty() {
        let group = |(.., of): &Loss<'v, 'a>| {
            let mut group: Vec<Loss> = Vec::new();
            for loss in &all {
                let is_in = group.iter().any(|(suspect, ..)| suspect.key == loss.0.key);
                if !is_in && may_be_one(loss.2, *of, TOGETHER) {
                    group.push(*loss);
                }
            }
            group
        };
        // `max_by_key` keeps the last of the largest: reversed, that is the first, the group of the newest loss.
        let best = all.iter().rev().map(group).max_by_key(Vec::len).filter(|group| !group.is_empty());
        let Some(best) = best else { break };
        all.retain(|(_, sign, _)| !best.iter().any(|(_, taken, _)| std::ptr::eq(*taken, *sign)));
        groups.push(best);
    }
    groups.sort_by_key(|group| group.iter().map(|(.., (_, to))| *to).min());
    groups
}

fn is_supply(view: &CauseView, event: &[Loss]) -> bool {
    let cable = |suspect: &Suspect<'_>| match suspect.path() {
        Some(path) if Some(path) != suspect.controller() => path.to_owned(),
        _ => suspect.key.0.clone(),
    };
    let cables: BTreeSet<String> = event.iter().map(|(suspect, ..)| cable(suspect)).collect();
    let clean =
        |(suspect, _, (_, at)): &Loss| suspect.controller().is_none_or(|controller| view.is_clean(controller, *at));
    cables.len() >= 2 && event.iter().all(clean)
}

/// A supply that has dropped two drives drops the others one by one. Not so what goes while somebody works on the box, a
/// drive that hung before, one with a USB cable of its own, or one that a hand has pulled.
fn fade<'v, 'a>(view: &CauseView, event: &mut Vec<Loss<'v, 'a>>, suspects: &[&'v Suspect<'a>]) {
    let mut more = all_losses(suspects);
    more.sort_by_key(|(suspect, _, (from, _))| (*from, suspect.key));
    let begun = event.iter().map(|(.., (_, to))| *to).max().unwrap_or_default();
    let singles = more.iter().filter(|(.., (from, _))| *from > begun && from.since(begun) <= FADING).count();
    for (suspect, sign, span) in more {
        let last = event.iter().map(|(.., (_, to))| *to).max().unwrap_or_default();
        let follows = sign.after.is_none() && span.0 > last && span.0.since(last) <= FADING;
        let by_itself = sign.before.is_some_and(|before| before.muted || before.hung) || suspect.bridge().is_some();
        let by_hand = singles == 1 && span.0.since(last) > NEAR && suspect.went_cleanly(sign) && !is_low(view, span.0);
        if follows && !by_itself && !by_hand && !suspect.is_unreadable() {
            event.push((suspect, sign, span));
        }
    }
}

/// True when the board itself got too little power around then.
fn is_low(view: &CauseView, at: Moment) -> bool {
    view.near(&[EventKind::UndervoltageBegan], at).next().is_some()
}

/// True for what a loss of power explains: that it was told, that the drive is gone or not used since, and what
/// followed within minutes. A drive that was lost again later belongs to another incident.
pub fn comes_of(suspect: &Suspect, own: &[&Sign], open: &Condition) -> bool {
    if suspect.kinds.is_sign(open.kind(), Trouble::Power) {
        return true;
    }
    let is_own = |sign: &Sign| own.iter().any(|own| own.may_be_with(sign, TOGETHER));
    let last = suspect.losses().last().copied();
    // One that was back and is missed since another start of the machine belongs to another incident, too.
    let is_soon = |last: &Sign| open.kind() != Kind::DriveGone || open.since.since(last.last) <= AFTERMATH;
    match open.kind() {
        Kind::DriveGone | Kind::DriveBackNotUsed | Kind::DriveFlapping if last.is_some() => {
            last.is_some_and(|last| is_own(last) && is_soon(last))
        }
        _ => own.iter().any(|sign| {
            let (from, to) = sign.span();
            open.since.plus(NEAR) >= from && open.since <= to.plus(AFTERMATH)
        }),
    }
}

/// What asks much of a supply, shortly before: drives that start, work on all of them, a drive that is plugged in; and
/// the board's own word that it gets too little.
fn strains<'a>(view: &CauseView<'a>, at: Moment, lost: &[Loss<'_, 'a>]) -> Vec<&'a Sign> {
    const STRAINS: [EventKind; 4] =
        [EventKind::UndervoltageBegan, EventKind::Woke, EventKind::WorkBegan, EventKind::Appeared];
    let counts = |sign: &&Sign| match (&sign.event.what, &sign.event.part) {
        (EventKind::UndervoltageBegan, _) => true,
        (EventKind::Appeared, Part::Drive(key)) => {
            sign.event.at <= at && !lost.iter().any(|(suspect, ..)| suspect.key == key)
        }
        (EventKind::Appeared, _) => false,
        _ => sign.event.at <= at,
    };
    view.near(&STRAINS, at).filter(counts).collect()
}

/// What a drive lost that its own power contact or connection may be behind: its power, or its connection again and
/// again within a day. What lies further apart is looked at by itself.
fn cut<'a>(suspect: &Suspect<'a>) -> Option<Vec<&'a Sign>> {
    let mut losses = losses(suspect);
    losses.retain(|sign| !sign.before.is_some_and(|before| before.muted));
    let spells = losses.chunk_by(|later, earlier| later.event.at.since(earlier.event.at) <= DAY);
    let is_cut = |spell: &&[&Sign]| {
        let flaps = || suspect.has(&[Kind::DriveFlapping]);
        spell.iter().any(|sign| is_powerless(sign)) || spell.len() >= 2 || flaps()
    };
    let cut: Vec<&Sign> = spells.filter(is_cut).flatten().copied().collect();
    (!cut.is_empty()).then_some(cut)
}

/// `tray-power`: one tray only lost its power, or its connection again and again within a day; transfers were not
/// damaged, and no other tray was cut off within the hours in which drives tell of it.
pub fn tray_power(left: &Left) -> Vec<Diagnosis> {
    let suspects = left.cut_off();
    let rule = |suspect: &&Suspect| {
        let own = cut(suspect)?;
        let others = suspects.iter().filter(|other| other.key != suspect.key).filter_map(|other| cut(other));
        let is_near = |other: &Sign| own.iter().any(|sign| sign.may_be_with(other, ASKED_APART));
        let alone = !others.flatten().any(is_near);
        let around = own.first()?.event.at;
        let clean = suspect.controller().is_none_or(|controller| left.view.is_clean(controller, around));
        if !alone || !clean || suspect.is_damaged_around(&own) || suspect.is_unreadable_around(&own) {
            return None;
        }
        let powerless = own.iter().any(|sign| is_powerless(sign));
        let (cause, confidence) = if powerless {
            (Cause::TrayPower, Confidence::Likely)
        } else {
            (Cause::TrayConnection, Confidence::Possible)
        };
        let diagnosis = Diagnosis::new(cause, confidence)
            .of_one(suspect, EXPLAINS, |open| comes_of(suspect, &own, open))
            .with(own)
            .without(twelve_volts(left.view))
            .without((!powerless).then_some(Unmeasured::PowerCycles));
        (!diagnosis.claims.is_empty() || !suspect.known.present).then_some(diagnosis)
    };
    suspects.iter().filter_map(rule).collect()
}

/// `supply` at the start of the machine: two drives or more of different cables have not been seen since, though they were
/// there before, and their controllers work. When that is a whole shelf, or all drives, its power is the likely reason.
pub fn dark_since_start(left: &Left) -> Vec<Diagnosis> {
    let mut dark: Vec<&Suspect> = left.with(Trouble::Connection);
    dark.retain(|suspect| suspect.is_absent_since_start() && !suspect.was_missed_before_start() && !suspect.is_worn());
    let cables: BTreeSet<&str> =
        dark.iter().map(|suspect| suspect.bridge().map_or(suspect.key.0.as_str(), |(_, chain)| chain)).collect();
    let start = Moment::default();
    let clean = |suspect: &&Suspect| {
        suspect.controller().is_none_or(|controller| left.view.is_clean(controller, start.plus(NEAR)))
    };
    if cables.len() < 2 || !dark.iter().all(clean) {
        return Vec::new();
    }
    let is_dark = |key: &DriveKey| dark.iter().any(|suspect| suspect.key == key);
    let expected: Vec<_> = left.view.memory.drives.expected().collect();
    let on_shelf = |shelf: &traylight_config::Shelf| {
        let labels: BTreeSet<&str> = shelf.trays.iter().map(|tray| tray.label.as_str()).collect();
        let of_shelf =
            |place: &traylight_data::verdict::Place| place.tray.as_deref().is_some_and(|tray| labels.contains(tray));
        let drives: Vec<&DriveKey> =
            expected.iter().filter(|(_, known)| of_shelf(&known.place)).map(|(key, _)| *key).collect();
        drives.len() >= 2 && drives.iter().all(|key| is_dark(key))
    };
    let whole = expected.iter().all(|(key, _)| is_dark(key)) || left.view.settings.shelves.iter().any(on_shelf);
    let confidence = if whole { Confidence::Likely } else { Confidence::Possible };
    let unmeasured = twelve_volts(left.view).into_iter().chain([Unmeasured::PowerCycles]);
    vec![Diagnosis::new(Cause::Supply, confidence).of(dark, CONNECTED).without(unmeasured)]
}

/// That the 12 V of the drives is not measured, where no sensor says so.
pub fn twelve_volts(view: &CauseView) -> Vec<Unmeasured> {
    let measured = view.snapshot.rails.iter().any(|rail| rail.nominal == Some(Nominal::Twelve));
    if measured { Vec::new() } else { vec![Unmeasured::TwelveVolts] }
}
