//! The kernel's message that a part came, went or changed: `ACTION@PATH`, then `KEY=VALUE`s, each ended by a NUL
//! (lib/kobject_uevent.c). Read are who sent it, what kind of part it is about, and which disk came or went: the rest is
//! looked up where it stands, in sysfs.

use crate::named::KernelName;
use crate::plain::cleaned;
use traylight_data::reading::EventKind;

/// The kinds of part whose message means that a look is worth it now. Drives, partitions and md arrays are `block`;
/// a driver's alarm, such as under-voltage, is `hwmon` (hwmon_notify_event in drivers/hwmon/hwmon.c).
const WATCHED: [&[u8]; 2] = [b"block", b"hwmon"];
/// The port that only the kernel sends from (netlink(7)). Anybody may send to us from another one.
const KERNEL: u32 = 0;
/// A disk's name has 31 characters at most (DISK_NAME_LEN in include/linux/blkdev.h).
const LONGEST_NAME: usize = 31;

/// True when the kernel sent the message, and it is about a part that is watched.
pub fn is_worth_a_look(sender: u32, message: &[u8]) -> bool {
    let subsystem = field(sender, message, "SUBSYSTEM");
    subsystem.is_some_and(|subsystem| WATCHED.contains(&subsystem))
}

/// What happened to which part: a disk came or went, or a drive was reset without being told to, which is how some say
/// that they lost power (SDEV_UA in drivers/scsi/scsi_lib.c). Disks that the kernel makes up itself are not meant.
pub fn event(sender: u32, message: &[u8]) -> Option<(KernelName, EventKind)> {
    let value = |key: &str| field(sender, message, key).and_then(|value| std::str::from_utf8(value).ok());
    let path = value("DEVPATH")?;
    match (value("SUBSYSTEM")?, value("ACTION")?) {
        ("block", action) if value("DEVTYPE") == Some("disk") && !path.starts_with("/devices/virtual/block/") => {
            let what = match action {
                "add" => EventKind::Appeared,
                "remove" => EventKind::Vanished,
                _ => return None,
            };
            // Kernels before 5.15 do not count appearances (block/genhd.c).
            let sequence = value("DISKSEQ").and_then(|number| number.parse().ok()).unwrap_or(0);
            Some((KernelName::Disk(cleaned(value("DEVNAME")?, LONGEST_NAME), sequence), what))
        }
        ("scsi", "change") if value("SDEV_UA") == Some("POWER_ON_RESET_OCCURRED") => {
            Some((KernelName::Scsi(cleaned(path.rsplit('/').next()?, LONGEST_NAME)), EventKind::Reset))
        }
        _ => None,
    }
}

/// The first field of this name, when the kernel sent the message.
fn field<'a>(sender: u32, message: &'a [u8], key: &str) -> Option<&'a [u8]> {
    let mut fields = message.split(|byte| *byte == 0);
    let is_an_event = sender == KERNEL && fields.next().is_some_and(|head| head.contains(&b'@'));
    is_an_event.then(|| fields.find_map(|field| field.strip_prefix(key.as_bytes())?.strip_prefix(b"=")))?
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// As Linux 6.12 sent them, `|` for NUL.
    const DISK_PULLED: &str = "remove@/devices/pci0000:00/0000:00:02.0/usb2/2-1/2-1:1.0/host7/target7:0:0/7:0:0:0/block/sde|ACTION=remove|DEVPATH=/devices/pci0000:00/0000:00:02.0/usb2/2-1/2-1:1.0/host7/target7:0:0/7:0:0:0/block/sde|SUBSYSTEM=block|MAJOR=8|MINOR=64|DEVNAME=sde|DEVTYPE=disk|DISKSEQ=6|SEQNUM=803|";
    const DISK_PLUGGED: &str = "add@/devices/pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda|ACTION=add|DEVPATH=/devices/pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda|SUBSYSTEM=block|MAJOR=8|MINOR=0|DEVNAME=sda|DEVTYPE=disk|DISKSEQ=1|SEQNUM=690|";
    const NVME_CONNECTED: &str = "change@/devices/pci0000:00/0000:00:04.0/nvme/nvme0|ACTION=change|DEVPATH=/devices/pci0000:00/0000:00:04.0/nvme/nvme0|SUBSYSTEM=nvme|NVME_EVENT=connected|MAJOR=246|MINOR=0|DEVNAME=nvme0|NVME_TRTYPE=pcie|SEQNUM=711|";
    /// Built after drivers/hwmon/hwmon.c: the driver of a board's supply raises its alarm.
    const VOLTAGE_LOW: &str = "change@/devices/platform/soc/soc:firmware/raspberrypi-hwmon/hwmon/hwmon1|ACTION=change|DEVPATH=/devices/platform/soc/soc:firmware/raspberrypi-hwmon/hwmon/hwmon1|SUBSYSTEM=hwmon|NAME=in0_lcrit_alarm|SEQNUM=912|";

    fn kernel_sent(message: &str) -> bool {
        is_worth_a_look(0, message.replace('|', "\0").as_bytes())
    }

    #[test]
    fn drives_and_alarms_are_worth_a_look_and_other_parts_are_not() {
        assert!(kernel_sent(DISK_PULLED));
        assert!(kernel_sent(DISK_PLUGGED));
        assert!(kernel_sent(VOLTAGE_LOW));
        assert!(!kernel_sent(NVME_CONNECTED));
    }

    #[test]
    fn what_another_process_sends_is_not_believed() {
        let message = DISK_PULLED.replace('|', "\0");
        assert!(!is_worth_a_look(4711, message.as_bytes()));
        assert_eq!(event(4711, message.as_bytes()), None);
    }

    #[test]
    fn disks_that_come_and_go_and_drives_that_were_reset_are_told() {
        let told = |message: &str| event(0, message.replace('|', "\0").as_bytes());
        assert_eq!(told(DISK_PULLED), Some((KernelName::Disk("sde".into(), 6), EventKind::Vanished)));
        assert_eq!(told(DISK_PLUGGED), Some((KernelName::Disk("sda".into(), 1), EventKind::Appeared)));
        assert_eq!(
            told(&DISK_PLUGGED.replace("DISKSEQ=1|", "")),
            Some((KernelName::Disk("sda".into(), 0), EventKind::Appeared))
        );
        let reset = "change@/devices/x/7:0:0:0|ACTION=change|DEVPATH=/devices/x/7:0:0:0|SUBSYSTEM=scsi|SDEV_UA=POWER_ON_RESET_OCCURRED|DEVTYPE=scsi_device|DRIVER=sd|SEQNUM=766|";
        assert_eq!(told(reset), Some((KernelName::Scsi("7:0:0:0".into()), EventKind::Reset)));
        assert_eq!(told(&reset.replace("POWER_ON_RESET_OCCURRED", "MODE_PARAMETERS_CHANGED")), None);
        assert_eq!(told(&DISK_PLUGGED.replace("DEVTYPE=disk", "DEVTYPE=partition")), None);
        assert_eq!(told(&DISK_PLUGGED.replace("ACTION=add", "ACTION=change")), None);
        assert_eq!(
            told(
                "add@/devices/virtual/block/loop0|ACTION=add|DEVPATH=/devices/virtual/block/loop0|SUBSYSTEM=block|DEVNAME=loop0|DEVTYPE=disk|DISKSEQ=9|"
            ),
            None
        );
        assert_eq!(told(NVME_CONNECTED), None);
        assert_eq!(told(VOLTAGE_LOW), None);
    }

    #[test]
    fn the_device_manager_wraps_the_same_fields_in_another_header_and_is_not_mistaken_for_the_kernel() {
        // Its header, as systemd's sd-device library writes it (from memory): a name, a mark, offsets and hashes.
        let wrapped =
            [b"libudev\0\xfe\xed\xca\xfe(\0\0\0".as_slice(), DISK_PULLED.replace('|', "\0").as_bytes()].concat();
        assert!(!is_worth_a_look(0, &wrapped));
    }

    #[test]
    fn the_first_subsystem_counts_and_must_be_whole() {
        assert!(!kernel_sent("change@/devices/x|SUBSYSTEM=usb|SUBSYSTEM=block|"));
        assert!(!kernel_sent("change@/devices/x|SUBSYSTEM=blocked|"));
        assert!(!kernel_sent("change@/devices/x|NAME=SUBSYSTEM=block|"));
        assert!(!kernel_sent("change@SUBSYSTEM=block"));
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic_and_noise_is_not_worth_a_look(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            prop_assert!(!is_worth_a_look(0, &bytes));
            prop_assert_eq!(event(0, &bytes), None);
        }
    }
}
