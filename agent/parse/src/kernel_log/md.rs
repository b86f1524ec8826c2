//! Lines of md and its levels (drivers/md/md.c, raid0.c, raid1.c, raid5.c, raid10.c), which dm-raid uses too, and the one
//! line of ZFS about a pool that waits.

use super::known_line::Then::Is;
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{
    GivenUp, MemberFailed, NotAssembled, NotClean, ReadCorrected, Suspended, Unreadable,
};

const NOW: &str = "6.1, 6.12";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("md/<kind>:<md>: Disk failure on <disk>, disabling device.<*>", Is(MemberFailed), NOW, "md/raid:md0: Disk failure on sdb, disabling device."),
    row("md/raid0<md>: Disk failure on <disk> detected, failing array.", Is(MemberFailed), NOW, "md/raid0md0: Disk failure on sdb detected, failing array."),
    row("md/<kind>:<md>: Too many read errors, failing device <disk>.", Is(MemberFailed), NOW, "md/raid:md0: Too many read errors, failing device sdb1."),
    row("md: kicking non-fresh <disk> from array!", Is(MemberFailed), NOW, "md: kicking non-fresh sdb1 from array!"),
    row("md/<kind>:<md>: Cannot continue operation (<*>", Is(GivenUp), NOW, "md/raid:md0: Cannot continue operation (2/3 failed)."),
    row("md/<kind>:<md>: not enough operational <*>", Is(NotAssembled), NOW, "md/raid:md0: not enough operational devices (2/4 failed)"),
    row("md/<kind>:<md>: cannot start dirty degraded array.", Is(NotAssembled), NOW, "md/raid:md0: cannot start dirty degraded array."),
    row("md/<kind>:<md>: not clean -- starting background reconstruction", Is(NotClean), NOW, "md/raid:md0: not clean -- starting background reconstruction"),
    row("md/<kind>:<md>: read error corrected (<*> on <disk>)", Is(ReadCorrected), NOW, "md/raid1:md0: read error corrected (8 sectors at 264 on sdb1)"),
    row("md/<kind>:<md>: read error not correctable (sector <number> on <disk>).", Is(Unreadable), NOW, "md/raid:md0: read error not correctable (sector 264 on sdb1)."),
    row("md/<kind>:<md>: <disk>: unrecoverable I/O read error for block <*>", Is(Unreadable), NOW, "md/raid1:md0: sdb1: unrecoverable I/O read error for block 264"),
    row("WARNING: Pool '<pool>' has encountered an uncorrectable I/O failure and has been suspended.<*>", Is(Suspended), "OpenZFS 2.3",
        "WARNING: Pool 'tank' has encountered an uncorrectable I/O failure and has been suspended."),
];
