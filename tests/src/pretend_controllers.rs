//! Controllers of the pretend box: PCI functions with the files and links that the kernel makes for them
//! (Documentation/ABI/testing/sysfs-bus-pci, sysfs-bus-pci-devices-aer_stats), and a SATA controller of a device tree.

use crate::pretend_box::PretendBox;

/// The SATA controller on the board that all SATA drives hang on; it is not behind a PCIe port.
pub const SATA: &str = "/sys/devices/pci0000:00/0000:00:1f.2";
/// The USB host controller.
pub const USB: &str = "/sys/devices/pci0000:00/0000:00:14.0";
/// The port that a SATA card is plugged into, and the card.
pub const PORT: &str = "/sys/devices/pci0000:00/0000:00:1c.0";
/// The card.
pub const CARD: &str = "/sys/devices/pci0000:00/0000:00:1c.0/0000:02:00.0";

impl PretendBox {
    /// What a box with drives has: a SATA controller, a USB host, and a card with a link of two lanes.
    pub fn controllers(&self) -> &Self {
        self.pci(SATA, "0x010601", "0x8086", "0x2922", Some("ahci"))
            .pci(USB, "0x0c0330", "0x8086", "0xa12f", Some("xhci_hcd"))
            .pci(PORT, "0x060400", "0x8086", "0xa110", Some("pcieport"))
            .pci(CARD, "0x010601", "0x197b", "0x0585", Some("ahci"))
            .pci_errors(PORT, 0, 0)
            .pci_errors(CARD, 0, 0)
            .write(&format!("{CARD}/current_link_speed"), "8.0 GT/s PCIe\n")
            .write(&format!("{CARD}/current_link_width"), "2\n");
        let policy = |of: &str, host: u32, words: &str| {
            let file = format!("{of}/ata{host}/host{host}/scsi_host/host{host}/link_power_management_policy");
            self.write(&file, &format!("{words}\n"));
        };
        policy(CARD, 21, "med_power_with_dipm");
        policy(CARD, 22, "med_power_with_dipm");
        self
    }

    /// A PCI function that is awake and answers, with or without a driver.
    pub fn pci(&self, folder: &str, class: &str, vendor: &str, device: &str, driver: Option<&str>) -> &Self {
        let name = folder.rsplit('/').next().unwrap_or_default();
        let number = |text: &str| u16::from_str_radix(text.trim_start_matches("0x"), 16).unwrap_or_default();
        let mut config = vec![0; 64];
        config[..2].copy_from_slice(&number(vendor).to_le_bytes());
        config[2..4].copy_from_slice(&number(device).to_le_bytes());
        self.write(&format!("{folder}/class"), &format!("{class}\n"))
            .write(&format!("{folder}/vendor"), &format!("{vendor}\n"))
            .write(&format!("{folder}/device"), &format!("{device}\n"))
            .write(&format!("{folder}/power/runtime_status"), "active\n")
            .write_raw(&format!("{folder}/config"), &config)
            .link(&format!("/sys/bus/pci/devices/{name}"), folder);
        if let Some(driver) = driver {
            self.link(&format!("{folder}/driver"), &format!("/sys/bus/pci/drivers/{driver}"));
        }
        self
    }

    /// So many errors on the link of a PCI function, corrected and fatal.
    pub fn pci_errors(&self, folder: &str, corrected: u64, fatal: u64) -> &Self {
        let table = |first: &str, count: u64, total: &str| format!("{first} {count}\nTLP 0\n{total} {count}\n");
        self.write(&format!("{folder}/aer_dev_correctable"), &table("RxErr", corrected, "TOTAL_ERR_COR"))
            .write(&format!("{folder}/aer_dev_nonfatal"), &table("Undefined", 0, "TOTAL_ERR_NONFATAL"))
            .write(&format!("{folder}/aer_dev_fatal"), &table("DLP", fatal, "TOTAL_ERR_FATAL"))
    }

    /// A SATA controller on the chip of a single-board computer.
    pub fn chip_sata(&self, name: &str, compatible: &str) -> &Self {
        let folder = format!("/sys/devices/platform/{name}");
        self.write(
            &format!("{folder}/uevent"),
            &format!("DRIVER=ahci-dwc\nOF_NAME=sata\nOF_COMPATIBLE_0={compatible}\n"),
        )
        .link(&format!("{folder}/driver"), "/sys/bus/platform/drivers/ahci-dwc")
        .link(&format!("/sys/bus/platform/devices/{name}"), &folder)
    }
}
