//! What the kernel writes of a drive's attachment: link speed, time-outs, patience.

use crate::plain::quoted;
use std::time::Duration;
use traylight_data::units::MegabitsPerSecond;

/// The speed of a SATA link, such as `6.0 Gbps` (Linux drivers/ata/libata-core.c, `sata_spd_string`). `None` is
/// `<unknown>`: the link is down, or its controller does not say.
pub fn sata_speed(text: &str) -> Result<Option<MegabitsPerSecond>, String> {
    match text {
        "1.5 Gbps" => Ok(Some(MegabitsPerSecond(1500))),
        "3.0 Gbps" => Ok(Some(MegabitsPerSecond(3000))),
        "6.0 Gbps" => Ok(Some(MegabitsPerSecond(6000))),
        "<unknown>" => Ok(None),
        _ => Err(format!("expected a SATA speed such as `6.0 Gbps`, found {}", quoted(text))),
    }
}

/// The speed of a USB device in megabits per second: `1.5`, `12`, `480`, `5000` and so on
/// (Documentation/ABI/stable/sysfs-bus-usb, `speed`).
///
/// # Errors
/// What was found instead; `unknown` while the device is being set up.
pub fn usb_speed(text: &str) -> Result<MegabitsPerSecond, String> {
    let whole = text.split_once('.').map_or(text, |(whole, _)| whole);
    let speed = whole.parse().ok().filter(|speed| *speed > 0).map(MegabitsPerSecond);
    speed.ok_or_else(|| format!("expected a USB speed such as `480`, found {}", quoted(text)))
}

/// A counter of a SCSI device, such as `0x1f` (Linux drivers/scsi/scsi_sysfs.c).
pub fn device_count(text: &str) -> Result<u64, String> {
    text.strip_prefix("0x")
        .and_then(|digits| u64::from_str_radix(digits, 16).ok())
        .ok_or_else(|| format!("expected a number that begins with `0x`, found {}", quoted(text)))
}

/// Seconds that the kernel waits for a command.
pub fn patience(text: &str) -> Result<Duration, String> {
    crate::plain::whole(text).map(Duration::from_secs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn speeds_counts_and_patience_are_read_as_the_kernel_writes_them() {
        assert_eq!(sata_speed("3.0 Gbps"), Ok(Some(MegabitsPerSecond(3000))));
        assert_eq!(sata_speed("<unknown>"), Ok(None));
        assert_eq!(usb_speed("5000"), Ok(MegabitsPerSecond(5000)));
        assert_eq!(usb_speed("1.5"), Ok(MegabitsPerSecond(1)));
        assert_eq!(device_count("0x1f"), Ok(31));
        assert_eq!(patience("30"), Ok(Duration::from_secs(30)));
    }

    #[test]
    fn what_is_none_of_these_is_said() {
        assert_eq!(sata_speed("12 Gbps"), Err("expected a SATA speed such as `6.0 Gbps`, found `12 Gbps`".into()));
        assert_eq!(device_count("31"), Err("expected a number that begins with `0x`, found `31`".into()));
        assert!(device_count("0x").is_err());
        assert_eq!(usb_speed("unknown"), Err("expected a USB speed such as `480`, found `unknown`".into()));
        assert!(patience("-1").is_err());
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer(text: String) {
            let _ = (sata_speed(&text), patience(&text));
            prop_assert_eq!(device_count(&text).is_ok(), text.len() > 2 && text.starts_with("0x") && u64::from_str_radix(&text[2..], 16).is_ok());
        }
    }
}
