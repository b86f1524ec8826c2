//! SCT Error Recovery Control: how long a drive tries before it says that it cannot.

use crate::scsi::sense_data::Sense;
use std::time::Duration;
use traylight_data::reading::RecoveryLimit;

/// The limit in force, from the registers that the question brings back: COUNT holds the low byte and LBA(7:0) the high
/// byte of a number of tenths of a second; 0 is no limit (ACS-3 clause 8.3.4, from memory).
///
/// # Errors
/// When the drive refused, or the registers did not come back.
pub fn recovery_limit(answer: &Sense) -> Result<RecoveryLimit, String> {
    let registers = answer.carried_out()?;
    let (Some(low), Some(lba)) = (registers.count, registers.lba) else {
        return Err("expected the limit in COUNT and LBA, found no registers".to_owned());
    };
    let tenths = (lba as u16 & 0xFF) << 8 | low & 0xFF;
    Ok(match tenths {
        0 => RecoveryLimit::Off,
        tenths => RecoveryLimit::After(Duration::from_millis(u64::from(tenths) * 100)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scsi::sense_data::{Answering, sense};
    use crate::testing::{any_bytes, hex};
    use proptest::prelude::*;

    fn answered(low: u8, high: u8, status: u8) -> Result<RecoveryLimit, String> {
        let reply =
            format!("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 {low:02x} 00 {high:02x} 00 4f 00 c2 00 {status:02x}");
        recovery_limit(&sense(&hex(&reply), Answering::Kernel).unwrap())
    }

    #[test]
    fn seven_seconds_are_what_drives_for_pools_come_with() {
        assert_eq!(answered(70, 0, 0x50), Ok(RecoveryLimit::After(Duration::from_secs(7))));
        assert_eq!(answered(0x2C, 0x01, 0x50), Ok(RecoveryLimit::After(Duration::from_secs(30))));
    }

    #[test]
    fn nothing_is_no_limit_and_an_error_is_no_answer() {
        assert_eq!(answered(0, 0, 0x50), Ok(RecoveryLimit::Off));
        assert!(answered(70, 0, 0x51).is_err());
    }

    proptest! {
        #[test]
        fn any_sense_gets_an_answer(bytes in any_bytes(64)) {
            if let Ok(answer) = sense(&bytes, Answering::Bridge) {
                let has_registers = answer.registers.is_some();
                prop_assert!(recovery_limit(&answer).is_err() || has_registers);
            }
        }
    }
}
