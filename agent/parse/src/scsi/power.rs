//! Whether a SCSI drive sleeps, from the answer to REQUEST SENSE. ATA drives must be asked otherwise
//! ([`crate::ata::power`]): the kernel answers this question in their place.

use super::sense_data::Sense;

/// The power state of a SCSI drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScsiPower {
    /// It works, or waits for work.
    Active,
    /// One of the idle conditions; the disks turn.
    Idle,
    /// One of the standby conditions, or a lower one that has no name.
    Standby,
    /// It was told to stop.
    Stopped,
}

/// The power state in the sense data that REQUEST SENSE returned as data (Seagate SCSI Commands Reference, clause 3.41;
/// linux/drivers/scsi/sense_codes.h).
///
/// # Errors
/// What was found instead; the state is then not known, and the drive must be taken as asleep.
pub fn scsi_power(answer: &Sense) -> Result<ScsiPower, String> {
    match (answer.key, answer.asc, answer.ascq) {
        (0x0, 0x00, 0x00) => Ok(ScsiPower::Active),
        (0x0, 0x5E, 0x01 | 0x03 | 0x05..=0x08) => Ok(ScsiPower::Idle),
        (0x0, 0x5E, 0x00 | 0x02 | 0x04 | 0x09 | 0x0A) => Ok(ScsiPower::Standby),
        (0x2, 0x04, 0x02) => Ok(ScsiPower::Stopped),
        (key, asc, ascq) => Err(format!("expected a power state, found sense {key:X}h/{asc:02X}h/{ascq:02X}h")),
    }
}

impl ScsiPower {
    /// True when the drive must be asked nothing else.
    pub fn is_asleep(self) -> bool {
        matches!(self, Self::Standby | Self::Stopped)
    }
}

#[cfg(test)]
mod tests {
    use super::super::sense_data::{Answering, sense};
    use super::*;
    use crate::testing::hex;
    use proptest::prelude::*;

    fn answered(key: u8, asc: u8, ascq: u8) -> Result<ScsiPower, String> {
        let reply = format!("70 00 {key:02x} 00 00 00 00 0a 00 00 00 00 {asc:02x} {ascq:02x} 00 00 00 00");
        scsi_power(&sense(&hex(&reply), Answering::Scsi).unwrap())
    }

    #[test]
    fn states_by_their_codes() {
        // Names of the codes: linux/drivers/scsi/sense_codes.h, 5E00h to 5E0Ah.
        for qualifier in [0x01, 0x03, 0x05, 0x06, 0x07, 0x08] {
            assert_eq!(answered(0, 0x5E, qualifier), Ok(ScsiPower::Idle), "{qualifier:02X}h");
        }
        for qualifier in [0x00, 0x02, 0x04, 0x09, 0x0A] {
            assert!(answered(0, 0x5E, qualifier).unwrap().is_asleep(), "{qualifier:02X}h");
        }
        assert_eq!(answered(0, 0, 0), Ok(ScsiPower::Active));
        // The kernel's emulated drive after START STOP UNIT, captured in a virtual machine.
        assert_eq!(answered(2, 0x04, 0x02), Ok(ScsiPower::Stopped));
    }

    #[test]
    fn another_answer_is_no_state() {
        assert_eq!(answered(5, 0x20, 0), Err("expected a power state, found sense 5h/20h/00h".into()));
        assert!(answered(0, 0x5E, 0x41).is_err());
    }

    proptest! {
        #[test]
        fn only_a_drive_without_error_is_awake(key in 0_u8..16, asc: u8, ascq: u8) {
            if answered(key, asc, ascq).is_ok_and(|state| !state.is_asleep()) {
                prop_assert!(key == 0 && (asc == 0 || asc == 0x5E));
            }
        }
    }
}
