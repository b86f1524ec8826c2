//! The sender's heartbeat: an address that is fetched while the box is judged.

use super::order::SendEvent;
use super::round::{IDLE, Round};
use crate::send::channels::from_settings::number;
use crate::send::channels::{ChannelFault, Receipt};
use crate::tell::outbox::Now;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use traylight_config::Heartbeat;

impl Round {
    /// Goes on with the pause of an earlier run.
    pub(super) fn resume_heartbeat(&mut self) {
        if let Some(heartbeat) = &self.heartbeat {
            self.heartbeat_at =
                self.outbox.heartbeat.next_at(number(heartbeat), heartbeat.every, &self.world.now().stamp);
        }
    }

    /// Fetches the address when it is time and the box was judged since; how long until then.
    #[cfg(feature = "webhook")]
    pub(super) fn beat(&mut self, heartbeat: &Heartbeat, is_watched: &AtomicBool, now: &Now) -> Duration {
        use super::round::{ANXIOUS, DeliveryOutcome};
        use crate::send::channels::heartbeat::{beat, needs};
        let left = self.heartbeat_at.since(now.stamp.moment);
        if !left.is_zero() {
            return left;
        }
        if !self.is_ready(needs(heartbeat), now) || !is_watched.swap(false, Ordering::Relaxed) {
            return ANXIOUS;
        }
        self.heartbeat_at = now.stamp.moment.plus(heartbeat.every);
        let writes = self.outbox.heartbeat.begun(number(heartbeat), &now.stamp);
        self.keep(&writes);
        let heartbeat = heartbeat.clone();
        self.under_way.spawn(async move { DeliveryOutcome::Heartbeat(beat(&heartbeat).await) });
        IDLE
    }

    #[cfg(not(feature = "webhook"))]
    pub(super) fn beat(&mut self, _: &Heartbeat, is_watched: &AtomicBool, _: &Now) -> Duration {
        is_watched.store(false, Ordering::Relaxed);
        IDLE
    }

    pub(super) fn heartbeat_outcome(&mut self, outcome: Result<Receipt, ChannelFault>) {
        let failed_before = std::mem::replace(&mut self.heartbeat_fails, outcome.is_err());
        match outcome {
            Ok(_) => {
                let writes = self.outbox.heartbeat.over();
                self.keep(&writes);
                if failed_before {
                    (self.report)(SendEvent::HeartbeatWorksAgain);
                }
            }
            Err(fault) => {
                self.outbox.heartbeat.failed();
                if !failed_before {
                    (self.report)(SendEvent::HeartbeatFails(fault));
                }
            }
        }
    }
}
