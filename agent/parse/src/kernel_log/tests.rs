//! Every pattern fits its example, lines that look alike tell nothing, and what stock kernels wrote is told.

use super::line_meaning::{LineMeaning, meanings, tables};
use super::pattern::captures;
use super::record::record;
use crate::named::KernelName;
use EventKind::{Appeared, CommandFailed, LinkDown, LinkUp, MemberFailed, NotStarted, Unreadable};
use proptest::prelude::*;
use traylight_data::reading::EventKind;
use traylight_data::units::MegabitsPerSecond;

fn of(text: &str) -> Vec<LineMeaning> {
    meanings(&record(format!("6,1,1,-;{text}").as_bytes()).unwrap())
}

fn block(device: &str, what: EventKind) -> LineMeaning {
    LineMeaning::Happened(KernelName::Block(device.into()), what)
}

#[test]
fn every_pattern_has_a_line_that_it_is_the_first_to_fit_and_says_since_when() {
    for row in tables().into_iter().flatten() {
        let first = tables().into_iter().flatten().find(|other| captures(other.pattern, row.example).is_some());
        assert_eq!(first.map(|first| first.pattern), Some(row.pattern), "{}", row.example);
        assert!(!of(row.example).is_empty() || row.pattern.contains("<self>"), "{}", row.example);
        assert!(!row.since.is_empty(), "{}", row.pattern);
    }
}

#[test]
fn lines_that_look_alike_tell_nothing() {
    for line in [
        "",
        "ata3",
        "ata3: ",
        "ata3: SATA max UDMA/133 abar m2048@0xfebff000 port 0xfebff200 irq 24",
        "ata3.00: ATA-8: Songbird HB4000, FW01, max UDMA/133",
        "ata3.00: configured for UDMA/133",
        "ata3.00: error: { ABRT }",
        "ata3: SError: { RecovComm Persist }",
        "ata3.00: status: { DRDY ERR }",
        "ata3.00: failed command: READ FPDMA QUEUED",
        "catata3: hard resetting link",
        "my ata3: hard resetting link",
        "usb 2-1: SerialNumber: ata3: hard resetting link",
        "usb 2-1: Product: I/O error, dev sda, sector 8",
        "usb 2-1: new SuperSpeed USB device number 2 using xhci_hcd",
        "usb 2-1: New USB device found, idVendor=46f4, idProduct=0001, bcdDevice= 0.00",
        "usb-storage 2-1:1.0: USB Mass Storage device detected",
        "uas: probe of 2-1:1.0 failed with error -5",
        "scsi host7: usb-storage 2-1:1.0",
        "sd 9:0:0:0: [sdf] tag#93 CDB: Read(10) 28 00 00 00 12 30 00 00 08 00",
        "sd 9:0:0:0: [sdf] tag#93 Sense Key : Illegal Request [current]",
        "sd 9:0:0:0: [sdf] tag#93 FAILED Result: hostbyte=DID_OK driverbyte=DRIVER_OK cmd_age=0s",
        "sd 9:0:0:0: [sdf] 1953525168 512-byte logical blocks: (1.00 TB/932 GiB)",
        "sd 0:0:0:0: [sda] Stopping disk",
        "operation not supported error, dev sdb, sector 8 op 0x3:(DISCARD) flags 0x800 phys_seg 1 prio class 2",
        "reservation conflict error, dev sdb, sector 8 op 0x1:(WRITE) flags 0x800 phys_seg 1 prio class 2",
        "nvme nvme0: pci function 0000:01:00.0",
        "nvme nvme0: 4/0/0 default/read/poll queues",
        "nvme nvme0: Abort status: 0x0",
        "nvme0n1: p1 p2",
        "md/raid:md0: Operation continuing on 2 devices.",
        "md/raid1:md0: active with 1 out of 2 mirrors",
        "md/raid1:md0: redirecting sector 264 to other mirror: sda1",
        "md: recovery of RAID array md0",
        "md: md0: recovery done.",
        "EXT4-fs (sda1): mounted filesystem 0b6e r/w with ordered data mode. Quota mode: none.",
        "EXT4-fs (sda1): re-mounted 0b6e ro. Quota mode: none.",
        "XFS (sda1): Ending clean mount",
        "BTRFS info (device sda1): space_info METADATA has 131072 free, is not full",
        "BTRFS info (device sda1): using crc32c (crc32c-intel) checksum algorithm",
        "pcieport 0000:00:1c.0: AER: enabled with IRQ 25",
        "pcieport 0000:00:1c.0: pciehp: Slot(2): Link Up",
        "ahci 0000:00:1f.2: AHCI 0001.0000 32 slots 6 ports 1.5 Gbps 0x3f impl SATA mode",
        "ahci: probe of soc:sata failed with error -12",
        "IPv6: ADDRCONF(NETDEV_CHANGE): eth0: link becomes ready",
        "br0: port 1(eth0) entered disabled state",
        "hwmon hwmon1: temperature limit reached",
        "mmc0: new ultra high speed SDR104 SDXC card at address aaaa",
        "Memory cgroup out of memory: Killed process 1234 (recorder) total-vm:2048kB",
        "systemd-udevd (310) used greatest stack depth: 12024 bytes left",
        "rcu: INFO: rcu_preempt self-detected stall on CPU",
        "audit: type=1400 audit(1.1:2): op=\"I/O error, dev sda, sector 8\"",
    ] {
        assert_eq!(of(line), [], "{line}");
    }
}

#[test]
fn numbers_in_a_line_are_told() {
    let link = |what| LineMeaning::Happened(KernelName::Ata { port: 3, device: None }, what);
    let cases = [
        ("ata3: SATA link down (SStatus 1 SControl 300)", LinkDown(Some(1))),
        ("ata3: SATA link down (SStatus 4 SControl 304)", LinkDown(Some(4))),
        ("ata3: SATA link down (SStatus FFFFFFFF SControl FFFFFFFF)", EventKind::AllOnes),
        ("ata3: SATA link up 1.5 Gbps (SStatus 113 SControl 310)", LinkUp(Some(MegabitsPerSecond(1500)))),
        ("ata3: SATA link up <unknown> Gbps (SStatus 103 SControl 300)", LinkUp(None)),
    ];
    for (line, what) in cases {
        let wanted: &[LineMeaning] = if line.contains("<unknown>") { &[] } else { &[link(what)] };
        assert_eq!(of(line), wanted, "{line}");
    }
    let port = |what| vec![LineMeaning::Happened(KernelName::Link("eth0".into()), what)];
    assert_eq!(
        of("r8169 0000:03:00.0 eth0: Link is Up - 2.5Gbps/Full - flow control off"),
        port(LinkUp(Some(MegabitsPerSecond(2500))))
    );
    assert_eq!(
        of("igc 0000:01:00.0 eth0: NIC Link is Up 2500 Mbps Full Duplex"),
        port(LinkUp(Some(MegabitsPerSecond(2500))))
    );
    let pci = KernelName::Pci("0001:01:00.0".into());
    assert_eq!(
        of("ahci 0001:01:00.0: probe with driver ahci failed with error -12"),
        [LineMeaning::Happened(pci, NotStarted(-12))]
    );
}

#[test]
fn one_line_may_tell_of_two_parts_or_two_things() {
    let failed = [LineMeaning::Happened(KernelName::Pool("md0".into()), MemberFailed), block("sdb", MemberFailed)];
    assert_eq!(of("md/raid:md0: Disk failure on sdb, disabling device."), failed);
    let both = of("ata3: SError: { PHYRdyChg 10B8B LinkSeq DevExch }");
    let of_port = |what| LineMeaning::Happened(KernelName::Ata { port: 3, device: None }, what);
    assert_eq!(both, [of_port(EventKind::TransferDamaged), of_port(EventKind::ConnectionChanged)]);
}

/// The device that a record is about stands in its dictionary (Documentation/ABI/testing/dev-kmsg).
#[test]
fn a_line_that_names_nobody_is_about_its_records_device() {
    let text = "Generic FE-GE Realtek PHY r8169-0-300:00: Downshift occurred from negotiated speed 1Gbps to actual speed 100Mbps, check cabling!";
    let read = |dictionary: &str| meanings(&record(format!("4,1,1,-;{text}\n{dictionary}").as_bytes()).unwrap());
    let of_phy = [LineMeaning::Happened(KernelName::Other("r8169-0-300:00".into()), EventKind::Downshifted)];
    assert_eq!(read(" SUBSYSTEM=mdio_bus\n DEVICE=+mdio_bus:r8169-0-300:00\n"), of_phy);
    assert_eq!(read(""), [LineMeaning::Happened(KernelName::Board, EventKind::Downshifted)]);
}

/// What a stock kernel 6.12 wrote while a drive's medium failed, while md lost members, and while it found its drives.
#[test]
fn records_of_a_stock_kernel_are_told() {
    let log = "6,607,18907575,-;sd 9:0:0:0: [sdf] tag#93 FAILED Result: hostbyte=DID_OK driverbyte=DRIVER_OK cmd_age=0s\n\
        6,608,18907640,-;sd 9:0:0:0: [sdf] tag#93 Sense Key : Medium Error [current] \n\
        6,609,18907653,-;sd 9:0:0:0: [sdf] tag#93 Add. Sense: Unrecovered read error\n\
        3,611,18907680,-;critical medium error, dev sdf, sector 4656 op 0x0:(READ) flags 0x80700 phys_seg 1 prio class 2\n\
        3,617,18912177,-;Buffer I/O error on dev sdf, logical block 582, async page read\n\
        3,481,9438823,-;nvme0n1: I/O Cmd(0x2) @ LBA 1016, 32 blocks, I/O Error (sct 0x2 / sc 0x81) \n\
        2,700,29718471,-;md/raid10:md0: Disk failure on sdb, disabling device.\\x0amd/raid10:md0: Operation continuing on 3 devices.\n\
        2,701,29718471,-;md/raid0md0: Disk failure on sdb detected, failing array.\n\
        2,702,29718471,-;md/raid1:mdX: Disk failure on dm-3, disabling device.\n\
        5,579,14193988,-;sd 0:0:0:0: [sda] Attached SCSI disk\n";
    let scsi = |address: &str, what| LineMeaning::Happened(KernelName::Scsi(address.into()), what);
    let pool = |name: &str| LineMeaning::Happened(KernelName::Pool(name.into()), MemberFailed);
    let found: Vec<LineMeaning> = log.lines().flat_map(|line| meanings(&record(line.as_bytes()).unwrap())).collect();
    let wanted = [
        scsi("9:0:0:0", Unreadable),
        scsi("9:0:0:0", Unreadable),
        block("sdf", Unreadable),
        block("sdf", CommandFailed),
        block("nvme0n1", Unreadable),
        pool("md0"),
        block("sdb", MemberFailed),
        pool("md0"),
        block("sdb", MemberFailed),
        pool("mdX"),
        block("dm-3", MemberFailed),
        scsi("0:0:0:0", Appeared),
        block("sda", Appeared),
    ];
    assert_eq!(found, wanted);
}

proptest! {
    #[test]
    fn no_text_breaks_a_pattern(text in "(ata3|sd 9:0:0:0|usb 2-1|EXT4-fs|md/raid:md0|[{}: a-z]{0,9}): .{0,60}") {
        prop_assert!(of(&text).len() <= 4);
    }

    /// A pattern that takes anything twice must not take for ever: the work is bounded by the square of a line.
    #[test]
    fn long_lines_of_what_patterns_look_for_end(times in 0..200_usize) {
        let line = format!("nvme{}", "nvme: @ LBA 1, 2 blocks, ".repeat(times));
        prop_assert_eq!(of(&line), []);
    }
}
