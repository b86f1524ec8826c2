//! Who an NVMe drive is: Identify Controller. How it is doing is in [`super::health`].

use crate::bytes::{array, byte, le16, le128, not_blank, text};
use crate::temperature::possible_from_kelvin;
use traylight_data::units::{Bytes, Celsius};

/// Who an NVMe drive is (NVMe 1.4 clause 5.15.2.2, from memory; offsets as in linux/nvme.h).
#[derive(Debug, Clone, PartialEq)]
pub struct NvmeIdentity {
    /// Serial, as printed on the label.
    pub serial: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// Firmware revision.
    pub firmware: Option<String>,
    /// Capacity of all name spaces; `None` when not stated.
    pub size: Option<Bytes>,
    /// Temperature from which it warns (WCTEMP).
    pub warning_temperature: Option<Celsius>,
    /// Temperature that it must not pass (CCTEMP).
    pub critical_temperature: Option<Celsius>,
    /// Can test itself.
    pub can_self_test: bool,
    /// How long an extended self-test takes, in minutes; `None` when not stated.
    pub extended_test_minutes: Option<u16>,
    /// How many entries the error log has room for.
    pub error_log_room: u16,
}

/// Reads Identify Controller.
pub fn controller(bytes: &[u8]) -> Result<NvmeIdentity, String> {
    let data = array::<4096>(bytes, 0)?;
    not_blank(&data)?;
    let (serial, model) = (text(&array::<20>(&data, 4)?), text(&array::<40>(&data, 24)?));
    if serial.is_none() && model.is_none() {
        return Err("expected a serial or a model, found neither".to_owned());
    }
    let capacity = le128(&data, 280)?;
    let can_self_test = le16(&data, 256)? & 1 << 4 != 0;
    Ok(NvmeIdentity {
        serial,
        model,
        firmware: text(&array::<8>(&data, 64)?),
        size: u64::try_from(capacity).ok().filter(|&bytes| bytes != 0).map(Bytes),
        warning_temperature: possible_from_kelvin(le16(&data, 266)?),
        critical_temperature: possible_from_kelvin(le16(&data, 268)?),
        can_self_test,
        extended_test_minutes: Some(le16(&data, 316)?).filter(|&minutes| can_self_test && minutes != 0),
        error_log_room: u16::from(byte(&data, 262)?) + 1,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::bent;
    use proptest::prelude::*;

    fn identify() -> Vec<u8> {
        let mut data = vec![0; 4096];
        let pieces: [(usize, &[u8]); 8] = [
            (0, &[0x36, 0x1B, 0xF4, 0x1A]),
            (4, b"HERON-N1            "),
            (24, b"Songbird N500                           "),
            (64, b"NF1.2   "),
            (256, &[0x1A, 0x01]),
            (262, &[63]),
            (266, &[0x57, 0x01, 0x75, 0x01]),
            (280, &[0x00, 0x60, 0xDB, 0x70, 0x74]),
        ];
        for (at, piece) in pieces {
            data[at..at + piece.len()].copy_from_slice(piece);
        }
        data[316..318].copy_from_slice(&35_u16.to_le_bytes());
        data
    }

    #[test]
    fn a_drive_says_who_it_is() {
        let drive = controller(&identify()).unwrap();
        assert_eq!(drive.serial.as_deref(), Some("HERON-N1"));
        assert_eq!(drive.model.as_deref(), Some("Songbird N500"));
        assert_eq!(drive.firmware.as_deref(), Some("NF1.2"));
        assert_eq!(drive.size, Some(Bytes(0x74_70DB_6000)));
        // 343 K and 373 K: what the emulated drive of the virtual machine states.
        assert_eq!(drive.warning_temperature, Some(Celsius(70.0)));
        assert_eq!(drive.critical_temperature, Some(Celsius(100.0)));
        assert_eq!((drive.can_self_test, drive.extended_test_minutes, drive.error_log_room), (true, Some(35), 64));
    }

    #[test]
    fn a_drive_without_limits_or_name_states_none() {
        let mut bare = identify();
        bare[266..270].fill(0);
        bare[280..296].fill(0);
        bare[256] = 0x0A;
        let drive = controller(&bare).unwrap();
        assert_eq!((drive.warning_temperature, drive.critical_temperature, drive.size), (None, None, None));
        assert_eq!((drive.can_self_test, drive.extended_test_minutes), (false, None));
        bare[4..64].fill(b' ');
        assert_eq!(controller(&bare), Err("expected a serial or a model, found neither".into()));
        assert_eq!(controller(&bare[..512]), Err("expected at least 4096 bytes, found 512".into()));
    }

    proptest! {
        #[test]
        fn a_bent_identity_has_a_name_or_is_refused(bytes in bent(identify())) {
            if let Ok(drive) = controller(&bytes) {
                prop_assert!(drive.serial.is_some() || drive.model.is_some());
            }
        }
    }
}
