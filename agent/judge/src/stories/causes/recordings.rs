//! Lines of libata, SCSI and md about one drive, in the order in which a kernel 6.12 writes them, read by the reader that
//! the probe reads the real log with. Milliseconds stand before each line.

use traylight_data::reading::{EventKind, Part};
use traylight_parse::kernel_log::lines::LogReader;
use traylight_parse::named::KernelName;

/// The power contact opens while the drive has nothing to do: three resets find nothing, then it is let go.
const CUT_IDLE: &str = r"
0 ata2: exception Emask 0x10 SAct 0x0 SErr 0x4890000 action 0xe frozen
0 ata2: irq_stat 0x0c400040, interface fatal error, connection status changed
0 ata2: SError: { PHYRdyChg 10B8B LinkSeq DevExch }
0 ata2: hard resetting link
700 ata2: SATA link down (SStatus 0 SControl 300)
5900 ata2: hard resetting link
6600 ata2: SATA link down (SStatus 0 SControl 300)
6600 ata2: limiting SATA link speed to 1.5 Gbps
11800 ata2: hard resetting link
12500 ata2: SATA link down (SStatus 0 SControl 310)
12500 ata2.00: disable device
12510 ata2.00: detaching (SCSI 1:0:0:0)
12520 ata2: EH complete";

/// The same while it is written to: commands run out, the link answers once and is made slower, md lets the drive go first.
const CUT_BUSY: &str = r"
0 ata2.00: exception Emask 0x10 SAct 0x7f SErr 0x4890000 action 0xe frozen
0 ata2.00: irq_stat 0x00400040, connection status changed
0 ata2: SError: { PHYRdyChg 10B8B LinkSeq DevExch }
0 ata2.00: failed command: WRITE FPDMA QUEUED
0 ata2.00: cmd 61/08:30:00:08:00/00:00:00:00:00/40 tag 6 ncq dma 4096 out res 40/00:30:00:08:00/00:00:00:00:00/40 Emask 0x10 (ATA bus error)
0 ata2: hard resetting link
5400 ata2: link is slow to respond, please be patient (ready=0)
10100 ata2: COMRESET failed (errno=-16)
10100 ata2: hard resetting link
15500 ata2: link is slow to respond, please be patient (ready=0)
20200 ata2: COMRESET failed (errno=-16)
20200 ata2: hard resetting link
25600 ata2: link is slow to respond, please be patient (ready=0)
55200 ata2: COMRESET failed (errno=-16)
55200 ata2: limiting SATA link speed to 3.0 Gbps
55200 ata2: hard resetting link
60200 ata2: COMRESET failed (errno=-16)
60200 ata2: reset failed, giving up
60200 ata2.00: disable device
60210 ata2: EH complete
60220 sd 1:0:0:0: [sdb] tag#6 FAILED Result: hostbyte=DID_BAD_TARGET driverbyte=DRIVER_OK cmd_age=60s
60220 I/O error, dev sdb, sector 2064 op 0x1:(WRITE) flags 0x8800 phys_seg 1 prio class 2
60230 md/raid:md0: Disk failure on sdb, disabling device.
60240 md/raid:md0: read error not correctable (sector 264 on sdb).
60900 ata2.00: detaching (SCSI 1:0:0:0)";

/// The supply sags and comes back: the link goes and comes, slower, and nothing is let go.
const DIP: &str = r"
0 ata2: exception Emask 0x10 SAct 0x0 SErr 0x4890000 action 0xe frozen
0 ata2: irq_stat 0x00400040, connection status changed
0 ata2: SError: { PHYRdyChg 10B8B Dispar DevExch }
0 ata2: hard resetting link
5400 ata2: link is slow to respond, please be patient (ready=0)
9800 ata2: SATA link up 3.0 Gbps (SStatus 123 SControl 320)
9900 ata2.00: configured for UDMA/133
9900 ata2: EH complete";

/// A drive comes (back) on a running port.
const BACK: &str = r"
0 ata2: exception Emask 0x10 SAct 0x0 SErr 0x4040000 action 0xe frozen
0 ata2: irq_stat 0x00000040, connection status changed
0 ata2: SError: { CommWake DevExch }
0 ata2: hard resetting link
5400 ata2: link is slow to respond, please be patient (ready=0)
9100 ata2: SATA link up 6.0 Gbps (SStatus 133 SControl 300)
9200 ata2.00: configured for UDMA/133
9200 ata2: EH complete";

/// A bad data cable: transfers are damaged, the link is reset and made slower, and goes on.
const CABLE: &str = r"
0 ata2.00: exception Emask 0x10 SAct 0x7f SErr 0x400100 action 0x6 frozen
0 ata2.00: irq_stat 0x08000000, interface fatal error
0 ata2: SError: { UnrecovData Handshk }
0 ata2.00: cmd 61/08:30:00:08:00/00:00:00:00:00/40 tag 6 ncq dma 4096 out res 40/00:30:00:08:00/00:00:00:00:00/40 Emask 0x10 (ATA bus error)
0 ata2: limiting SATA link speed to 3.0 Gbps
0 ata2: hard resetting link
400 ata2: SATA link up 3.0 Gbps (SStatus 123 SControl 320)
410 ata2: EH complete";

/// A drive that cannot read a place, then answers no more and is let go.
const DIES: &str = r"
0 ata2.00: exception Emask 0x0 SAct 0x4 SErr 0x0 action 0x0
0 ata2.00: cmd 60/08:10:00:08:00/00:00:00:00:00/40 tag 2 ncq dma 4096 in res 41/40:08:00:08:00/00:00:00:00:00/00 Emask 0x409 (media error) <F>
0 ata2.00: error: { UNC }
10 ata2: EH complete
30000 ata2.00: exception Emask 0x0 SAct 0x4 SErr 0x0 action 0x6 frozen
30000 ata2.00: cmd 60/08:10:00:08:00/00:00:00:00:00/40 tag 2 ncq dma 4096 in res 40/00:00:00:00:00/00:00:00:00:00/00 Emask 0x4 (timeout)
30000 ata2: hard resetting link
40000 ata2: COMRESET failed (errno=-16)
40000 ata2: hard resetting link
50000 ata2: COMRESET failed (errno=-16)
50000 ata2: reset failed, giving up
50000 ata2.00: disable device
50010 md/raid:md0: Disk failure on sdb, disabling device.
50900 ata2.00: detaching (SCSI 1:0:0:0)
50910 ata2: EH complete";

/// What a recording tells that begins at a second: when, in milliseconds, of which part and what. All that is told of a
/// port, its device or its disk is told of `drive`.
pub fn log(name: &str, second: u64, drive: Part) -> Vec<(u64, Part, EventKind)> {
    let text = match name {
        "cut-idle" => CUT_IDLE,
        "cut-busy" => CUT_BUSY,
        "dip" => DIP,
        "back" => BACK,
        "cable" => CABLE,
        "dies" => DIES,
        other => panic!("there is no recording {other}"),
    };
    let mut reader = LogReader::default();
    let mut told: Vec<(u64, Part, EventKind)> = Vec::new();
    for (number, line) in text.trim().lines().enumerate() {
        let (at, line) = line.split_once(' ').expect("milliseconds and a line");
        let at = second * 1000 + at.parse::<u64>().expect("milliseconds");
        let record = format!("4,{number},{},-;{line}", at * 1000);
        for heard in reader.take(record.as_bytes()) {
            let part = if let KernelName::Pool(pool) = heard.part { Part::Pool(pool) } else { drive.clone() };
            // Several tell of one moment, and the probe hands on one of them.
            let is_known = |(then, of, what): &(u64, Part, EventKind)| {
                *of == part && *what == heard.what && at.abs_diff(*then) <= 2000
            };
            if !told.iter().any(is_known) {
                told.push((at, part, heard.what));
            }
        }
    }
    told
}
