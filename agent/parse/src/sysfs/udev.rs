//! One entry of the udev database, `/run/udev/data/*`: lines of `K:value`, of which `E:KEY=VALUE` are the properties
//! (the format that systemd's sd-device library writes; unknown letters are passed over).

use crate::plain::device_text;

/// The properties that say who a drive is. Each is text from the drive, cleaned.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Properties {
    /// The serial alone: `ID_SERIAL_SHORT`, but of SCSI drives `ID_SCSI_SERIAL`, since the other is their world wide name.
    pub serial: Option<String>,
    /// `ID_WWN`, digits only. Of NVMe drives without a name of their own udev makes one up from model and serial; that
    /// is none.
    pub wwn: Option<String>,
    /// `ID_MODEL_ENC`, where spaces are `\x20`; else `ID_MODEL`, which has underscores in their place.
    pub model: Option<String>,
    /// `ID_BUS`: `ata`, `scsi`, `usb`, `nvme`.
    pub bus: Option<String>,
}

/// Reads one entry.
pub fn properties(text: &str) -> Properties {
    let value = |wanted: &str| {
        text.lines().find_map(|line| {
            let (key, value) = line.strip_prefix("E:")?.split_once('=')?;
            (key == wanted).then_some(value)
        })
    };
    let clean = |wanted: &str| device_text(value(wanted)?);
    let bus = clean("ID_BUS");
    let unit_serial = clean("ID_SCSI_SERIAL").filter(|_| bus.as_deref() == Some("scsi"));
    let encoded = value("ID_MODEL_ENC").and_then(|model| device_text(&model.replace("\\x20", " ")));
    Properties {
        serial: unit_serial.or_else(|| clean("ID_SERIAL_SHORT")),
        wwn: value("ID_WWN").and_then(digits),
        model: encoded.or_else(|| device_text(&value("ID_MODEL")?.replace('_', " "))),
        bus,
    }
}

fn digits(name: &str) -> Option<String> {
    let digits = ["0x", "naa.", "eui."].into_iter().find_map(|prefix| name.strip_prefix(prefix))?;
    digits.bytes().all(|byte| byte.is_ascii_hexdigit()).then(|| device_text(&digits.to_lowercase()))?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_four_properties_are_found_among_the_rest() {
        let entry = "S:disk/by-id/wwn-0x5000c500aabbccdd\nI:2391234\nE:ID_BUS=ata\nE:ID_MODEL=ST4000VN008-2DR166\n\
                     E:ID_SERIAL=ST4000VN008-2DR166_ZGY0ABCD\nE:ID_SERIAL_SHORT=ZGY0ABCD\nE:ID_WWN=0x5000c500aabbccdd\nG:systemd\nV:1\n";
        let wanted = Properties {
            serial: Some("ZGY0ABCD".into()),
            wwn: Some("5000c500aabbccdd".into()),
            model: Some("ST4000VN008-2DR166".into()),
            bus: Some("ata".into()),
        };
        assert_eq!(properties(entry), wanted);
    }

    /// As udev 252 writes it for the emulated SAS drive of Linux 6.1.
    #[test]
    fn a_scsi_drive_has_the_serial_and_the_model_of_its_label() {
        let entry = "E:ID_MODEL=scsi_debug\nE:ID_MODEL_ENC=scsi_debug\\x20\\x20\\x20\\x20\\x20\\x20\nE:ID_SERIAL=33333333000003e80\n\
                     E:ID_SERIAL_SHORT=3333333000003e80\nE:ID_WWN=0x3333333000003e80\nE:ID_SCSI_SERIAL=16000\nE:ID_BUS=scsi\n";
        let found = properties(entry);
        assert_eq!((found.serial.as_deref(), found.model.as_deref()), (Some("16000"), Some("scsi_debug")));
        assert_eq!(found.wwn.as_deref(), Some("3333333000003e80"));
    }

    /// As udev 252 writes it for QEMU's drive, and for one that has an EUI-64.
    #[test]
    fn a_name_that_is_made_up_from_model_and_serial_is_none() {
        let named = |name: &str| properties(&format!("E:ID_WWN={name}\n")).wwn;
        assert_eq!(named("nvme.1b36-4e564d452d30-51454d55204e564d65204374726c-00000001"), None);
        assert_eq!(named("eui.0025385B71B00FA9").as_deref(), Some("0025385b71b00fa9"));
    }

    #[test]
    fn odd_lines_are_passed_over_and_control_characters_dropped() {
        assert_eq!(properties("E:\nE:ID_SERIAL_SHORT\nX\n\n:::=\n"), Properties::default());
        assert_eq!(properties("E:ID_SERIAL_SHORT=A\u{1b}[31mB\n").serial, Some("A [31mB".into()));
    }
}
