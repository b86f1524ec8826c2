//! What is plugged into which controller, how good its link was at best, and how often it counted errors. Remembered over
//! restarts, but for counts that begin anew with the machine.

use super::drives;
use super::learning::{CountedEvent, Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::port::{bridge_of, controller_of};
use traylight_data::reading::{
    Bus, BusErrors, ControllerKind, Drive, DriveKey, EventKind, Listing, Part, PcieLink, Snapshot,
};
use traylight_data::verdict::{ControllerFault, Place};

/// Errors and resets within this count.
pub const ERRORS_COUNT_FOR: Duration = Duration::from_secs(3600);

/// What is remembered of controllers.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ControllerMemory {
    /// Each controller, by key.
    pub controllers: BTreeMap<String, KnownController>,
    /// What each counted of errors on its bus: that begins anew with the machine.
    #[serde(skip)]
    bus_errors: BTreeMap<String, BusErrors>,
    /// The drives of each USB bridge, by its chain of ports.
    #[serde(skip)]
    pub bridges: BTreeMap<String, Vec<Place>>,
}

/// A controller that is there, or was and is missed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KnownController {
    /// Which chip it is.
    pub id: String,
    /// What it speaks.
    pub kind: ControllerKind,
    /// The drives that were last seen behind it.
    pub drives: BTreeSet<DriveKey>,
    /// The best of its link, speed and width each by itself.
    pub best: Option<PcieLink>,
}

impl Learns<Look<'_>> for ControllerMemory {
    /// Takes in controllers, counts and resets.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        if snapshot.is_blind_to(&Listing::Controllers) || drives::is_blind(snapshot) {
            return Learned::default();
        }
        let is_new = self.learn_drives(snapshot);
        let mut happened = Vec::new();
        for controller in &snapshot.controllers {
            let Some(&errors) = controller.bus_errors.get() else { continue };
            // A count that fell began anew with the machine or the device.
            let before = self.bus_errors.insert(controller.key.clone(), errors).unwrap_or(errors);
            let times = errors.corrected.saturating_sub(before.corrected);
            happened.push(CountedEvent { what: bus_errors(&controller.key), times, span: ERRORS_COUNT_FOR });
        }
        for (chain, place) in bridged(look.settings, snapshot) {
            let places = self.bridges.entry(chain).or_default();
            if !places.contains(&place) {
                places.push(place);
            }
        }
        for event in snapshot.events.iter().filter(|event| event.what == EventKind::Reset) {
            let chain = match &event.part {
                Part::Usb(chain) => Some(chain.clone()),
                Part::Drive(key) => bridge_under(snapshot, key),
                _ => None,
            };
            if let Some(chain) = chain.filter(|chain| self.bridges.contains_key(chain)) {
                happened.push(CountedEvent { what: resets(&chain), times: 1, span: ERRORS_COUNT_FOR });
            }
        }
        Learned { is_new, happened, ..Learned::default() }
    }
}

impl ControllerMemory {
    /// Takes in what is plugged where; true when that is worth keeping.
    fn learn_drives(&mut self, snapshot: &Snapshot) -> bool {
        let before = self.controllers.clone();
        for controller in &snapshot.controllers {
            let new = || KnownController {
                id: controller.id.clone(),
                kind: controller.kind,
                drives: BTreeSet::new(),
                best: None,
            };
            let known = self.controllers.entry(controller.key.clone()).or_insert_with(new);
            if known.id != controller.id {
                // Another card in the same slot has another best; the drives may be the same.
                *known = KnownController { drives: std::mem::take(&mut known.drives), ..new() };
            }
            known.best = better(known.best, controller.pcie_link.get().copied());
        }
        for drive in &snapshot.drives {
            let head = drive.port.as_deref().and_then(controller_of);
            for (key, known) in &mut self.controllers {
                if head == Some(key) {
                    known.drives.insert(drive.key.clone());
                } else {
                    known.drives.remove(&drive.key);
                }
            }
        }
        let is_there = |key: &String| snapshot.controllers.iter().any(|controller| controller.key == *key);
        self.controllers.retain(|key, known| is_there(key) || !known.drives.is_empty());
        self.controllers != before
    }

    /// The owner agrees with a controller as it is: one that is gone is no longer missed, and its link need not be as it was.
    pub fn accept(&mut self, key: &str, what: &ControllerFault) {
        let Some(known) = self.controllers.get_mut(key) else { return };
        match what {
            ControllerFault::Gone => known.drives.clear(),
            ControllerFault::SlowLink { .. } => known.best = None,
            _ => {}
        }
    }
}

fn better(best: Option<PcieLink>, now: Option<PcieLink>) -> Option<PcieLink> {
    match (best, now) {
        (Some(best), Some(now)) => Some(PcieLink {
            gigatransfers: best.gigatransfers.max(now.gigatransfers),
            width: best.width.max(now.width),
        }),
        (best, now) => best.or(now),
    }
}

fn bridged<'a>(settings: &'a Settings, snapshot: &'a Snapshot) -> impl Iterator<Item = (String, Place)> + 'a {
    let on_usb = snapshot.drives.iter().filter(|drive| drive.bus == Bus::Usb);
    on_usb.filter_map(|drive| Some((chain_of(drive)?, drives::place_of(settings, drive))))
}

fn bridge_under(snapshot: &Snapshot, key: &DriveKey) -> Option<String> {
    chain_of(snapshot.drives.iter().find(|drive| drive.key == *key)?)
}

/// The chain of ports that leads to the USB bridge of a drive.
fn chain_of(drive: &Drive) -> Option<String> {
    let (_, chain) = bridge_of(drive.port.as_deref()?)?;
    Some(chain.to_owned())
}

/// What the errors on its bus are counted as.
pub fn bus_errors(key: &str) -> String {
    format!("bus errors {key}")
}

/// What the resets of a bridge are counted as.
pub fn resets(chain: &str) -> String {
    format!("bridge resets {chain}")
}
