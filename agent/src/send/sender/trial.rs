//! Tests of a channel: a message that is tried immediately, beside what waits, and whose outcome somebody waits for.

use super::order::Trial;
use super::round::{DeliveryOutcome, Round, named};
use crate::send::channels::{ChannelFault, Receipt, within};
use crate::tell::batch::{Batch, Item};
use std::sync::Arc;
use std::time::Duration;

/// A test takes no longer, whatever the channel allows.
pub const TRIAL_LIMIT: Duration = Duration::from_secs(300);

impl Round {
    /// Tries the message now: no pause, no quiet hours, no queue holds it up.
    pub(super) fn try_now(&mut self, trial: Trial) {
        let Trial { channel: name, message, reply } = trial;
        let Some((_, channel)) = named(&self.channels, &name) else {
            return reply(Err(ChannelFault::NotBuiltIn));
        };
        if self.trials.contains_key(&name) {
            return reply(Err(ChannelFault::TestUnderWay));
        }
        self.trials.insert(name.clone(), reply);
        let batch = Batch::of(Item::new(message, 0, 1, &self.world.now().stamp));
        let channel = Arc::clone(channel);
        self.under_way.spawn(async move {
            let outcome = within(TRIAL_LIMIT, channel.send(&batch)).await;
            DeliveryOutcome::Trial(name, batch.ids(), outcome)
        });
    }

    /// A test has ended. A channel that works is used again for what waits.
    pub(super) fn trial_outcome(&mut self, channel: String, ids: Vec<String>, outcome: Result<Receipt, ChannelFault>) {
        if let Some(reply) = self.trials.remove(&channel) {
            reply(outcome.clone());
        }
        match outcome {
            Ok(receipt) => {
                let now = self.world.now();
                let failed = self.fails(&channel, &now);
                let (writes, after) = self.outbox.proved(&channel, &now);
                self.keep(&writes);
                self.report_receipt(channel, ids, receipt, failed.then_some(after));
            }
            Err(fault) => {
                let now = self.world.now();
                if self.outbox.disproved(&channel, &fault, &now) {
                    self.report_failure(channel, fault, &now);
                }
            }
        }
    }

    /// Tests that were cut off by new settings.
    pub(super) fn give_up_trials(&mut self) {
        for (_, reply) in std::mem::take(&mut self.trials) {
            reply(Err(ChannelFault::Reloaded));
        }
    }
}
