//! The drives that belong to the box, remembered over restarts: where each was plugged when its owner last agreed, and
//! how fast its SATA link was there at best.

use super::drives;
use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::reading::DriveKey;
use traylight_data::units::MegabitsPerSecond;

/// What is there when a box is first watched belongs to it; slow drives take a while to appear.
const SETTLING: Duration = Duration::from_secs(600);

/// The drives of a box.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct KnownDrives {
    /// How long the box had been watched when this memory began.
    began: Option<Duration>,
    drives: BTreeMap<DriveKey, KnownDrive>,
}

/// A drive that the owner has agreed with: where it belongs and how fast it was.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct KnownDrive {
    /// Where it was plugged.
    pub port: Option<String>,
    /// The best speed of its link there.
    pub best_speed: Option<MegabitsPerSecond>,
}

impl KnownDrives {
    /// What was agreed of this drive.
    pub fn get(&self, drive: &DriveKey) -> Option<&KnownDrive> {
        self.drives.get(drive)
    }
}

impl Learns<Look<'_>> for KnownDrives {
    /// Takes in who is there.
    fn learn(&mut self, &Look { settings, snapshot, watched, drives: known, .. }: &Look) -> Learned {
        let mut is_new = self.began.is_none();
        let began = *self.began.get_or_insert(watched);
        let settles = watched.saturating_sub(began) < SETTLING;
        for drive in &snapshot.drives {
            let is_stranger = !self.drives.contains_key(&drive.key) && known.is_expected(&drive.key);
            if is_stranger && (settles || drives::is_named(settings, &drive.key)) {
                let there = KnownDrive { port: drive.port.clone(), best_speed: None };
                self.drives.insert(drive.key.clone(), there);
                is_new = true;
            }
            if let Some(agreed) = self.drives.get_mut(&drive.key).filter(|agreed| agreed.port == drive.port) {
                let best = agreed.best_speed.max(drive.attachment.speed.get().copied());
                is_new |= best != agreed.best_speed;
                agreed.best_speed = best;
            }
        }
        Learned::kept(is_new)
    }
}

impl KnownDrives {
    /// The owner agrees that its link need not be as fast as it was.
    pub fn accept_speed(&mut self, drive: &DriveKey) {
        if let Some(known) = self.drives.get_mut(drive) {
            known.best_speed = None;
        }
    }

    /// The owner agrees with these drives where they are now. A drive on another port has another link, whose best is not
    /// known yet.
    pub fn accept(&mut self, known: &drives::DriveMemory, which: impl Fn(&DriveKey) -> bool) {
        for (key, drive) in known.expected().filter(|(key, drive)| drive.present && which(key)) {
            let accepted = self.drives.entry(key.clone()).or_default();
            if accepted.port != drive.place.port {
                *accepted = KnownDrive { port: drive.place.port.clone(), best_speed: None };
            }
        }
    }
}
