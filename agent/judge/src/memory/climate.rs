//! How warm the drives and the board were over the last hours: whether both got warmer by the same amount, as when the
//! room did.

use super::airflow::awake;
use super::learning::{Learned, Learns, Look};
use crate::order::sorted;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use traylight_data::clock::Moment;

/// How often a sample is kept, and for how long.
const EVERY: Duration = Duration::from_secs(600);
const KEPT: u32 = 36;
/// A room that is this much warmer is told of, °C, and its parts may differ by so much (common practice, no source).
const WARMER: f64 = 4.0;
const ALIKE: f64 = 2.5;

/// Samples of the last six hours, oldest first: when, the middle of the drives, the warmest of the board, in °C.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Climate {
    samples: Vec<(Moment, f64, f64)>,
}

impl Learns<Look<'_>> for Climate {
    /// Takes in how warm it is now.
    fn learn(&mut self, look: &Look) -> Learned {
        let snapshot = look.snapshot;
        let due = self.samples.last().is_none_or(|(last, ..)| snapshot.taken.since(*last) >= EVERY);
        let drives = sorted(awake(snapshot).filter_map(|drive| Some(drive.temperature.get()?.0)));
        let board = snapshot.temperatures.iter().filter_map(|t| Some(t.value.get()?.0)).reduce(f64::max);
        if let (Some(middle), Some(board), true) = (drives.get(drives.len() / 2), board, due) {
            self.samples.retain(|(at, ..)| snapshot.taken.since(*at) < EVERY * KEPT);
            self.samples.push((snapshot.taken, *middle, board));
        }
        Learned::default()
    }
}

impl Climate {
    /// As when the machine has started again.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        self.samples.iter_mut().for_each(|(at, ..)| *at = by(*at));
    }

    /// True when, within the last hours and not within the last minutes, drives and board got warmer, and by the same.
    pub fn room_got_warmer(&self) -> bool {
        let Some((now, drives, board)) = self.samples.last() else { return false };
        self.samples.iter().filter(|(at, ..)| now.since(*at) >= Duration::from_secs(3600)).any(|(_, d, b)| {
            let (by_drives, by_board) = (drives - d, board - b);
            by_drives >= WARMER && by_board >= WARMER && (by_drives - by_board).abs() <= ALIKE
        })
    }
}
