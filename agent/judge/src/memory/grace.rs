//! How long what has not appeared yet is waited for, after the start of the machine.

use std::time::Duration;
use traylight_config::Settings;

/// How long after the start of the machine drives may take to appear, and pools and volumes to be put together of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Grace {
    /// Drives.
    pub drives: Duration,
    /// Pools, and the volumes on them.
    pub pools: Duration,
}

impl Grace {
    /// As it is in force. Where a controller starts its ports one after another it is a third longer, for drives 120 s instead
    /// of 90 s: such a start was seen to take more than a minute.
    pub fn of(settings: &Settings, is_staggered: bool) -> Self {
        let set = &settings.limits.grace;
        let in_force = |set: Duration| if is_staggered { set * 4 / 3 } else { set };
        // No pool is whole before its drives are there.
        Self { drives: in_force(set.drives), pools: in_force(set.pools.max(set.drives)) }
    }
}
