//! What a machine has, and how the emulator is told so.
//!
//! Not its job: starting it; that is `machine.rs`.

use super::parts::Parts;
use std::path::{Path, PathBuf};

/// What the machine has.
#[derive(Debug, Clone)]
pub struct Spec {
    /// Its console is kept in a file of this name.
    pub name: String,
    /// Its memory, in MiB.
    pub memory_mib: u32,
    /// Its drives, in the order of their ports.
    pub drives: Vec<Drive>,
}

/// A drive of the machine. Its serial (up to 20 letters, digits and dashes) is also its name for the monitor.
#[derive(Debug, Clone)]
pub enum Drive {
    /// On one of the six SATA ports.
    Sata {
        /// Serial.
        serial: String,
        /// Turns per minute; 1 says that nothing turns.
        rotation_rpm: u32,
        /// In MiB.
        size_mib: u64,
    },
    /// Behind a port of its own, so that it can be unplugged.
    Nvme {
        /// Serial.
        serial: String,
        /// In MiB.
        size_mib: u64,
    },
    /// On one of the four ports of a USB controller. Behind the adapter is a SCSI drive, so no ATA command gets through.
    Usb {
        /// Serial.
        serial: String,
        /// The adapter takes many commands at once (USB Attached SCSI), not one after the other (Bulk-Only Transport).
        by_uas: bool,
        /// In MiB.
        size_mib: u64,
    },
    /// On a SCSI controller of the kind that emulators have. It has no log pages.
    Scsi {
        /// Serial.
        serial: String,
        /// In MiB.
        size_mib: u64,
    },
}

impl Drive {
    /// What it is known by, in the guest and to the monitor.
    pub fn serial(&self) -> &str {
        match self {
            Self::Sata { serial, .. }
            | Self::Nvme { serial, .. }
            | Self::Usb { serial, .. }
            | Self::Scsi { serial, .. } => serial,
        }
    }

    /// Its capacity in MiB.
    pub fn size_mib(&self) -> u64 {
        match self {
            Self::Sata { size_mib, .. }
            | Self::Nvme { size_mib, .. }
            | Self::Usb { size_mib, .. }
            | Self::Scsi { size_mib, .. } => *size_mib,
        }
    }

    /// The file that holds its data, in the machine's folder.
    pub fn image(&self, folder: &Path) -> PathBuf {
        folder.join(format!("{}.img", self.serial()))
    }

    /// The emulator's devices that make it; `number` is its place among all drives, `port` among those of its kind.
    fn devices(&self, number: usize, port: usize) -> Vec<String> {
        let serial = self.serial();
        let named = format!("id={serial},serial={serial},drive=image-{serial}");
        match self {
            Self::Sata { rotation_rpm, .. } => {
                vec![format!("ide-hd,bus=ide.{port},rotation_rate={rotation_rpm},model=LAB-DISK,{named}")]
            }
            Self::Nvme { .. } => vec![
                format!("pcie-root-port,id=port-{serial},chassis={number},slot={number}"),
                format!("nvme,bus=port-{serial},{named}"),
            ],
            Self::Usb { by_uas: false, .. } => vec![format!("usb-storage,bus=usb.0,port={},{named}", port + 1)],
            Self::Usb { by_uas: true, .. } => vec![
                format!("usb-uas,bus=usb.0,port={},id=uas-{serial},serial={serial}", port + 1),
                format!("scsi-hd,bus=uas-{serial}.0,{named}"),
            ],
            Self::Scsi { .. } => vec![format!("scsi-hd,bus=scsi.0,scsi-id={port},{named}")],
        }
    }

    /// The controller that drives of this kind share; the machine has those of SATA, and NVMe drives are their own.
    fn controller(&self) -> Option<&'static str> {
        match self {
            Self::Sata { .. } | Self::Nvme { .. } => None,
            Self::Usb { .. } => Some("qemu-xhci,id=usb"),
            Self::Scsi { .. } => Some("virtio-scsi-pci,id=scsi"),
        }
    }
}

/// The emulator's arguments. Hardware virtualisation is not asked for: few of the computers that run tests have it.
pub fn arguments(spec: &Spec, parts: &Parts, folder: &Path, console: &Path) -> Vec<String> {
    let mut all: Vec<String> = ["-nodefaults", "-no-reboot"].map(String::from).into();
    let mut add = |option: &str, value: String| all.extend([option.to_string(), value]);
    add("-machine", "q35".into());
    add("-accel", "tcg,thread=multi".into());
    add("-cpu", "max".into());
    add("-smp", "2".into());
    add("-m", spec.memory_mib.to_string());
    add("-display", "none".into());
    add("-nic", "none".into());
    add("-kernel", parts.kernel.display().to_string());
    add("-initrd", parts.initramfs.display().to_string());
    add("-append", "console=ttyS0 rdinit=/init panic=-1".into());
    add("-serial", format!("file:{}", value_of(console)));
    add("-qmp", format!("unix:{},server=on,wait=off", value_of(&folder.join("monitor"))));
    add("-virtfs", share("host", &parts.root, true));
    add("-virtfs", share("modules", &parts.modules, true));
    add("-virtfs", share("lab", &folder.join("lab"), false));
    for (number, drive) in spec.drives.iter().enumerate() {
        let before = &spec.drives[..number];
        let port = before.iter().filter(|other| is_same_kind(other, drive)).count();
        if let (0, Some(controller)) = (port, drive.controller()) {
            add("-device", controller.into());
        }
        let (serial, file) = (drive.serial(), value_of(&drive.image(folder)));
        add("-drive", format!("if=none,id=image-{serial},file={file},format=raw,cache=unsafe"));
        drive.devices(number, port).into_iter().for_each(|device| add("-device", device));
    }
    all
}

fn is_same_kind(one: &Drive, other: &Drive) -> bool {
    std::mem::discriminant(one) == std::mem::discriminant(other)
}

fn share(tag: &str, path: &Path, readonly: bool) -> String {
    let readonly = if readonly { "on" } else { "off" };
    let path = value_of(path);
    format!("local,path={path},mount_tag={tag},security_model=none,multidevs=remap,readonly={readonly}")
}

/// A path as the value of an option, where a comma has to be doubled.
fn value_of(path: &Path) -> String {
    path.display().to_string().replace(',', ",,")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(drives: Vec<Drive>) -> String {
        let spec = Spec { name: "t".into(), memory_mib: 1024, drives };
        let parts = Parts { kernel: "k".into(), modules: "m".into(), initramfs: "i".into(), root: "/".into() };
        arguments(&spec, &parts, Path::new("/tmp/a,b"), Path::new("c")).join(" ")
    }

    #[test]
    fn each_sata_drive_has_its_port_and_each_nvme_drive_a_port_that_can_be_unplugged() {
        let sata = |serial: &str| Drive::Sata { serial: serial.into(), rotation_rpm: 5400, size_mib: 64 };
        let nvme = Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 };
        let line = line(vec![sata("TRAY-A"), nvme, sata("TRAY-B")]);
        assert!(line.contains("ide-hd,bus=ide.0,rotation_rate=5400,model=LAB-DISK,id=TRAY-A,serial=TRAY-A"), "{line}");
        assert!(line.contains("ide-hd,bus=ide.1,rotation_rate=5400,model=LAB-DISK,id=TRAY-B,serial=TRAY-B"), "{line}");
        assert!(line.contains("nvme,bus=port-NVME-0,id=NVME-0"), "{line}");
        assert!(line.contains("file=/tmp/a,,b/TRAY-A.img"), "{line}");
        assert!(line.contains("path=/,mount_tag=host,security_model=none,multidevs=remap,readonly=on"), "{line}");
        assert!(line.contains("-nic none"), "the guest must have no network: {line}");
    }

    #[test]
    fn drives_of_one_kind_share_a_controller_and_have_ports_of_their_own() {
        let usb = |serial: &str, by_uas| Drive::Usb { serial: serial.into(), by_uas, size_mib: 64 };
        let scsi = |serial: &str| Drive::Scsi { serial: serial.into(), size_mib: 64 };
        let line = line(vec![usb("USB-A", false), scsi("SCSI-A"), usb("USB-B", true), scsi("SCSI-B")]);
        assert_eq!(line.matches("qemu-xhci").count(), 1, "{line}");
        assert_eq!(line.matches("virtio-scsi-pci").count(), 1, "{line}");
        assert!(line.contains("usb-storage,bus=usb.0,port=1,id=USB-A,serial=USB-A"), "{line}");
        assert!(line.contains("usb-uas,bus=usb.0,port=2,id=uas-USB-B"), "{line}");
        assert!(line.contains("scsi-hd,bus=uas-USB-B.0,id=USB-B,serial=USB-B"), "{line}");
        assert!(line.contains("scsi-hd,bus=scsi.0,scsi-id=1,id=SCSI-B,serial=SCSI-B"), "{line}");
    }
}
