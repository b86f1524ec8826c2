//! One entry of the udev database, `/run/udev/data/*`: lines of `K:value`, of which `E:KEY=VALUE` are the properties
//! (the format that systemd's sd-device library writes; unknown letters are passed over).

use super::plain::device_text;

/// The properties that say who a drive is. Each is text from the drive, cleaned.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Properties {
    /// `ID_SERIAL_SHORT`: the serial alone.
    pub serial: Option<String>,
    /// `ID_WWN`.
    pub wwn: Option<String>,
    /// `ID_MODEL`, with its underscores.
    pub model: Option<String>,
    /// `ID_BUS`: `ata`, `scsi`, `usb`, `nvme`.
    pub bus: Option<String>,
}

/// Reads one entry.
pub fn properties(text: &str) -> Properties {
    let mut found = Properties::default();
    for line in text.lines() {
        let Some((key, value)) = line.strip_prefix("E:").and_then(|line| line.split_once('=')) else {
            continue;
        };
        match key {
            "ID_SERIAL_SHORT" => found.serial = device_text(value),
            "ID_WWN" => found.wwn = device_text(value.trim_start_matches("0x")),
            "ID_MODEL" => found.model = device_text(&value.replace('_', " ")),
            "ID_BUS" => found.bus = device_text(value),
            _ => {}
        }
    }
    found
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

    #[test]
    fn odd_lines_are_passed_over_and_control_characters_dropped() {
        assert_eq!(properties("E:\nE:ID_SERIAL_SHORT\nX\n\n:::=\n"), Properties::default());
        assert_eq!(properties("E:ID_SERIAL_SHORT=A\u{1b}[31mB\n").serial, Some("A [31mB".into()));
    }
}
