//! How warm each drive was over the last minutes.

use super::airflow::awake;
use super::learning::{Learned, Learns, Look};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::clock::{MINUTE, Moment};
use traylight_data::reading::DriveKey;

/// The span over which a rise is looked at.
pub const SPAN: Duration = Duration::from_secs(10 * 60);

/// A drive that is less than so many degrees above the median of its kind is not odd.
pub const NOT_ODD: f64 = 5.0;

/// The recent curve of each drive, oldest first.
#[derive(Debug, Clone, Default)]
pub struct WarmthMemory {
    curves: BTreeMap<DriveKey, Vec<(Moment, f64)>>,
}

impl Learns<Look<'_>> for WarmthMemory {
    /// Takes in the temperatures that are new.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        for drive in awake(snapshot) {
            let Some(celsius) = drive.temperature.get() else { continue };
            let curve = self.curves.entry(drive.key.clone()).or_default();
            if curve.last().is_none_or(|(last, _)| *last < drive.temperature.taken) {
                curve.push((drive.temperature.taken, celsius.0));
            }
            // One reading from before the span stays, to measure from.
            while curve.len() > 2 && snapshot.taken.since(curve[1].0) >= SPAN {
                curve.remove(0);
            }
        }
        Learned::default()
    }
}

impl WarmthMemory {
    /// How much warmer a drive is than ten minutes ago; `None` until it was looked at for that long.
    pub fn rise(&self, drive: &DriveKey) -> Option<f64> {
        let curve = self.curves.get(drive)?;
        let ((first, was), (last, is)) = (curve.first()?, curve.last()?);
        (last.since(*first) >= SPAN - MINUTE).then_some(is - was)
    }

    /// True once it has reported a temperature.
    pub fn has_reported(&self, drive: &DriveKey) -> bool {
        self.curves.contains_key(drive)
    }
}
