//! Causes on the way over USB: one bridge with all the drives behind it, or the 5 V of several.

use super::connection::is_wrong_tray;
use super::diagnosis::{Diagnosis, Left};
use super::view::{Suspect, at_once};
use crate::kinds::{TOGETHER, Trouble};
use crate::memory::sign::Sign;
use std::collections::BTreeMap;
use traylight_data::clock::DAY;
use traylight_data::clock::Moment;
use traylight_data::reading::{EventKind, Part};
use traylight_data::verdict::{Cause, Confidence, Unmeasured};

const CUT_OFF: &[Trouble] = &[Trouble::Connection, Trouble::Power];

/// The drives in trouble behind USB bridges, by host and chain of ports.
fn by_bridge<'v, 'a>(left: &Left<'v, 'a>) -> BTreeMap<(&'a str, &'a str), Vec<&'v Suspect<'a>>> {
    let mut found: BTreeMap<_, Vec<&Suspect>> = BTreeMap::new();
    for suspect in left.cut_off() {
        if let Some(bridge) = suspect.bridge() {
            found.entry(bridge).or_default().push(suspect);
        }
    }
    found
}

fn cut_times(suspect: &Suspect) -> Vec<Moment> {
    suspect.losses().iter().map(|sign| sign.event.at).collect()
}

/// `usb-bridge`: everything behind one bridge went or was reset together, and nothing else did. Whether its drives lost
/// their power tells nothing: a bridge that fails may take it from them.
pub fn bridge(left: &Left) -> Vec<Diagnosis> {
    let bridges = by_bridge(left);
    let rule = |(bridge, suspects): (&(&str, &str), &Vec<&Suspect>)| {
        let (_, chain) = *bridge;
        let behind = left.view.memory.drives.expected().filter(|(_, known)| {
            known.place.port.as_deref().and_then(traylight_data::reading::port::bridge_of) == Some(*bridge)
        });
        let all = behind.map(|(key, _)| key).all(|key| suspects.iter().any(|suspect| suspect.key == key));
        let part = Part::Usb(chain.to_owned());
        let since = suspects.iter().map(|suspect| suspect.since).min()?;
        let resets: Vec<_> = left
            .view
            .memory
            .ledger
            .signs
            .all()
            .filter(|sign| sign.event.part == part && sign.last >= since.minus(DAY))
            .filter(|sign| matches!(sign.event.what, EventKind::Reset | EventKind::Vanished | EventKind::TimedOut))
            .collect();
        // That a bridge is disconnected is told of one that fails as of a plug that is pulled.
        let failed = resets.iter().any(|sign| sign.event.what != EventKind::Vanished);
        let together = at_once(suspects, cut_times);
        let at = together.first().map_or(since, |(_, at)| *at);
        let near = |sign: &&Sign| sign.event.at.apart(at) <= TOGETHER;
        let others = left.view.suspects.iter().filter(|other| other.bridge() != Some(*bridge));
        let alone = !others.flat_map(Suspect::losses).any(|sign| near(&sign));
        let at_start = suspects.len() >= 2 && suspects.iter().all(|suspect| suspect.is_absent_since_start());
        let went = together.len() == suspects.len() || !resets.is_empty() || at_start;
        let by_hand = !failed && suspects.iter().any(|suspect| is_wrong_tray(left, suspect));
        if !all || !alone || !went || by_hand {
            return None;
        }
        let confidence = if suspects.len() >= 2 || failed { Confidence::Likely } else { Confidence::Possible };
        let losses = suspects.iter().flat_map(|suspect| suspect.losses());
        let diagnosis = Diagnosis::new(Cause::UsbBridge, confidence).of(suspects.iter().copied(), CUT_OFF);
        Some(diagnosis.part(format!("usb {chain}")).with(losses).with(resets).without([Unmeasured::PowerCycles]))
    };
    bridges.iter().filter_map(rule).collect()
}

/// `usb-power`: several bridges of one host went within ten seconds.
pub fn power(left: &Left) -> Vec<Diagnosis> {
    let mut hosts: BTreeMap<&str, Vec<&Suspect>> = BTreeMap::new();
    for ((host, _), suspects) in by_bridge(left) {
        hosts.entry(host).or_default().extend(suspects);
    }
    let rule = |(host, suspects): (&str, Vec<&Suspect>)| {
        let together = at_once(&suspects, cut_times);
        let bridges: std::collections::BTreeSet<_> =
            together.iter().filter_map(|(suspect, _)| suspect.bridge()).collect();
        let at = together.first().map(|(_, at)| *at)?;
        let low: Vec<_> = left.view.near(&[EventKind::UndervoltageBegan], at).collect();
        (bridges.len() >= 2).then(|| {
            let confidence = if low.is_empty() { Confidence::Possible } else { Confidence::Likely };
            Diagnosis::new(Cause::UsbPower, confidence)
                .of(together.iter().map(|(suspect, _)| *suspect), CUT_OFF)
                .part(host)
                .with(together.iter().flat_map(|(suspect, _)| suspect.losses()))
                .with(low)
                .without([Unmeasured::PowerCycles])
        })
    };
    hosts.into_iter().filter_map(rule).collect()
}
