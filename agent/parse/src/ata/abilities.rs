//! What an ATA drive can be asked, from the bits of IDENTIFY DEVICE. The rest of that page, and the tests of these bits
//! on whole pages, are in [`super::identify`].

use super::words::{sata, stated};
use crate::bytes::le16;

/// What a drive can be asked, and how it is set. Asking for what is not here costs an error on the cable, so all that
/// is optional hangs on one of these.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Abilities {
    /// SMART is there.
    pub smart: bool,
    /// SMART is switched on.
    pub smart_enabled: bool,
    /// Keeps a SMART error log.
    pub error_log: bool,
    /// Can test itself.
    pub self_test: bool,
    /// General Purpose Logging: READ LOG EXT.
    pub general_logs: bool,
    /// READ LOG DMA EXT.
    pub dma_logs: bool,
    /// SMART Command Transport: the temperature now.
    pub sct: bool,
    /// SCT data tables: the drive's own temperature limits.
    pub sct_tables: bool,
    /// SCT Error Recovery Control: a limit to how long the drive tries.
    pub recovery_control: bool,
    /// SATA Phy event counters, log 11h; read with READ LOG EXT only.
    pub phy_counters: bool,
    /// Native command queuing.
    pub queuing: bool,
    /// Power management, and so CHECK POWER MODE.
    pub power_management: bool,
    /// Extended power conditions.
    pub extended_power_conditions: bool,
    /// Waits to be told before it spins up.
    pub power_up_in_standby: bool,
    /// TRIM.
    pub trim: bool,
    /// The write cache is switched on.
    pub write_cache_enabled: bool,
    /// A password is set.
    pub security_enabled: bool,
    /// The password is wanted before data is given.
    pub security_locked: bool,
    /// Security settings cannot be changed until the next power-on.
    pub security_frozen: bool,
}

impl Abilities {
    /// From the 512 bytes of IDENTIFY DEVICE (ACS-3 clause 7.12, from memory, and linux/ata.h).
    pub(super) fn of(data: &[u8]) -> Result<Self, String> {
        let bit = |word: u16, bit: u32| word >> bit & 1 != 0;
        let word = |index: usize| le16(data, index * 2);
        let commands = word(82)?;
        let enabled = word(85)?;
        let also = stated(word(83)?);
        let logs = stated(word(84)?) | stated(word(87)?);
        let sata = sata(word(76)?);
        // Word 86 says whether words 119 and 120 are there.
        let late = if bit(word(86)?, 15) { stated(word(119)?) | stated(word(120)?) } else { 0 };
        let transport = word(206)?;
        let security = word(128)?;
        let smart = bit(commands, 0);
        let general_logs = bit(logs, 5);
        Ok(Self {
            smart,
            smart_enabled: smart && bit(enabled, 0),
            error_log: bit(logs, 0),
            self_test: bit(logs, 1),
            general_logs,
            dma_logs: bit(late, 3),
            sct: bit(transport, 0),
            sct_tables: bit(transport, 0) && bit(transport, 5),
            recovery_control: bit(transport, 0) && bit(transport, 3),
            phy_counters: general_logs && bit(sata, 10),
            queuing: bit(sata, 8),
            power_management: bit(commands, 3),
            extended_power_conditions: bit(late, 7),
            power_up_in_standby: bit(also, 5),
            trim: bit(word(169)?, 0),
            write_cache_enabled: bit(commands, 5) && bit(enabled, 5),
            security_enabled: bit(security, 0) && bit(security, 1),
            security_locked: bit(security, 0) && bit(security, 2),
            security_frozen: bit(security, 0) && bit(security, 3),
        })
    }
}
