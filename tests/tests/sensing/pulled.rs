//! A SATA drive leaves a box that is on, as libata tells it: from the lines of the kernel's log, through the reader of the
//! log, to what is judged of it. The wording is that of drivers/ata/libata-eh.c, libata-core.c and libahci.c in 6.1 and
//! 6.12, and of drivers/scsi/sd.c; the times between are from memory of such logs.

use super::happened::Pipe;
use std::time::Duration;
use traylight::clock::{Clock, Moment};
use traylight::judge::{Memory, judge};
use traylight::probe::rounds::Rounds;
use traylight::reading::Itself;
use traylight::sense::host::Host;
use traylight::sense::kmsg::KernelLog;
use traylight::verdict::{Cause, Handling, Incident};
use traylight_config::{Settings, settle};
use traylight_tests::pretend_box::PretendBox;

/// Nothing moves: the port tells that its connection changed, and is looked at three times.
const IDLE: &str = "\
0.000010 ata4: exception Emask 0x10 SAct 0x0 SErr 0x4090000 action 0xe frozen
0.000020 ata4: irq_stat 0x00400040, connection status changed
0.000030 ata4: SError: { PHYRdyChg 10B8B DevExch }
0.000040 ata4: hard resetting link
0.723000 ata4: SATA link down (SStatus 0 SControl 300)
5.743000 ata4: hard resetting link
6.047000 ata4: SATA link down (SStatus 0 SControl 300)
6.047010 ata4: limiting SATA link speed to 1.5 Gbps
11.119000 ata4: hard resetting link
11.423000 ata4: SATA link down (SStatus 0 SControl 310)
11.423010 ata4.00: disable device
11.423020 ata4: EH complete
11.423030 ata4.00: detaching (SCSI 3:0:0:0)
11.424000 sd 3:0:0:0: [sdd] Synchronizing SCSI cache
11.424010 sd 3:0:0:0: [sdd] Synchronize Cache(10) failed: Result: hostbyte=DID_BAD_TARGET driverbyte=DRIVER_OK
11.424020 sd 3:0:0:0: [sdd] Stopping disk
11.424030 sd 3:0:0:0: [sdd] Start/Stop Unit failed: Result: hostbyte=DID_BAD_TARGET driverbyte=DRIVER_OK";

/// The same in the words of kernels up to 5.x, and with writes under way.
const BUSY: &str = "\
0.000010 ata4.00: exception Emask 0x10 SAct 0x18 SErr 0x4090000 action 0xe frozen
0.000020 ata4.00: irq_stat 0x00400040, connection status changed
0.000030 ata4: SError: { PHYRdyChg 10B8B DevExch }
0.000040 ata4.00: failed command: WRITE FPDMA QUEUED
0.000050 ata4.00: cmd 61/08:18:00:08:00/00:00:00:00:00/40 tag 3 ncq dma 4096 out\\x0a         res 40/00:18:00:08:00/00:00:00:00:00/40 Emask 0x10 (ATA bus error)
0.000060 ata4.00: status: { DRDY }
0.000070 ata4: hard resetting link
0.723000 ata4: SATA link down (SStatus 0 SControl 300)
5.743000 ata4: hard resetting link
6.047000 ata4: SATA link down (SStatus 0 SControl 300)
6.047010 ata4: limiting SATA link speed to 1.5 Gbps
11.119000 ata4: hard resetting link
11.423000 ata4: SATA link down (SStatus 0 SControl 310)
11.423010 ata4.00: disabled
11.423020 sd 3:0:0:0: [sdd] tag#3 FAILED Result: hostbyte=DID_BAD_TARGET driverbyte=DRIVER_OK cmd_age=11s
11.423030 I/O error, dev sdd, sector 2048 op 0x1:(WRITE) flags 0x800 phys_seg 1 prio class 2
11.423040 sd 3:0:0:0: rejecting I/O to offline device
11.423050 md/raid:md0: Disk failure on sdd, disabling device.
11.423060 ata4: EH complete
11.423070 ata4.00: detaching (SCSI 3:0:0:0)
11.424000 sd 3:0:0:0: [sdd] Synchronizing SCSI cache
11.424010 sd 3:0:0:0: [sdd] Synchronize Cache(10) failed: Result: hostbyte=DID_BAD_TARGET driverbyte=DRIVER_OK";

/// No interrupt tells of it, as where links save power: a write times out, and then nothing is there.
const UNNOTICED: &str = "\
30.000010 ata4.00: exception Emask 0x0 SAct 0x8 SErr 0x0 action 0x6 frozen
30.000020 ata4.00: failed command: WRITE FPDMA QUEUED
30.000030 ata4.00: cmd 61/08:18:00:08:00/00:00:00:00:00/40 tag 3 ncq dma 4096 out\\x0a         res 40/00:18:00:08:00/00:00:00:00:00/40 Emask 0x4 (timeout)
30.000040 ata4.00: status: { DRDY }
30.000050 ata4: hard resetting link
30.323000 ata4: SATA link down (SStatus 0 SControl 300)
35.343000 ata4: hard resetting link
35.647000 ata4: SATA link down (SStatus 0 SControl 300)
40.719000 ata4: hard resetting link
41.023000 ata4: SATA link down (SStatus 0 SControl 300)
41.023010 ata4.00: disable device
41.023020 I/O error, dev sdd, sector 2048 op 0x1:(WRITE) flags 0x800 phys_seg 1 prio class 2
41.023030 ata4: EH complete
41.023040 ata4.00: detaching (SCSI 3:0:0:0)";

/// All within one millisecond, as when it is taken away by hand in sysfs.
const AT_ONCE: &str = "\
0.000010 ata4: irq_stat 0x00400040, connection status changed
0.000020 ata4: SATA link down (SStatus 0 SControl 300)
0.000030 ata4.00: disable device
0.000040 ata4.00: detaching (SCSI 3:0:0:0)";

/// It stops answering, comes up again and again for nothing, and is given up in the end.
const DEAD: &str = "\
30.000010 ata4.00: exception Emask 0x0 SAct 0x8 SErr 0x0 action 0x6 frozen
30.000020 ata4.00: failed command: WRITE FPDMA QUEUED
30.000030 ata4.00: cmd 61/08:18:00:08:00/00:00:00:00:00/40 tag 3 ncq dma 4096 out\\x0a         res 40/00:18:00:08:00/00:00:00:00:00/40 Emask 0x4 (timeout)
30.000050 ata4: hard resetting link
35.323000 ata4: link is slow to respond, please be patient (ready=0)
40.043000 ata4: hardreset failed
40.043010 ata4: reset failed (errno=-16), retrying in 1 secs
41.343000 ata4: hard resetting link
41.647000 ata4: SATA link down (SStatus 1 SControl 300)
51.719000 ata4: hard resetting link
52.023000 ata4: SATA link down (SStatus 0 SControl 310)
52.023010 ata4.00: disable device
52.023020 I/O error, dev sdd, sector 2048 op 0x1:(WRITE) flags 0x800 phys_seg 1 prio class 2
52.023030 ata4: EH complete
52.023040 ata4.00: detaching (SCSI 3:0:0:0)";

const TRAYS: &str = "
[[shelf]]
name = \"upper\"
[[shelf.tray]]
label = \"1\"
serial = \"WREN-0001\"
[[shelf.tray]]
label = \"2\"
serial = \"WREN-0002\"
[[shelf.tray]]
label = \"3\"
serial = \"WREN-0003\"
[[shelf.tray]]
label = \"4\"
serial = \"WREN-0004\"
";

/// The box heron with a RAID 5 over four trays, its log, and what is judged of it.
struct Story {
    heron: PretendBox,
    log: KernelLog,
    pipe: Pipe,
    rounds: Rounds,
    settings: Settings,
    memory: Memory,
    began: Moment,
    open: Vec<Incident>,
}

impl Story {
    fn new(hot_swap: bool) -> Self {
        let heron = PretendBox::new();
        for (device, port) in [("sda", 1), ("sdb", 2), ("sdc", 3), ("sdd", 4)] {
            heron.sata_drive(device, port, &format!("WREN-000{port}"), "Warbler 4T");
        }
        heron.md("md0", "raid5", &["sda", "sdb", "sdc", "sdd"]).controllers();
        let pipe = Pipe::new(&heron);
        let host = Host::at(heron.root());
        let log = KernelLog::open(&host).unwrap().expect("the box has a log");
        let clock = Clock::of_this_machine();
        // Long after the start, where nothing is excused any more.
        let began = clock.now().plus(Duration::from_secs(1000));
        let settings = settle(&format!("[box]\nhot_swap = {hot_swap}\n{TRAYS}"), "heron.toml").unwrap();
        let rounds = Rounds::new(host, clock);
        let memory = Memory::default();
        Self { heron, log, pipe, rounds, settings, memory, began, open: Vec::new() }
    }

    /// A round at this second of the story.
    fn look(&mut self, second: f64) {
        let now = self.began.plus(Duration::from_secs_f64(second));
        let mut snapshot = self.rounds.round();
        snapshot.taken = now;
        let (verdict, _) = judge(&self.settings, &mut self.memory, now, Some(&snapshot), &Itself::default());
        self.open = verdict.incidents;
    }

    /// From this second of the story on the kernel writes these lines; looks are two seconds apart, and the last is when
    /// the drive of tray 4 is detached.
    fn tell(&mut self, second: f64, lines: &str) {
        let mut looked = second;
        for line in lines.lines() {
            let (after, text) = line.split_once(' ').unwrap();
            let at = second + after.parse::<f64>().unwrap();
            while looked + 2.0 < at {
                looked += 2.0;
                self.look(looked);
            }
            self.write(at, text);
        }
        self.heron.remove_drive("sdd");
        self.look(looked + 2.0);
    }

    /// The kernel writes a line at this second of the story, and it is read.
    fn write(&mut self, second: f64, text: &str) {
        let at = self.began.plus(Duration::from_secs_f64(second));
        self.pipe.write_at(at.since_boot(), text);
        self.log.renew();
        let taken = self.log.take(at, Duration::ZERO).unwrap();
        self.rounds.add_events(taken.events);
    }

    /// It writes lines, and nobody looks meanwhile.
    fn write_all(&mut self, second: f64, lines: &str) {
        for line in lines.lines() {
            let (after, text) = line.split_once(' ').unwrap();
            self.write(second + after.parse::<f64>().unwrap(), text);
        }
    }

    /// The drive of tray 1 is gone, and md has noticed.
    fn lacks_one(&mut self) {
        self.look(0.0);
        self.heron.remove_drive("sda");
        self.heron.md_member_is_faulty("sda");
        self.look(10.0);
        self.look(12.0);
    }

    fn causes(&self) -> Vec<(Cause, &Handling)> {
        self.open.iter().map(|incident| (incident.cause, &incident.handling)).collect()
    }

    fn must_go_back(&self, name: &str, hot_swap: bool) {
        let back = Handling::PutBack { tray: "4".to_owned() };
        assert!(self.causes().contains(&(Cause::WrongTray, &back)), "{name}: {:?}", self.causes());
        assert!(self.open.iter().all(|incident| incident.hot_swap == hot_swap), "{name}");
    }

    fn must_not_go_back(&self, name: &str) {
        assert!(!self.open.is_empty(), "{name}: nothing is told");
        assert!(self.causes().iter().all(|(cause, _)| *cause != Cause::WrongTray), "{name}: {:?}", self.causes());
    }
}

const PULLED: [(&str, &str); 4] = [("idle", IDLE), ("busy", BUSY), ("unnoticed", UNNOTICED), ("at once", AT_ONCE)];

#[test]
fn a_good_drive_that_is_pulled_while_its_pool_lacks_another_must_go_back() {
    for (name, lines) in PULLED {
        for (muted, hot_swap) in [(false, false), (true, false), (false, true)] {
            let mut story = Story::new(hot_swap);
            story.lacks_one();
            if muted {
                story.memory.mute_until(Some(story.began.plus(Duration::from_secs(3600))));
            }
            story.tell(100.0, lines);
            story.must_go_back(&format!("{name}, muted: {muted}"), hot_swap);
        }
    }
}

/// md lets go of it while its device is still there.
#[test]
fn a_look_between_the_pools_word_and_the_end_of_the_device_changes_nothing() {
    let mut story = Story::new(false);
    story.lacks_one();
    let (first, last) = BUSY.split_once("\n11.423060").unwrap();
    story.write_all(100.0, first);
    story.heron.md_member_is_faulty("sdd");
    story.look(111.423);
    story.write_all(100.0, &format!("11.423060{last}"));
    story.heron.remove_drive("sdd");
    story.look(112.0);
    story.must_go_back("its pool noticed first", false);
}

#[test]
fn the_neighbour_of_a_failing_drive_must_go_back_though_its_pool_lacked_none() {
    for (name, lines) in PULLED {
        let mut story = Story::new(false);
        story.look(0.0);
        // The drive of tray 2 has work, and finishes none.
        story.heron.stalled("sdb");
        for look in 0..9 {
            story.look(10.0 + 20.0 * f64::from(look));
        }
        assert!(story.causes().iter().any(|(cause, _)| *cause == Cause::DriveHangs), "{name}: {:?}", story.causes());
        story.tell(200.0, lines);
        story.must_go_back(name, false);
    }
}

#[test]
fn a_second_death_and_a_pool_that_was_well_are_no_wrong_tray() {
    let mut story = Story::new(false);
    story.lacks_one();
    story.tell(100.0, DEAD);
    story.must_not_go_back("it died");
    for (name, lines) in PULLED {
        let mut story = Story::new(false);
        story.look(0.0);
        story.tell(100.0, lines);
        story.must_not_go_back(name);
        let is_cable = |(cause, _): &(Cause, &Handling)| *cause == Cause::DataCable;
        assert!(!story.causes().iter().any(is_cable), "{name}: {:?}", story.causes());
    }
}

/// Power is cut from two trays in one moment, and the kernel gives one up late.
#[test]
fn two_drives_whose_links_break_together_are_no_wrong_tray_whenever_they_are_detached() {
    let mut story = Story::new(false);
    story.look(0.0);
    let third = IDLE.replace("ata4", "ata3").replace("3:0:0:0", "2:0:0:0").replace("sdd", "sdc");
    let (begins, ends) = third.split_once("\n5.743").unwrap();
    story.write_all(100.0, begins);
    story.tell(101.0, IDLE);
    story.write_all(115.0, &format!("5.743{ends}"));
    story.heron.remove_drive("sdc");
    story.look(130.0);
    story.must_not_go_back("two trays");
    assert!(story.causes().iter().any(|(cause, _)| *cause == Cause::Supply), "{:?}", story.causes());
}
