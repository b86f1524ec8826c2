//! When the processor slowed itself down last.

use super::learning::{Learned, Learns, Look};
use traylight_data::clock::Moment;

/// What is remembered of a processor that slows itself down.
#[derive(Debug, Clone, Default)]
pub struct ProcessorMemory {
    count: Option<u64>,
    /// When it did last.
    pub last_slowed: Option<Moment>,
}

impl Learns<Look<'_>> for ProcessorMemory {
    /// Takes in how often it did.
    fn learn(&mut self, look: &Look) -> Learned {
        let reading = look.snapshot.board.throttling.as_ref();
        if let Some((reading, throttling)) = reading.and_then(|reading| Some((reading, reading.get()?))) {
            let is_more = throttling.count.zip(self.count).is_some_and(|(now, before)| now > before);
            if is_more || throttling.held_back == Some(true) {
                self.last_slowed = Some(reading.taken);
            }
            self.count = throttling.count;
        }
        Learned::default()
    }
}
