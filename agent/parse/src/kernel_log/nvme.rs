//! Lines of the NVMe driver (drivers/nvme/host/pci.c, core.c). Whether the words for a status are compiled in differs, so
//! errors are known by their numbers (NVM Express Base Specification 1.4, figure 130 and following).

use super::known_line::Then::Is;
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{AllOnes, CommandFailed, GivenUp, Reset, SlowToRespond, TimedOut, Unreadable};

const NOW: &str = "6.1, 6.12";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("nvme <nvme>: controller is down; will reset: CSTS=0xffffffff<*>", Is(AllOnes), NOW, "nvme nvme0: controller is down; will reset: CSTS=0xffffffff, PCI_STATUS=0x10"),
    row("nvme <nvme>: controller is down; will reset: <*>", Is(Reset), NOW, "nvme nvme0: controller is down; will reset: CSTS=0x3, PCI_STATUS=0x10"),
    row("nvme <nvme>: I/O <*>QID <number> timeout<*>", Is(TimedOut), NOW, "nvme nvme0: I/O tag 12 (100c) opcode 0x2 (I/O Cmd) QID 3 timeout, aborting req_op:READ(0) size:4096"),
    row("nvme <nvme>: Device not ready; <*>", Is(SlowToRespond), NOW, "nvme nvme0: Device not ready; aborting reset, CSTS=0x1"),
    row("nvme <nvme>: resetting controller due to <*>", Is(Reset), NOW, "nvme nvme0: resetting controller due to persistent internal error"),
    row("nvme <nvme>: frozen state error detected, <*>", Is(Reset), NOW, "nvme nvme0: frozen state error detected, reset controller"),
    row("nvme <nvme>: Disabling device after reset failure: <*>", Is(GivenUp), "6.12", "nvme nvme0: Disabling device after reset failure: -19"),
    row("nvme <nvme>: Removing after probe failure status: <*>", Is(GivenUp), "6.1", "nvme nvme0: Removing after probe failure status: -19"),
    row("nvme <nvme>: failed to mark controller <*>", Is(GivenUp), NOW, "nvme nvme0: failed to mark controller live state"),
    row("nvme <nvme>: IO queues lost", Is(GivenUp), NOW, "nvme nvme0: IO queues lost"),
    row("<disk>: <*> @ LBA <number>, <number> blocks, <*> (sct 0x2 / sc 0x81)<*>", Is(Unreadable), NOW,
        "nvme0n1: I/O Cmd(0x2) @ LBA 1016, 32 blocks, I/O Error (sct 0x2 / sc 0x81)"),
    row("<disk>: <*> @ LBA <number>, <number> blocks, <*> (sct 0x2 / sc 0x8<*>", Is(CommandFailed), NOW,
        "nvme0n1: Write(0x1) @ LBA 1016, 8 blocks, Write Fault (sct 0x2 / sc 0x80) DNR"),
];
