//! What the kernel writes of a PCI function: its class, its link, its errors (Documentation/ABI/testing/sysfs-bus-pci and
//! sysfs-bus-pci-devices-aer_stats).

use crate::plain::{quoted, whole};
use traylight_data::reading::{ControllerKind, PcieLink};

/// What kind of controller a class code such as `0x010601` stands for (PCI Code and ID Assignment Specification, 1.1
/// and 1.12, as in Linux include/linux/pci_ids.h); `None` for what drives are not plugged into.
pub fn kind(text: &str) -> Result<Option<ControllerKind>, String> {
    let class = hexadecimal(text)?;
    Ok(match class >> 8 {
        // SCSI, IDE, RAID, ATA, SATA, SAS.
        0x0100 | 0x0101 | 0x0104..=0x0107 => Some(ControllerKind::Storage),
        0x0108 => Some(ControllerKind::Nvme),
        0x0c03 => Some(ControllerKind::UsbHost),
        _ => None,
    })
}

/// Vendor and device, each such as `0x197b`, as `197b:0585`.
pub fn id(vendor: &str, device: &str) -> Result<String, String> {
    Ok(format!("{:04x}:{:04x}", hexadecimal(vendor)?, hexadecimal(device)?))
}

/// A function that is gone answers every read with ones, and no vendor has that number (PCI Local Bus Specification
/// 3.0, 6.1; from memory). `head` is the start of its configuration space: vendor and device.
pub fn answers(head: [u8; 4]) -> bool {
    head != [0xff; 4]
}

/// The link of a function, from `current_link_speed`, such as `8.0 GT/s PCIe`, and `current_link_width`.
///
/// # Errors
/// What was found instead; a link that is down has no speed or no lanes.
pub fn pcie_link(speed: &str, width: &str) -> Result<PcieLink, String> {
    let number = speed.split_once(" GT/s").and_then(|(number, _)| number.parse::<f64>().ok());
    let gigatransfers = number
        .filter(|number| (1.0..1000.0).contains(number))
        .ok_or_else(|| format!("expected a speed such as `8.0 GT/s PCIe`, found {}", quoted(speed)))?;
    match whole(width)? {
        width @ 1..=32 => Ok(PcieLink { gigatransfers, width: width as u32 }),
        width => Err(format!("expected 1 to 32 lanes, found {width}")),
    }
}

/// The sum that ends a table of errors, such as `TOTAL_ERR_COR 12`.
pub fn total(text: &str) -> Result<u64, String> {
    let line = text.lines().find(|line| line.starts_with("TOTAL_ERR_"));
    let number = line.and_then(|line| line.split_once(' '));
    number.map_or_else(|| Err(format!("expected a line `TOTAL_ERR_…`, found {}", quoted(text))), |(_, sum)| whole(sum))
}

fn hexadecimal(text: &str) -> Result<u32, String> {
    text.strip_prefix("0x")
        .and_then(|digits| u32::from_str_radix(digits, 16).ok())
        .ok_or_else(|| format!("expected a number that begins with `0x`, found {}", quoted(text)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The values are those of Linux include/linux/pci_ids.h (`PCI_CLASS_…`).
    #[test]
    fn classes_are_those_of_the_kernels_list() {
        let kinds = [
            ("0x010601", Some(ControllerKind::Storage)),
            ("0x010700", Some(ControllerKind::Storage)),
            ("0x010400", Some(ControllerKind::Storage)),
            ("0x01018a", Some(ControllerKind::Storage)),
            ("0x010802", Some(ControllerKind::Nvme)),
            ("0x0c0330", Some(ControllerKind::UsbHost)),
            ("0x0c0500", None),
            ("0x060400", None),
            ("0x020000", None),
        ];
        for (text, wanted) in kinds {
            assert_eq!(kind(text), Ok(wanted), "{text}");
        }
        assert_eq!(kind("010601"), Err("expected a number that begins with `0x`, found `010601`".into()));
    }

    #[test]
    fn an_id_is_written_as_in_lists_of_hardware() {
        assert_eq!(id("0x197b", "0x0585"), Ok("197b:0585".into()));
        assert!(id("0x197b", "").is_err());
    }

    #[test]
    fn a_link_has_speed_and_lanes_or_says_why_not() {
        assert_eq!(pcie_link("8.0 GT/s PCIe", "2"), Ok(PcieLink { gigatransfers: 8.0, width: 2 }));
        assert_eq!(pcie_link("2.5 GT/s", "1"), Ok(PcieLink { gigatransfers: 2.5, width: 1 }));
        assert_eq!(pcie_link("Unknown", "0"), Err("expected a speed such as `8.0 GT/s PCIe`, found `Unknown`".into()));
        assert_eq!(pcie_link("5.0 GT/s PCIe", "0"), Err("expected 1 to 32 lanes, found 0".into()));
        assert!(pcie_link("nan GT/s PCIe", "1").is_err());
    }

    /// The table is as in Documentation/ABI/testing/sysfs-bus-pci-devices-aer_stats.
    #[test]
    fn errors_are_summed_up_by_the_kernel() {
        let table = "Receiver Error 2\nBad TLP 0\nBad DLLP 3\nRELAY_NUM Rollover 0\nTOTAL_ERR_COR 5\n";
        assert_eq!(total(table), Ok(5));
        assert!(total("Receiver Error 2\n").is_err());
        assert_eq!(total("TOTAL_ERR_COR -1"), Err("expected a whole number, found `-1`".into()));
    }

    #[test]
    fn all_ones_are_no_answer() {
        assert!(!answers([0xff; 4]));
        assert!(answers([0x7b, 0x19, 0x85, 0x05]));
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer(one: String, other: String) {
            let _ = (kind(&one), id(&one, &other), total(&one));
            prop_assert!(pcie_link(&one, &other).is_ok_and(|pcie_link| pcie_link.gigatransfers.is_finite()) || pcie_link(&one, &other).is_err());
        }
    }
}
