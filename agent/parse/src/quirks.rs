//! Drives and USB bridges that must not be treated as the standards allow, as a table. What is not in it is taken to
//! keep to the standards.

/// What must be done differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Quirks {
    /// The drive may freeze under writes when its SCT status is read: read its temperature from the attributes.
    pub avoid_sct: bool,
    /// The kernel refuses ATA commands to drives behind this bridge: health cannot be read, and the drive is not to
    /// blame.
    pub blocks_ata: bool,
}

/// A USB bridge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bridge {
    /// Vendor, `idVendor`.
    pub vendor: u16,
    /// Product, `idProduct`.
    pub product: u16,
    /// True when the kernel drives it with `uas`, false with `usb-storage`.
    pub by_uas: bool,
}

/// Beginnings of models that SCT freezes, also as the 16 characters that INQUIRY has room for (Linux
/// drivers/hwmon/drivetemp.c).
const AVOID_SCT: &[&str] = &["TOSHIBA DT01ACA"];

/// Bridges that pass no ATA commands under `uas`: vendor, and product or all of them (Linux
/// drivers/usb/storage/uas-detect.h and unusual_uas.h).
const BLOCK_ATA: &[(u16, Option<u16>)] = &[
    (0x0BC2, None),
    (0x125F, Some(0xA94A)),
    (0x13FD, Some(0x3940)),
    (0x154B, Some(0xF009)),
    (0x154B, Some(0xF00B)),
    (0x154B, Some(0xF00D)),
    (0x2109, Some(0x0711)),
];

/// The quirks of a drive, and of the bridge before it if there is one.
pub fn quirks(model: &str, bridge: Option<Bridge>) -> Quirks {
    let blocks = |bridge: Bridge| {
        let is_listed = |&(vendor, product): &(u16, Option<u16>)| {
            bridge.vendor == vendor && product.is_none_or(|product| bridge.product == product)
        };
        bridge.by_uas && BLOCK_ATA.iter().any(is_listed)
    };
    Quirks {
        avoid_sct: AVOID_SCT.iter().any(|prefix| model.trim_start().starts_with(prefix)),
        blocks_ata: bridge.is_some_and(blocks),
    }
}

/// True for a serial that tells no two drives apart: too short, one character over and over, or a small number behind
/// zeros, as bridges have that put their own in place of the drive's.
pub fn is_weak_serial(serial: &str) -> bool {
    /// Shorter than the serials of drives.
    const SHORT: usize = 5;
    /// Digits that a number behind zeros may have at most to be a bridge's.
    const FEW: usize = 3;
    let serial = serial.trim();
    let mut letters = serial.chars();
    let is_uniform = letters.next().is_some_and(|first| letters.all(|letter| letter == first));
    let number = serial.trim_start_matches('0');
    let is_small = number.len() <= FEW && number.len() < serial.len() / 2;
    serial.chars().count() < SHORT || is_uniform || is_small
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn drives_that_sct_freezes_are_known_by_both_forms_of_their_name() {
        assert!(quirks("TOSHIBA DT01ACA300", None).avoid_sct);
        assert!(quirks("TOSHIBA DT01ACA3", None).avoid_sct);
        assert_eq!(quirks("TOSHIBA MG08ACA16TE", None), Quirks::default());
    }

    #[test]
    fn bridges_that_pass_nothing_are_known_under_uas_only() {
        let bridge = |vendor, product, by_uas| Bridge { vendor, product, by_uas };
        let blocks = |bridge| quirks("Songbird HB4000", Some(bridge)).blocks_ata;
        assert!(blocks(bridge(0x0BC2, 0x1234, true)));
        assert!(blocks(bridge(0x2109, 0x0711, true)));
        assert!(!blocks(bridge(0x0BC2, 0x1234, false)));
        assert!(!blocks(bridge(0x2109, 0x0715, true)));
    }

    #[test]
    fn a_serial_must_tell_drives_apart() {
        for weak in ["", "   ", "0000000000000000", "000000000001", "1234", "FFFFFFFFFFFF"] {
            assert!(is_weak_serial(weak), "{weak}");
        }
        for strong in ["00123", "WD-WCC7K0123456", "ZDH0A1B2", "00ABCD12", "HERON-0001", "S3Z8NB0K100001"] {
            assert!(!is_weak_serial(strong), "{strong}");
        }
    }

    proptest! {
        #[test]
        fn any_text_can_be_asked_about(model: String, serial: String) {
            prop_assert!(!quirks(&model, None).blocks_ata);
            prop_assert!(is_weak_serial(&serial) || serial.trim().chars().count() >= 5);
        }
    }
}
