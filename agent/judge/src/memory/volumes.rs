//! Which volumes were there and could be written to, remembered over restarts.

use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use traylight_data::reading::{Listing, Snapshot, Volume, Writing};

/// What is remembered of volumes, by mount point.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct VolumeMemory {
    volumes: BTreeMap<String, KnownVolume>,
}

/// A volume that was seen.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct KnownVolume {
    /// It could be written to, in this boot of the machine or an earlier one.
    pub was_writable: bool,
    /// The same since the machine started.
    pub was_writable_in_this_boot: bool,
    /// It was mounted since the machine started.
    appeared: bool,
    /// `/etc/fstab` wants it writable.
    #[serde(skip)]
    meant_writable: bool,
    /// It could not be written to at the last look, by the mount table.
    #[serde(default)]
    stopped: bool,
    /// How many errors it had written down when this mount of it was first seen, or since they were last fewer.
    errors: Option<u64>,
}

impl Learns<Look<'_>> for VolumeMemory {
    /// Takes in which volumes are there and writable. What somebody has unmounted is forgotten, but for what `/etc/fstab`
    /// wants, and for what may still be mounted after a start.
    fn learn(&mut self, &Look { snapshot, grace, .. }: &Look) -> Learned {
        if snapshot.is_blind_to(&Listing::Mounts) {
            return Learned::default();
        }
        let before = self.clone();
        let in_grace = snapshot.taken.since_boot() < grace.pools;
        for (mount, known) in self.volumes.iter_mut().filter(|(mount, _)| !is_mounted(snapshot, mount)) {
            // Whoever mounts it again makes it write again.
            known.errors = None;
            known.was_writable &= is_wanted(snapshot, mount) || (in_grace && !known.appeared);
        }
        self.volumes.retain(|mount, known| is_mounted(snapshot, mount) || known.was_writable);
        for volume in &snapshot.volumes {
            let known = self.volumes.entry(volume.mount.clone()).or_default();
            (known.appeared, known.meant_writable) = (true, volume.meant_writable);
            known.was_writable_in_this_boot |= volume.writing == Writing::Allowed;
            known.was_writable |= known.was_writable_in_this_boot;
            // What is written to again after the mount table called it stopped was mounted anew, with its errors in it.
            let is_mounted_anew = volume.writing == Writing::Allowed && known.stopped;
            let at_first = known.errors.filter(|_| !is_mounted_anew);
            let fewest = |errors: u64| at_first.map_or(errors, |first| first.min(errors));
            known.errors = volume.errors.map(fewest).or(at_first);
            known.stopped = volume.writing != Writing::Allowed;
        }
        Learned::kept(*self != before)
    }
}

impl VolumeMemory {
    /// What is known of a volume.
    pub fn get(&self, mount: &str) -> Option<&KnownVolume> {
        self.volumes.get(mount)
    }

    /// As when the machine has started again: nothing was mounted yet, and all that is mounted writes again.
    pub fn begin_boot(&mut self) {
        for known in self.volumes.values_mut() {
            *known = KnownVolume { was_writable: known.was_writable, ..KnownVolume::default() };
        }
    }

    /// Its owner agrees that this volume can only be read; false when `/etc/fstab` says otherwise.
    pub fn accept_read_only(&mut self, mount: &str) -> bool {
        let known = self.volumes.get_mut(mount).filter(|known| !known.meant_writable);
        known.map(|known| (known.was_writable, known.was_writable_in_this_boot) = (false, false)).is_some()
    }

    /// True for a volume that stops at errors and has had some since it was mounted, whatever the mount table says.
    pub fn has_stopped(&self, volume: &Volume) -> bool {
        let at_first = self.volumes.get(&volume.mount).and_then(|known| known.errors);
        volume.stops_at_errors && volume.errors > at_first
    }

    /// True for one that was mounted since the machine started.
    pub fn appeared(&self, mount: &str) -> bool {
        self.volumes.get(mount).is_some_and(|known| known.appeared)
    }
}

/// True for a volume that is mounted.
pub fn is_mounted(snapshot: &Snapshot, mount: &str) -> bool {
    snapshot.volumes.iter().any(|volume| volume.mount == mount)
}

/// True for a volume that `/etc/fstab` wants and that is not mounted.
pub fn is_wanted(snapshot: &Snapshot, mount: &str) -> bool {
    snapshot.unmounted.iter().any(|wanted| wanted.mount == mount)
}
