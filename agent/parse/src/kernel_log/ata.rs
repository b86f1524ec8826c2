//! Lines of libata and of the AHCI driver about a port or the device on it (drivers/ata/libata-*.c, libahci.c).

use super::known_line::Then::{Among, Closes, Down, Is, Opens, Up};
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{
    AllOnes, CommandFailed, ConnectionChanged, GivenUp, LinkSlowed, Reset, SlowToRespond, TimedOut, TransferDamaged,
    Unreadable, Vanished,
};

/// Both of the kernels that the project is tried with, 6.1 and 6.12.
const NOW: &str = "6.1, 6.12";
const OLD: &str = "up to 5.x, from memory";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("<ata>: exception Emask <*>", Opens, NOW, "ata2.00: exception Emask 0x1 SAct 0x4000000 SErr 0x0 action 0x0"),
    row("<ata>: EH complete", Closes, NOW, "ata2: EH complete"),
    row("<ata>: irq_stat 0x<status>, <*>", Among(&[
        ("interface fatal error", TransferDamaged),
        ("connection status changed", ConnectionChanged),
        ("PHY RDY changed", ConnectionChanged),
        ("host bus error", CommandFailed),
    ]), NOW, "ata4: irq_stat 0x00400040, connection status changed"),
    row("<ata>: SError: { <*> }", Among(&[
        ("10B8B", TransferDamaged),
        ("Dispar", TransferDamaged),
        ("BadCRC", TransferDamaged),
        ("Handshk", TransferDamaged),
        ("LinkSeq", TransferDamaged),
        ("PHYRdyChg", ConnectionChanged),
        ("CommWake", ConnectionChanged),
        ("DevExch", ConnectionChanged),
    ]), NOW, "ata3: SError: { UnrecovData Handshk }"),
    row("<ata>: error: { <*> }", Among(&[("ICRC", TransferDamaged), ("UNC", Unreadable)]), NOW, "ata3.00: error: { ICRC ABRT }"),
    row("<ata>: cmd <*> (timeout)<*>", Is(TimedOut), NOW,
        "ata3.00: cmd 61/08:30:00:08:00/00:00:00:00:00/40 tag 6 ncq dma 4096 out res 40/00:00:00:00:00/00:00:00:00:00/00 Emask 0x4 (timeout)"),
    row("<ata>: cmd <*> (media error)<*>", Is(Unreadable), NOW,
        "ata1.00: cmd 60/08:10:00:08:00/00:00:00:00:00/40 tag 2 ncq dma 4096 in res 41/40:08:00:08:00/00:00:00:00:00/00 Emask 0x409 (media error) <F>"),
    row("<ata>: cmd <*> (ATA bus error)<*>", Is(TransferDamaged), NOW,
        "ata3.00: cmd 61/08:30:00:08:00/00:00:00:00:00/40 tag 6 ncq dma 4096 out res 40/00:30:00:08:00/00:00:00:00:00/40 Emask 0x10 (ATA bus error)"),
    row("<ata>: cmd <*> Emask 0x<status> (<*>", Is(CommandFailed), NOW,
        "ata2.00: cmd c8/00:08:00:04:00/00:00:00:00:00/e0 tag 22 dma 4096 in res 41/04:08:00:04:00/00:00:00:00:00/e0 Emask 0x1 (device error)"),
    row("<ata>: SATA link up <speed> Gbps <*>", Up, NOW, "ata2: SATA link up 1.5 Gbps (SStatus 113 SControl 300)"),
    row("<ata>: SATA link down (SStatus <status> SControl <*>", Down, NOW, "ata3: SATA link down (SStatus 0 SControl 300)"),
    row("<ata>: failed to resume link (SControl FFFFFFFF)", Is(AllOnes), NOW, "ata5: failed to resume link (SControl FFFFFFFF)"),
    row("<ata>: failed to resume link (SControl <*>", Is(SlowToRespond), NOW, "ata5: failed to resume link (SControl 0)"),
    row("<ata>: link resume succeeded after <*>", Is(SlowToRespond), NOW, "ata5: link resume succeeded after 3 retries"),
    row("<ata>: link is slow to respond, <*>", Is(SlowToRespond), NOW, "ata3: link is slow to respond, please be patient (ready=0)"),
    row("<ata>: COMRESET failed (errno=<*>", Is(SlowToRespond), OLD, "ata3: COMRESET failed (errno=-16)"),
    row("<ata>: reset failed, giving up", Is(GivenUp), NOW, "ata3: reset failed, giving up"),
    row("<ata>: reset failed (errno=<*>", Is(SlowToRespond), NOW, "ata3: reset failed (errno=-32), retrying in 8 secs"),
    row("<ata>: hardreset failed<*>", Is(SlowToRespond), NOW, "ata3: hardreset failed"),
    row("<ata>: softreset failed<*>", Is(SlowToRespond), NOW, "ata3: softreset failed (device not ready)"),
    row("<ata>: hard resetting link", Is(Reset), NOW, "ata3: hard resetting link"),
    row("<ata>: soft resetting link", Is(Reset), NOW, "ata3: soft resetting link"),
    row("<ata>: limiting SATA link speed to <*>", Is(LinkSlowed), NOW, "ata3: limiting SATA link speed to 3.0 Gbps"),
    row("<ata>: limiting speed to <*>", Is(LinkSlowed), NOW, "ata3.00: limiting speed to UDMA/100:PIO4"),
    row("<ata>: NCQ disabled due to excessive errors", Is(CommandFailed), NOW, "ata2.00: NCQ disabled due to excessive errors"),
    row("<ata>: qc timeout <*>", Is(TimedOut), NOW, "ata3.00: qc timeout after 5000 msecs (cmd 0xec)"),
    row("<ata>: failed to IDENTIFY (<*>", Is(CommandFailed), NOW, "ata3.00: failed to IDENTIFY (I/O error, err_mask=0x4)"),
    row("<ata>: revalidation failed (errno=<*>", Is(CommandFailed), NOW, "ata3.00: revalidation failed (errno=-5)"),
    row("<ata>: failed to set xfermode (err_mask=<*>", Is(CommandFailed), NOW, "ata3.00: failed to set xfermode (err_mask=0x40)"),
    row("<ata>: FLUSH failed Emask <*>", Is(CommandFailed), NOW, "ata3.00: FLUSH failed Emask 0x1"),
    row("<ata>: serial number mismatch <*>", Is(ConnectionChanged), NOW, "ata3.00: serial number mismatch 'WREN-0001' != 'WREN-0002'"),
    row("<ata>: model number mismatch <*>", Is(ConnectionChanged), NOW, "ata3.00: model number mismatch 'Warbler 4T' != 'Warbler 8T'"),
    row("<ata>: disable device", Is(GivenUp), NOW, "ata1.00: disable device"),
    row("<ata>: disabled", Is(GivenUp), OLD, "ata1.00: disabled"),
    row("<ata>: detaching (SCSI <scsi>)", Is(Vanished), NOW, "ata4.00: detaching (SCSI 3:0:0:0)"),
    row("<ata>: EH pending after <*>", Is(GivenUp), NOW, "ata4: EH pending after 5 tries, giving up"),
    row("<ata>: failed to recover link after <*>", Is(GivenUp), NOW, "ata4.02: failed to recover link after 5 tries, disabling"),
    row("<ata>: failed to reset PMP, giving up", Is(GivenUp), NOW, "ata4.15: failed to reset PMP, giving up"),
];
