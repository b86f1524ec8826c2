//! What the kernel said happened, and to which part of the box: its names are those of the moment, and a drive that is gone
//! still has them.

use super::{heron, rounds};
use rustix::fs::{Mode, OFlags, fcntl_setfl, open};
use std::fs::{self, File};
use std::io::{Read, Write};
use std::os::unix::net::UnixStream;
use std::process::Command;
use std::time::Duration;
use traylight::clock::{Clock, Moment};
use traylight::probe::rounds::Rounds;
use traylight::probe::{self, wire::Decoder};
use traylight::reading::{DriveKey, Event, EventKind, EventSource, Part, Snapshot};
use traylight::sense::host::Host;
use traylight::sense::parse::kernel_log::lines::LogReader;
use traylight::sense::parse::named::{KernelName, NamedEvent};
use traylight_tests::pretend_box::PretendBox;

fn key(serial: &str) -> Part {
    Part::Drive(DriveKey(serial.to_owned()))
}

fn place(name: &str) -> Part {
    Part::Place(name.to_owned())
}

fn now() -> Moment {
    Clock::of_this_machine().now()
}

/// The kernel's line, as written now.
fn line(text: &str) -> Vec<NamedEvent> {
    let lines = LogReader::default().take(format!("3,1,1,-;{text}").as_bytes());
    assert!(!lines.is_empty(), "{text} tells nothing");
    let events = lines.into_iter().map(|line| NamedEvent {
        at: now(),
        part: line.part,
        what: line.what,
        teller: EventSource::Log,
        line: line.text,
    });
    events.collect()
}

/// A message that a disk came or went, as of now.
fn message(device: &str, appearance: u64, what: EventKind) -> Vec<NamedEvent> {
    let part = KernelName::Disk(device.to_owned(), appearance);
    vec![NamedEvent { at: now(), part, what, teller: EventSource::Uevent, line: String::new() }]
}

/// The kernel's number of the disk's appearance.
fn appearance(heron: &PretendBox, device: &str) -> u64 {
    let file = heron.path(&format!("/sys/block/{device}/diskseq"));
    fs::read_to_string(file).unwrap().trim().parse().unwrap()
}

/// What the round after these makes of them.
fn parts(rounds: &mut Rounds, events: Vec<NamedEvent>) -> Vec<Part> {
    rounds.add_events(events);
    rounds.round().events.into_iter().map(|event| event.part).collect()
}

/// Rounds and lines have moments of their own, a millisecond apart at least.
fn a_moment_later() {
    std::thread::sleep(Duration::from_millis(3));
}

#[test]
fn every_name_that_the_kernel_has_for_a_drive_leads_to_it() {
    let heron = heron();
    heron.usb_drive("sdc", "2-2.1", "NEST-0001", "Nest 2T");
    for (text, part) in [
        ("ata1: hard resetting link", key("WREN-0001")),
        ("ata1.00: disable device", key("WREN-0001")),
        ("ata2.00: limiting speed to UDMA/100:PIO4", key("WREN-0002")),
        ("sd 1:0:0:0: Power-on or device reset occurred", key("WREN-0002")),
        ("critical medium error, dev sdb, sector 8 op 0x0:(READ)", key("WREN-0002")),
        ("Buffer I/O error on dev sda1, logical block 0, async page read", key("WREN-0001")),
        ("nvme nvme0: I/O 12 QID 3 timeout, reset controller", key("FINCH-01")),
        ("I/O error, dev nvme0n1, sector 8 op 0x0:(READ)", key("FINCH-01")),
        ("usb 2-2.1: reset SuperSpeed USB device number 2 using xhci_hcd", Part::Usb("2.1".into())),
        ("ata3: SATA link down (SStatus 0 SControl 300)", place("ata3")),
        ("ata1.01: disable device", place("ata1.01")),
        ("I/O error, dev sdq, sector 8 op 0x0:(READ)", place("sdq")),
        ("EXT4-fs (sda1): Remounting filesystem read-only", Part::Volume("sda1".into())),
        ("ahci 0000:00:1f.2: AHCI controller unavailable!", Part::Controller("0000/1f.2".into())),
        ("nvme 0000:00:99.0: AER: can't recover (no error_detected callback)", place("0000:00:99.0")),
        ("md/raid1:md0: cannot start dirty degraded array.", Part::Pool("md0".into())),
        ("r8169 0000:03:00.0 eth0: Link is Down", Part::Link("eth0".into())),
        ("hwmon hwmon1: Undervoltage detected!", Part::Board),
    ] {
        assert_eq!(parts(&mut rounds(&heron), line(text)), [part], "{text}");
    }
    let both = [Part::Pool("md0".into()), key("WREN-0002")];
    assert_eq!(parts(&mut rounds(&heron), line("md/raid1:md0: Disk failure on sdb, disabling device.")), both);
}

#[test]
fn behind_a_port_multiplier_each_of_its_ports_is_a_drive_and_the_port_itself_is_none() {
    let heron = PretendBox::new();
    heron.sata_drive("sda", 1, "WREN-0001", "Warbler 4T");
    // The second drive hangs on the multiplier's port 1, which the kernel makes a channel of the same host.
    let block = "/sys/devices/pci0000:00/0000:00:1f.2/ata1/host0/target0:1:0/0:1:0:0/block/sdb";
    heron.write(&format!("{block}/size"), "1953525168\n").write(&format!("{block}/diskseq"), "77\n");
    heron.write(&format!("{block}/removable"), "0\n").write(&format!("{block}/serial"), "WREN-0002\n");
    heron.write(&format!("{block}/device/vendor"), "ATA\n").link("/sys/block/sdb", block);
    let of = |text| parts(&mut rounds(&heron), line(text));
    assert_eq!(of("ata1.01: disable device"), [key("WREN-0002")]);
    assert_eq!(of("ata1.00: disable device"), [key("WREN-0001")]);
    assert_eq!(of("ata1: hard resetting link"), [place("ata1")]);
}

#[test]
fn a_drive_that_is_gone_is_still_named_and_so_is_its_controller() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    rounds.round();
    heron.remove_drive("nvme0n1").remove_drive("sdb");
    rounds.round();
    let told = parts(&mut rounds, line("ata2: SATA link down (SStatus 0 SControl 300)"));
    assert_eq!(told, [key("WREN-0002")]);
    assert_eq!(parts(&mut rounds, line("nvme nvme0: Disabling device after reset failure: -19")), [key("FINCH-01")]);
    let told = parts(&mut rounds, line("nvme 0000:00:00.0: AER: can't recover (no error_detected callback)"));
    assert_eq!(told, [Part::Controller("0000/1d.0/00.0".into())]);
}

#[test]
fn the_same_name_means_another_drive_after_a_swap() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    rounds.round();
    a_moment_later();
    let before = line("I/O error, dev sdb, sector 8 op 0x0:(READ)");
    a_moment_later();
    let went = message("sdb", appearance(&heron, "sdb"), EventKind::Vanished);
    a_moment_later();
    let after = line("critical medium error, dev sdb, sector 8 op 0x0:(READ)");
    heron.remove_drive("sdb").sata_drive("sdb", 2, "WREN-0009", "Warbler 4T");
    let came = message("sdb", appearance(&heron, "sdb"), EventKind::Appeared);
    let told = parts(&mut rounds, [before, went, after, came].concat());
    assert_eq!(told, [key("WREN-0002"), key("WREN-0002"), key("WREN-0009"), key("WREN-0009")]);
}

#[test]
fn a_disk_that_came_and_went_between_two_rounds_is_nobody_that_is_known() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    rounds.round();
    assert_eq!(parts(&mut rounds, message("sdb", 4711, EventKind::Vanished)), [place("sdb")]);
}

#[test]
fn a_sector_that_cannot_be_read_is_one_event_whoever_tells_it() {
    let heron = heron();
    let mut rounds = rounds(&heron);
    let lines = [
        "ata1.00: error: { UNC }",
        "sd 0:0:0:0: [sda] tag#9 Sense Key : Medium Error [current]",
        "sd 0:0:0:0: [sda] tag#9 Add. Sense: Unrecovered read error - auto reallocate failed",
        "critical medium error, dev sda, sector 8 op 0x0:(READ)",
    ];
    rounds.add_events(lines.iter().flat_map(|text| line(text)).collect());
    let told = rounds.round().events;
    assert_eq!(
        told.iter().map(|event| (&event.part, event.what)).collect::<Vec<_>>(),
        [(&key("WREN-0001"), EventKind::Unreadable)]
    );
    assert_eq!(told[0].line, lines[0]);
    assert_eq!(rounds.round().events, [], "events go with one snapshot only");
}

/// The log of a box as a pipe, each write of which is one read (pipe(2), O_DIRECT), as the kernel's log is.
pub struct Pipe {
    log: File,
    number: u64,
}

impl Pipe {
    pub fn new(heron: &PretendBox) -> Self {
        let path = heron.path("/dev/kmsg");
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
        let log = File::from(open(&path, OFlags::RDWR | OFlags::NONBLOCK, Mode::empty()).unwrap());
        fcntl_setfl(&log, OFlags::DIRECT | OFlags::NONBLOCK).unwrap();
        Self { log, number: 0 }
    }

    /// The kernel writes a line at this time since its start.
    pub fn write_at(&mut self, since_boot: Duration, text: &str) {
        let record = format!("3,{},{},-;{text}\n", self.number, since_boot.as_micros());
        self.log.write_all(record.as_bytes()).unwrap();
        self.number += 1;
    }
}

/// A probe on such a box.
struct Probed {
    log: Pipe,
    core: UnixStream,
    snapshots: Decoder,
}

impl Probed {
    fn new(heron: &PretendBox) -> Self {
        let log = Pipe::new(heron);
        let (core, theirs) = UnixStream::pair().unwrap();
        core.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let host = Host::at(heron.root());
        std::thread::spawn(move || probe::run(host, Clock::of_this_machine(), theirs));
        Self { log, core, snapshots: Decoder::default() }
    }

    fn write(&mut self, text: &str) {
        self.log.write_at(now().since_boot(), text);
    }

    fn snapshot(&mut self) -> Snapshot {
        loop {
            if let Some(snapshot) = self.snapshots.next_message().unwrap() {
                return snapshot;
            }
            let mut piece = [0; 65_536];
            let length = self.core.read(&mut piece).unwrap();
            assert_ne!(length, 0, "the probe has ended");
            self.snapshots.push(&piece[..length]);
        }
    }

    /// The next events, and how many snapshots had none before.
    fn events(&mut self) -> (Vec<Event>, usize) {
        for quiet in 0..100 {
            let snapshot = self.snapshot();
            assert_eq!(snapshot.kernel_log_unreadable, None);
            if !snapshot.events.is_empty() {
                return (snapshot.events, quiet);
            }
        }
        panic!("a hundred snapshots without an event");
    }
}

#[test]
fn the_log_is_read_from_what_is_there_on_and_a_line_that_matters_calls_for_a_round() {
    let heron = heron();
    let mut probed = Probed::new(&heron);
    probed.write("ata1: SATA link up 6.0 Gbps (SStatus 133 SControl 300)");
    let (events, _) = probed.events();
    assert_eq!(
        events.iter().map(|event| (&event.part, event.teller)).collect::<Vec<_>>(),
        [(&key("WREN-0001"), EventSource::Log)]
    );
    probed.write("usb 2-1: New USB device found, idVendor=46f4, idProduct=0001, bcdDevice= 0.00");
    probed.write("ata2.00: disable device");
    let (events, _) = probed.events();
    assert_eq!(
        events.iter().map(|event| (&event.part, event.what)).collect::<Vec<_>>(),
        [(&key("WREN-0002"), EventKind::GivenUp)]
    );
    probed.log.number += 5;
    probed.write("ata2.00: detaching (SCSI 1:0:0:0)");
    let what: Vec<_> = probed.events().0.iter().map(|event| event.what).collect();
    assert_eq!(what, [EventKind::LinesLost(5), EventKind::Vanished]);
}
