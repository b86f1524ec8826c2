//! Vital product data: who a SCSI drive or a bridge says it is. The kernel keeps copies in `/sys/block/*/device/`, so
//! most of it costs no command.

use crate::ata::identify::{Identify, identify};
use crate::bytes::{array, be16, byte, text};

/// The serial of page 80h (SPC-4 clause 7.8.14, from memory).
pub fn serial(bytes: &[u8]) -> Result<Option<String>, String> {
    contents(bytes, 0x80).map(text)
}

/// The world wide name of the drive on page 83h, if it has one of eight bytes (SPC-4 clause 7.8.5, from memory). Names of
/// its ports are passed over.
pub fn world_wide_name(bytes: &[u8]) -> Result<Option<u64>, String> {
    const BINARY: u8 = 1;
    const NAA: u8 = 3;
    let mut rest = contents(bytes, 0x83)?;
    while !rest.is_empty() {
        let [code_set, kind, _, length] = array::<4>(rest, 0)?;
        let length = usize::from(length);
        let Some(name) = rest.get(4..4 + length) else {
            return Err(format!("expected a name of at most {} bytes, found {length}", rest.len() - 4));
        };
        let of_the_drive = kind >> 4 & 0x3 == 0;
        if let (BINARY, NAA, true, Ok(name)) = (code_set & 0x0F, kind & 0x0F, of_the_drive, <[u8; 8]>::try_from(name)) {
            return Ok(Some(u64::from_be_bytes(name)));
        }
        rest = rest.get(4 + length..).unwrap_or_default();
    }
    Ok(None)
}

/// The ATA drive behind a translation, page 89h (SAT-3 clause 12.4.2, from memory): 60 bytes about the translation, then
/// IDENTIFY DEVICE.
///
/// # Errors
/// What was found instead of the page or of an ATA drive.
pub fn ata_drive(bytes: &[u8]) -> Result<Identify, String> {
    const IDENTIFY_DEVICE: u8 = 0xEC;
    contents(bytes, 0x89)?;
    let command = byte(bytes, 56)?;
    if command != IDENTIFY_DEVICE {
        return Err(format!("expected the answer to command ECh, found that to {command:02X}h"));
    }
    identify(bytes.get(60..).unwrap_or_default())
}

/// What a page holds behind its header of four bytes: kind of device, code, length.
fn contents(bytes: &[u8], code: u8) -> Result<&[u8], String> {
    let found = byte(bytes, 1)?;
    if found != code {
        return Err(format!("expected vital product data page {code:02X}h, found {found:02X}h"));
    }
    let length = usize::from(be16(bytes, 2)?);
    let contents = bytes.get(4..4 + length);
    contents.ok_or_else(|| format!("expected a page of {1} bytes, found {0}", bytes.len(), 4 + length))
}

/// How long an extended self-test takes, in minutes, by the Extended INQUIRY Data page, 86h (SPC-4 clause 7.8.7, from
/// memory); `None` when the drive does not state it.
pub fn extended_test_minutes(bytes: &[u8]) -> Result<Option<u16>, String> {
    let contents = contents(bytes, 0x86)?;
    // Drives of before that standard end sooner.
    Ok(be16(contents, 6).ok().filter(|minutes| !matches!(minutes, 0 | 0xFFFF)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{any_bytes, bent, hex};
    use proptest::prelude::*;

    /// A serial in text, a name of a port, and the name of the drive.
    const NAMES: &str = "00 83 00 24 02 01 00 08 48 45 52 4f 4e 2d 30 31 61 93 00 08 50 00 c5 00 aa bb cc de \
        01 03 00 08 50 00 c5 00 aa bb cc dd";

    fn behind_a_bridge() -> Vec<u8> {
        let mut page = vec![0; 572];
        page[1..4].copy_from_slice(&[0x89, 0x02, 0x38]);
        page[36] = 0x34;
        page[56] = 0xEC;
        page[60..62].copy_from_slice(&[0x40, 0x00]);
        page[80..100].copy_from_slice(b"EHOR-N20            ");
        page
    }

    #[test]
    fn a_drive_says_who_it_is() {
        assert_eq!(serial(&hex("00 80 00 08 20 20 48 45 52 4f 4e 31")), Ok(Some("HERON1".into())));
        assert_eq!(serial(&hex("00 80 00 04 20 20 20 20")), Ok(None));
        assert_eq!(world_wide_name(&hex(NAMES)), Ok(Some(0x5000_C500_AABB_CCDD)));
        assert_eq!(world_wide_name(&hex("00 83 00 00")), Ok(None));
    }

    #[test]
    fn a_bridge_shows_the_drive_behind_it() {
        assert_eq!(ata_drive(&behind_a_bridge()).unwrap().serial.as_deref(), Some("HERON-02"));
        let mut optical = behind_a_bridge();
        optical[56] = 0xA1;
        assert_eq!(ata_drive(&optical), Err("expected the answer to command ECh, found that to A1h".into()));
        let wanted = "expected a page of 572 bytes, found 100";
        assert_eq!(ata_drive(&behind_a_bridge()[..100]), Err(wanted.into()));
    }

    #[test]
    fn a_drive_need_not_say_how_long_its_test_takes() {
        assert_eq!(extended_test_minutes(&hex("00 86 00 08 00 00 00 00 00 00 01 2c")), Ok(Some(300)));
        assert_eq!(extended_test_minutes(&hex("00 86 00 08 00 00 00 00 00 00 00 00")), Ok(None));
        assert_eq!(extended_test_minutes(&hex("00 86 00 04 00 00 00 00")), Ok(None), "of an older standard");
        assert!(extended_test_minutes(&hex("00 83 00 00")).is_err());
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        assert_eq!(serial(&hex("00 83 00 00")), Err("expected vital product data page 80h, found 83h".into()));
        assert_eq!(serial(&[]), Err("expected at least 2 bytes, found 0".into()));
        let endless = hex("00 83 00 06 01 03 00 ff 50 00");
        assert_eq!(world_wide_name(&endless), Err("expected a name of at most 2 bytes, found 255".into()));
    }

    proptest! {
        #[test]
        fn whatever_comes_text_is_fit_to_show(
            bytes in prop_oneof![any_bytes(600), bent(hex(NAMES)), bent(behind_a_bridge())],
        ) {
            if let Ok(Some(serial)) = serial(&bytes) {
                prop_assert!(!serial.chars().any(char::is_control) && serial.chars().count() <= 64);
            }
            prop_assert!(world_wide_name(&bytes).is_err() || bytes[1] == 0x83);
            prop_assert!(ata_drive(&bytes).is_err() || bytes.len() >= 572);
        }
    }
}
