//! Where a drive is plugged, from its path in sysfs. Kernel names and bus numbers move between boots; the chain of
//! PCI slots, the port's number on its controller and the USB port chain do not (Documentation/ABI/testing/sysfs-ata).

use std::path::{Path, PathBuf};

/// What the path alone does not tell.
#[derive(Debug, Clone, Copy, Default)]
pub struct AtaPort {
    /// `/sys/class/ata_port/ataN/port_no`: the port's number on its controller, from 1.
    pub port_no: Option<u64>,
    /// True when a port multiplier sits on that port.
    pub multiplied: bool,
}

/// The stable name of the place, such as `0000/1f.2/ata-1`, `0000/14.0/usb-2.1:0` or `0000/01.0/00.0/nvme-1`. Behind a port
/// multiplier it is `0000/1f.2/ata-1.0`, behind an expander `0000/01.0/00.0/exp-0.0:3:0`: what drives share can be told by it.
/// `None` when the path holds nothing stable.
pub fn place(parts: &[&str], ata: AtaPort) -> Option<String> {
    let controller = controller(parts)?;
    let scsi = parts.iter().rev().find_map(|part| scsi_address(part));
    let port = if parts.iter().any(|part| ata_number(part).is_some()) {
        let channel = scsi.map_or(0, |[channel, ..]| channel);
        let port_no = ata.port_no?;
        if ata.multiplied || channel != 0 { format!("ata-{port_no}.{channel}") } else { format!("ata-{port_no}") }
    } else if let Some(chain) = parts.iter().rev().find_map(|part| usb_chain(part)) {
        format!("usb-{chain}:{}", scsi.map_or(0, |[.., lun]| lun))
    } else if let Some(namespace) = parts.last().and_then(|name| nvme_namespace(name)) {
        format!("nvme-{namespace}")
    } else if let Some([channel, target, lun]) = scsi {
        match parts.iter().rev().find_map(|part| sas_expander(part)) {
            Some(expander) => format!("exp-{expander}.{channel}:{target}:{lun}"),
            None => format!("scsi-{channel}:{target}:{lun}"),
        }
    } else if parts.iter().any(|part| part.starts_with("virtio")) {
        "virtio".to_owned()
    } else if parts.iter().any(|part| part.starts_with("mmc")) {
        "mmc".to_owned()
    } else {
        return None;
    };
    Some(format!("{controller}/{port}"))
}

/// The USB device that a drive is part of: the folder with its name in the path of the drive, the nearest to the drive.
pub fn usb_device(path: &Path) -> Option<PathBuf> {
    let is_device = |folder: &&Path| {
        let name = folder.file_name().and_then(|name| name.to_str());
        name.is_some_and(|name| !name.contains(':') && usb_chain(name).is_some())
    };
    path.ancestors().find(is_device).map(Path::to_path_buf)
}

/// The part that names the ATA port of this boot, such as `ata3`.
pub fn ata_port<'a>(parts: &[&'a str]) -> Option<&'a str> {
    parts.iter().copied().find(|part| ata_number(part).is_some())
}

/// The controller at the start of a place: the domain and the chain of slots from the root of the PCI tree, else the
/// platform device's name.
pub fn controller(parts: &[&str]) -> Option<String> {
    let mut chain = String::new();
    for (domain, slot) in parts.iter().filter_map(|part| pci_function(part)) {
        if chain.is_empty() {
            chain.push_str(domain);
        }
        chain.push('/');
        chain.push_str(slot);
    }
    if !chain.is_empty() {
        return Some(chain);
    }
    let platform = parts.iter().position(|&part| part == "platform")?;
    // Device tree nodes are named `address.kind`; the one nearest to the drive is its controller.
    parts[platform + 1..]
        .iter()
        .rev()
        .find(|part| part.contains('.') && usb_chain(part).is_none())
        .map(|&part| part.to_owned())
}

/// `DDDD:BB:DD.F` as domain and `DD.F`; the bus number in the middle moves when cards are added.
fn pci_function(part: &str) -> Option<(&str, &str)> {
    let (domain, rest) = part.split_once(':')?;
    let (bus, slot) = rest.split_once(':')?;
    let (device, function) = slot.split_once('.')?;
    let hex = |text: &str, digits: usize| text.len() == digits && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    (hex(domain, 4) && hex(bus, 2) && hex(device, 2) && hex(function, 1)).then_some((domain, slot))
}

/// True for the name of a PCI function, such as `0000:00:1f.2`.
pub fn is_pci_function(part: &str) -> bool {
    pci_function(part).is_some()
}

fn ata_number(part: &str) -> Option<u32> {
    part.strip_prefix("ata")?.parse().ok()
}

/// `B-P.P` or `B-P.P:C.I` as the port chain `P.P`.
fn usb_chain(part: &str) -> Option<&str> {
    let device = part.split(':').next()?;
    let (bus, chain) = device.split_once('-')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    (digits(bus) && chain.split('.').all(digits)).then_some(chain)
}

/// The number of a SAS expander on its host, of `expander-HOST:NUMBER` (drivers/scsi/scsi_transport_sas.c,
/// `sas_expander_alloc`).
fn sas_expander(part: &str) -> Option<u64> {
    part.strip_prefix("expander-")?.split_once(':')?.1.parse().ok()
}

fn nvme_namespace(name: &str) -> Option<u32> {
    name.strip_prefix("nvme")?.split_once('n')?.1.parse().ok()
}

/// `H:C:T:L` without the host number, which is counted in the order of discovery.
pub fn scsi_address(part: &str) -> Option<[u64; 3]> {
    let numbers: Vec<u64> = part.split(':').map(str::parse).collect::<Result<_, _>>().ok()?;
    match numbers[..] {
        [_, channel, target, lun] => Some([channel, target, lun]),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(path: &str, port_no: u64, multiplied: bool) -> Option<String> {
        let parts: Vec<&str> = path.split('/').filter(|part| !part.is_empty()).collect();
        place(&parts, AtaPort { port_no: Some(port_no), multiplied })
    }

    #[test]
    fn a_drive_on_usb_is_part_of_the_device_nearest_to_it() {
        let on_a_hub = "/devices/pci0000:00/0000:00:14.0/usb2/2-1/2-1.3/2-1.3:1.0/host6/target6:0:0/6:0:0:0/block/sdb";
        let hub = "/devices/pci0000:00/0000:00:14.0/usb2/2-1/2-1.3";
        assert_eq!(usb_device(Path::new(on_a_hub)), Some(PathBuf::from(hub)));
        let on_sata = "/devices/pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda";
        assert_eq!(usb_device(Path::new(on_sata)), None);
    }

    #[test]
    fn places_of_every_kind_of_bus() {
        let cases = [
            ("/devices/pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda", "0000/1f.2/ata-3"),
            (
                "/devices/pci0000:00/0000:00:1c.0/0000:02:00.0/ata9/host8/target8:2:0/8:2:0:0/block/sdc",
                "0000/1c.0/00.0/ata-3.2",
            ),
            (
                "/devices/pci0000:00/0000:00:14.0/usb2/2-2/2-2.1/2-2.1:1.0/host7/target7:0:0/7:0:0:1/block/sdd",
                "0000/14.0/usb-2.1:1",
            ),
            ("/devices/pci0000:00/0000:00:01.0/0000:01:00.0/nvme/nvme0/nvme0n1", "0000/01.0/00.0/nvme-1"),
            ("/devices/pci0000:00/0000:00:05.0/virtio2/host6/target6:0:3/6:0:3:0/block/sde", "0000/05.0/scsi-0:3:0"),
            (
                "/devices/pci0000:00/0000:00:01.0/0000:01:00.0/host6/port-6:0/expander-6:1/port-6:1:3/end_device-6:1:3/target6:0:9/6:0:9:0/block/sdf",
                "0000/01.0/00.0/exp-1.0:9:0",
            ),
            (
                "/devices/pci0000:00/0000:00:01.0/0000:01:00.0/host6/port-6:2/end_device-6:2/target6:0:2/6:0:2:0/block/sdg",
                "0000/01.0/00.0/scsi-0:2:0",
            ),
            ("/devices/pci0000:00/0000:00:04.0/virtio1/block/vda", "0000/04.0/virtio"),
            (
                "/devices/platform/axi/1000110000.pcie/pci0001:00/0001:00:00.0/0001:01:00.0/ata2/host1/target1:0:0/1:0:0:0/block/sdb",
                "0001/00.0/00.0/ata-3",
            ),
            ("/devices/platform/fe340000.mmc/mmc_host/mmc0/mmc0:0001/block/mmcblk0", "fe340000.mmc/mmc"),
            ("/devices/platform/fc400000.sata/ata1/host0/target0:0:0/0:0:0:0/block/sda", "fc400000.sata/ata-3"),
        ];
        for (path, wanted) in cases {
            assert_eq!(of(path, 3, false).as_deref(), Some(wanted), "{path}");
        }
    }

    #[test]
    fn behind_a_multiplier_the_first_drive_has_a_number_too() {
        let path = "/devices/pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda";
        assert_eq!(of(path, 1, true).as_deref(), Some("0000/1f.2/ata-1.0"));
    }

    #[test]
    fn nothing_stable_is_no_place() {
        assert_eq!(of("/devices/virtual/block/loop0", 1, false), None);
        assert_eq!(of("/", 1, false), None);
        assert_eq!(of("/devices/platform/odd/block/x", 1, false), None);
        let unnumbered = ["devices", "pci0000:00", "0000:00:1f.2", "ata1", "host0"];
        assert_eq!(place(&unnumbered, AtaPort::default()), None);
    }
}
