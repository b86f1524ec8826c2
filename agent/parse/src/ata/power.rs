//! Whether an ATA drive sleeps, from its answer to CHECK POWER MODE: the one question that wakes no drive. What to do
//! about it is not said here.

use crate::scsi::sense_data::Sense;

/// The power mode of an ATA drive (HC580 clause 12.1; ACS-3 clause 7.3, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerMode {
    /// Standby, the disks stand still (PM2, or EPC Standby_z).
    Standby,
    /// EPC Standby_y.
    StandbyY,
    /// Obsolete: served from flash, the disks stand still or are about to (from memory).
    FlashDisksDown,
    /// Obsolete: served from flash, the disks turn or are about to (from memory).
    FlashDisksUp,
    /// Idle, on drives without EPC.
    Idle,
    /// EPC Idle_a.
    IdleA,
    /// EPC Idle_b: the heads are usually parked.
    IdleB,
    /// EPC Idle_c: the heads are parked, and the disks may turn more slowly.
    IdleC,
    /// Active, or idle on drives that do not tell the two apart.
    ActiveOrIdle,
    /// A value that no standard gives a meaning.
    Reserved(u8),
}

/// The power mode in the registers that CHECK POWER MODE (E5h) left.
///
/// # Errors
/// Why the answer cannot be believed; the mode is then not known, and the drive must be taken as asleep.
pub fn power_mode(answer: &Sense) -> Result<PowerMode, String> {
    let Some(count) = answer.carried_out()?.count else {
        return Err("expected a reply with the COUNT register, found one without".to_owned());
    };
    // The mode is in the lower half, whatever a bridge leaves above.
    Ok(PowerMode::from_count((count & 0xFF) as u8))
}

impl PowerMode {
    /// The mode that the lower half of the COUNT register names.
    pub fn from_count(count: u8) -> Self {
        match count {
            0x00 => Self::Standby,
            0x01 => Self::StandbyY,
            0x40 => Self::FlashDisksDown,
            0x41 => Self::FlashDisksUp,
            0x80 => Self::Idle,
            0x81 => Self::IdleA,
            0x82 => Self::IdleB,
            0x83 => Self::IdleC,
            0xFF => Self::ActiveOrIdle,
            other => Self::Reserved(other),
        }
    }

    /// True when the drive must be asked nothing else. What has no meaning counts as asleep: waking a drive is worse
    /// than a reading less.
    pub fn is_asleep(self) -> bool {
        matches!(self, Self::Standby | Self::StandbyY | Self::FlashDisksDown | Self::Reserved(_))
    }

    /// True when the drive is awake but its heads may be parked, so that asking too often wears them.
    pub fn may_have_parked(self) -> bool {
        matches!(self, Self::IdleB | Self::IdleC)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scsi::sense_data::{Answering, sense};
    use crate::testing::{any_bytes, hex};
    use proptest::prelude::*;

    fn answered(count: u8, status: u8) -> Result<PowerMode, String> {
        let reply = format!("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 {count:02x} 00 00 00 00 00 00 00 {status:02x}");
        power_mode(&sense(&hex(&reply), Answering::Bridge).unwrap())
    }

    #[test]
    fn modes_by_the_table_of_the_standard() {
        // HC580 clause 12.1 table 86; 40h and 41h from memory.
        let asleep = [0x00, 0x01, 0x02, 0x3F, 0x40, 0x84, 0xFE];
        let awake = [0x41, 0x80, 0x81, 0x82, 0x83, 0xFF];
        for count in asleep {
            assert!(answered(count, 0x50).unwrap().is_asleep(), "{count:02X}h");
        }
        for count in awake {
            assert!(!answered(count, 0x50).unwrap().is_asleep(), "{count:02X}h");
        }
        assert_eq!(answered(0x82, 0x50), Ok(PowerMode::IdleB));
        assert!(PowerMode::IdleB.may_have_parked() && !PowerMode::IdleA.may_have_parked());
    }

    #[test]
    fn an_aborted_question_does_not_read_as_standby() {
        // COUNT still holds the 1 that was asked with, which would be Standby_y.
        let aborted = hex("f0 00 0b 04 41 00 01 0a 80 04 01 00 00 00 00 00 00 00");
        let answer = sense(&aborted, Answering::Kernel).unwrap();
        assert_eq!(power_mode(&answer), Err("expected sense 1h/00h/1Dh, found Bh/00h/00h".into()));
    }

    #[test]
    fn a_busy_or_silent_drive_has_no_known_mode() {
        assert!(answered(0x00, 0x00).is_err());
        assert!(answered(0x00, 0xD0).is_err());
        assert!(answered(0x00, 0x51).is_err());
        assert!(answered(0x00, 0x70).is_err());
    }

    #[test]
    fn a_bridge_may_answer_in_fixed_format() {
        let reply = hex("f0 00 01 00 50 00 80 0a 00 00 00 00 00 1d 00 00 00 00");
        assert_eq!(power_mode(&sense(&reply, Answering::Bridge).unwrap()), Ok(PowerMode::Idle));
    }

    proptest! {
        #[test]
        fn every_count_has_a_meaning_and_noise_has_none(count: u8, noise in any_bytes(40)) {
            prop_assert_eq!(answered(count, 0x50), Ok(PowerMode::from_count(count)));
            if let Ok(answer) = sense(&noise, Answering::Bridge) {
                prop_assert!(power_mode(&answer).is_err() || answer.registers.is_some());
            }
        }
    }
}
