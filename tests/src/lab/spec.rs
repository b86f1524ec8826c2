//! What a machine has, and how the emulator is told so.
//!
//! Not its job: starting it; that is `machine.rs`.

use super::parts::Parts;
use std::path::{Path, PathBuf};

/// What the monitor calls the cable in the network port.
pub const CABLE: &str = "cable";

/// What the machine has.
#[derive(Debug, Clone)]
pub struct Spec {
    /// Its console is kept in a file of this name.
    pub name: String,
    /// Its memory, in MiB.
    pub memory_mib: u32,
    /// Its drives, in the order of their ports.
    pub drives: Vec<Drive>,
    /// It has a network port whose other end is the emulator itself, and leads nowhere.
    pub has_network: bool,
}

impl Spec {
    /// How a drive is plugged in, while the machine is made or while it runs: the file that holds its data, in the
    /// machine's folder, and the devices that make it. The monitor calls the file by the name `image`, which has to be a
    /// new one each time: the emulator does not let go of an NVMe drive's file.
    pub fn plug(&self, number: usize, folder: &Path, image: &str) -> Plug {
        let drive = &self.drives[number];
        let port = self.drives[..number].iter().filter(|other| is_same_kind(other, drive)).count();
        let file = value_of(&drive.image(folder));
        Plug {
            // Without locks, since only this emulator has the file.
            file: format!(
                "if=none,id={image},node-name={},file.node-name={},file={file},file.locking=off,format=raw,cache=unsafe",
                disk_node(image),
                file_node(image)
            ),
            port: drive.own_port(number),
            devices: drive.devices(port, image),
            controller: drive.controller().filter(|_| port == 0),
        }
    }
}

/// The emulator's options for one drive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plug {
    /// The controller that it shares with others of its kind, if it is the first of them.
    pub controller: Option<&'static str>,
    /// The port that it has for itself; it stays when the drive is unplugged.
    pub port: Option<String>,
    /// Its data.
    pub file: String,
    /// The devices in the port, those first that others are plugged into.
    pub devices: Vec<String>,
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

    /// What the monitor calls its data, until it is plugged in again.
    pub fn image_name(&self) -> String {
        format!("image-{}", self.serial())
    }

    /// What the monitor calls that of its devices which a hand would pull.
    pub fn pulled_by(&self) -> String {
        match self {
            Self::Usb { by_uas: true, serial, .. } => format!("uas-{serial}"),
            _ => self.serial().into(),
        }
    }

    /// The port that is there for this drive alone; `number` is its place among all drives.
    fn own_port(&self, number: usize) -> Option<String> {
        match self {
            Self::Nvme { serial, .. } => {
                Some(format!("pcie-root-port,id=port-{serial},chassis={number},slot={number}"))
            }
            Self::Sata { .. } | Self::Usb { .. } | Self::Scsi { .. } => None,
        }
    }

    /// The emulator's devices that make it; `port` is its place among those of its kind.
    fn devices(&self, port: usize, image: &str) -> Vec<String> {
        let serial = self.serial();
        let named = format!("id={serial},serial={serial},drive={image}");
        match self {
            Self::Sata { rotation_rpm, .. } => {
                vec![format!("ide-hd,bus=ide.{port},rotation_rate={rotation_rpm},model=LAB-DISK,{named}")]
            }
            Self::Nvme { .. } => vec![format!("nvme,bus=port-{serial},{named}")],
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
    if spec.has_network {
        // Restricted: nothing that the guest sends leaves the emulator.
        add("-netdev", format!("user,id={CABLE},restrict=on"));
        add("-device", format!("virtio-net-pci,netdev={CABLE},romfile="));
    }
    add("-kernel", parts.kernel.display().to_string());
    add("-initrd", parts.initramfs.display().to_string());
    // Without `no_timer_check` (Documentation/admin-guide/kernel-parameters.txt) a kernel on a busy computer takes its timer for
    // broken, since the emulator's ticks come late, and gives up.
    add("-append", "console=ttyS0 rdinit=/init panic=-1 no_timer_check".into());
    add("-serial", format!("file:{}", value_of(console)));
    add("-qmp", format!("unix:{},server=on,wait=off", value_of(&folder.join("monitor"))));
    add("-virtfs", share("host", &parts.root, true));
    add("-virtfs", share("modules", &parts.modules, true));
    add("-virtfs", share("lab", &folder.join("lab"), false));
    for (number, drive) in spec.drives.iter().enumerate() {
        let plug = spec.plug(number, folder, &drive.image_name());
        if let Some(controller) = plug.controller {
            add("-device", controller.into());
        }
        add("-drive", plug.file);
        plug.port.into_iter().chain(plug.devices).for_each(|device| add("-device", device));
    }
    all
}

/// What the monitor calls the emulator's view of an image.
pub fn disk_node(image: &str) -> String {
    format!("disk-{image}")
}

/// What the monitor calls the file of an image.
pub fn file_node(image: &str) -> String {
    format!("file-{image}")
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
        let spec = Spec { name: "t".into(), memory_mib: 1024, drives, has_network: false };
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
        assert!(line.contains("-nic none") && !line.contains("-netdev"), "the guest must have no network: {line}");
    }

    #[test]
    fn a_network_port_leads_nowhere() {
        let spec = Spec { name: "t".into(), memory_mib: 1024, drives: Vec::new(), has_network: true };
        let parts = Parts { kernel: "k".into(), modules: "m".into(), initramfs: "i".into(), root: "/".into() };
        let line = arguments(&spec, &parts, Path::new("/tmp"), Path::new("c")).join(" ");
        assert!(line.contains("-netdev user,id=cable,restrict=on "), "{line}");
    }

    #[test]
    fn a_drive_is_plugged_in_again_as_it_was() {
        let nvme = Drive::Nvme { serial: "NVME-0".into(), size_mib: 64 };
        let spec = Spec { name: "t".into(), memory_mib: 1024, drives: vec![nvme], has_network: false };
        let plug = spec.plug(0, Path::new("/tmp"), "again-1");
        assert_eq!(plug.devices, ["nvme,bus=port-NVME-0,id=NVME-0,serial=NVME-0,drive=again-1"]);
        assert_eq!(
            plug.file,
            "if=none,id=again-1,node-name=disk-again-1,file.node-name=file-again-1,file=/tmp/NVME-0.img,file.locking=off,format=raw,cache=unsafe"
        );
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
