//! Lines of file systems about themselves (fs/ext4/super.c, fs/jbd2/journal.c, fs/xfs, fs/btrfs).

use super::known_line::Then::Is;
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{FileSystemError, NoPoolMetadata, ReadCorrected, StoppedWriting};

const NOW: &str = "6.1, 6.12";
const OLD: &str = "up to 5.x, from memory";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("EXT4-fs error (device <device>): <*>", Is(FileSystemError), NOW, "EXT4-fs error (device sda1): ext4_lookup:1855: inode #2: comm ls: iget: checksum invalid"),
    row("EXT4-fs (<device>): Remounting filesystem read-only", Is(StoppedWriting), NOW, "EXT4-fs (sda1): Remounting filesystem read-only"),
    row("Aborting journal on device <journal>.", Is(StoppedWriting), NOW, "Aborting journal on device sda1-8."),
    row("XFS (<device>): Filesystem has been shut down <*>", Is(StoppedWriting), NOW, "XFS (sda1): Filesystem has been shut down due to log error (0x2)."),
    row("XFS (<device>): <*> Detected. Shutting down filesystem.", Is(StoppedWriting), OLD, "XFS (sda1): Log I/O Error Detected. Shutting down filesystem."),
    row("XFS (<device>): metadata I/O error <*>", Is(FileSystemError), NOW, r#"XFS (sda1): metadata I/O error in "xfs_da_read_buf" at daddr 0x18 len 8 error 5"#),
    row("XFS (<device>): Metadata <*> detected at <*>", Is(FileSystemError), NOW, "XFS (sda1): Metadata CRC error detected at xfs_agf_read_verify+0xd4/0x110 [xfs], xfs_agf block 0x1"),
    row("BTRFS <word> (device <device><*>): forced readonly", Is(StoppedWriting), NOW, "BTRFS info (device sda1 state EA): forced readonly"),
    row("BTRFS <word> (device <device><*>): space_info METADATA has <*>is full", Is(NoPoolMetadata), NOW, "BTRFS info (device sda1): space_info METADATA has 0 free, is full"),
    row("BTRFS <word> (device <device><*>): bdev <*> errs: <*>", Is(FileSystemError), NOW, "BTRFS error (device sda1): bdev /dev/sdb1 errs: wr 1, rd 0, flush 0, corrupt 0, gen 0"),
    row("BTRFS <word> (device <device><*>): csum failed <*>", Is(FileSystemError), NOW, "BTRFS warning (device sda1): csum failed root 5 ino 257 off 0 csum 0x98f94189 expected csum 0xd1ff3c27 mirror 1"),
    row("BTRFS <word> (device <device><*>): corrupt <*>", Is(FileSystemError), NOW, "BTRFS critical (device sda1): corrupt leaf: root=2 block=30490624 slot=12, unexpected item end, have 16171 expect 16170"),
    row("BTRFS <word> (device <device><*>): parent transid verify failed <*>", Is(FileSystemError), NOW, "BTRFS error (device sda1): parent transid verify failed on logical 30490624 mirror 1 wanted 9 found 7"),
    row("BTRFS <word> (device <device><*>): read error corrected: <*>", Is(ReadCorrected), NOW, "BTRFS info (device sda1): read error corrected: ino 257 off 0 (dev /dev/sdb1 sector 2184)"),
    row("BTRFS <word> (device <device><*>): fixed up error at logical <*>", Is(ReadCorrected), NOW, "BTRFS error (device sda1): fixed up error at logical 298844160 on dev /dev/sdb1 physical 298844160"),
];
