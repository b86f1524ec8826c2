//! Lines of the SCSI layer, of its driver for disks, and of the block layer above all drivers (drivers/scsi/sd.c,
//! scsi_error.c, scsi_logging.c, block/blk-core.c, fs/buffer.c). Most are at the level of a piece of information.

use super::known_line::Then::Is;
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{
    Appeared, CommandFailed, GivenUp, Reset, SlowToRespond, TimedOut, Unreadable,
};

const NOW: &str = "6.1, 6.12";
const OLD: &str = "up to 5.x, from memory";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("sd <scsi>: [<word>] tag#<number> Sense Key : Medium Error<*>", Is(Unreadable), NOW, "sd 9:0:0:0: [sdf] tag#93 Sense Key : Medium Error [current]"),
    row("sd <scsi>: [<word>] tag#<number> Sense Key : Hardware Error<*>", Is(CommandFailed), NOW, "sd 9:0:0:0: [sdf] tag#93 Sense Key : Hardware Error [current]"),
    row("sd <scsi>: [<word>] tag#<number> Add. Sense: Unrecovered read error<*>", Is(Unreadable), NOW, "sd 9:0:0:0: [sdf] tag#93 Add. Sense: Unrecovered read error"),
    row("sd <scsi>: [<word>] tag#<number> FAILED Result: hostbyte=DID_TIME_OUT <*>", Is(TimedOut), NOW,
        "sd 9:0:0:0: [sdf] tag#93 FAILED Result: hostbyte=DID_TIME_OUT driverbyte=DRIVER_OK cmd_age=30s"),
    row("sd <scsi>: [<word>] tag#<number> FAILED Result: hostbyte=DID_NO_CONNECT <*>", Is(CommandFailed), NOW,
        "sd 7:0:0:0: [sde] tag#11 FAILED Result: hostbyte=DID_NO_CONNECT driverbyte=DRIVER_OK cmd_age=0s"),
    row("sd <scsi>: [<word>] tag#<number> uas_eh_abort_handler <*>", Is(TimedOut), NOW, "sd 4:0:0:0: [sdb] tag#12 uas_eh_abort_handler 0 uas-tag 3 inflight: CMD IN"),
    row("sd <scsi>: [<word>] Synchronize Cache(10) failed: <*>", Is(CommandFailed), NOW,
        "sd 7:0:0:0: [sde] Synchronize Cache(10) failed: Result: hostbyte=DID_NO_CONNECT driverbyte=DRIVER_OK"),
    row("sd <scsi>: [<word>] Start/Stop Unit failed: <*>", Is(CommandFailed), NOW,
        "sd 7:0:0:0: [sde] Start/Stop Unit failed: Result: hostbyte=DID_BAD_TARGET driverbyte=DRIVER_OK"),
    row("sd <scsi>: [<word>] Unit Not Ready", Is(SlowToRespond), NOW, "sd 7:0:0:0: [sde] Unit Not Ready"),
    row("sd <scsi>: Power-on or device reset occurred", Is(Reset), NOW, "sd 6:0:0:0: Power-on or device reset occurred"),
    row("sd <scsi>: Device offlined - <*>", Is(GivenUp), NOW, "sd 6:0:0:0: Device offlined - not ready after error recovery"),
    row("sd <scsi>: rejecting I/O to <*>", Is(GivenUp), NOW, "sd 6:0:0:0: rejecting I/O to offline device"),
    row("sd <scsi>: [<word>] rejecting I/O to <*>", Is(GivenUp), NOW, "sd 6:0:0:0: [sdc] rejecting I/O to dead device"),
    row("sd <scsi>: [<disk>] Attached SCSI <*>", Is(Appeared), NOW, "sd 6:0:0:0: [sdc] Attached SCSI disk"),
    row("scsi <host>: uas_eh_device_reset_handler start", Is(Reset), NOW, "scsi host4: uas_eh_device_reset_handler start"),
    row("critical medium error, dev <disk>, sector <*>", Is(Unreadable), NOW, "critical medium error, dev sdf, sector 4656 op 0x0:(READ) flags 0x80700 phys_seg 1 prio class 2"),
    row("critical target error, dev <disk>, sector <*>", Is(CommandFailed), NOW, "critical target error, dev sdf, sector 4656 op 0x1:(WRITE) flags 0x800 phys_seg 1 prio class 2"),
    row("recoverable transport error, dev <disk>, sector <*>", Is(CommandFailed), NOW, "recoverable transport error, dev sdf, sector 8 op 0x0:(READ) flags 0x0 phys_seg 1 prio class 2"),
    row("timeout error, dev <disk>, sector <*>", Is(TimedOut), NOW, "timeout error, dev sdf, sector 8 op 0x0:(READ) flags 0x0 phys_seg 1 prio class 2"),
    row("protection error, dev <disk>, sector <*>", Is(CommandFailed), NOW, "protection error, dev sdf, sector 8 op 0x0:(READ) flags 0x0 phys_seg 1 prio class 2"),
    row("device offline error, dev <disk>, sector <*>", Is(GivenUp), NOW, "device offline error, dev sda, sector 1024 op 0x1:(WRITE) flags 0x800 phys_seg 1 prio class 2"),
    row("I/O error, dev <disk>, sector <*>", Is(CommandFailed), NOW, "I/O error, dev sdb, sector 1024 op 0x0:(READ) flags 0x0 phys_seg 1 prio class 2"),
    row("<word>: critical medium error, dev <disk>, sector <*>", Is(Unreadable), OLD, "blk_update_request: critical medium error, dev sdf, sector 4656"),
    row("<word>: I/O error, dev <disk>, sector <*>", Is(CommandFailed), OLD, "print_req_error: I/O error, dev sdb, sector 1024"),
    row("Buffer I/O error on dev <disk>, logical block <*>", Is(CommandFailed), NOW, "Buffer I/O error on dev sdf, logical block 582, async page read"),
];
