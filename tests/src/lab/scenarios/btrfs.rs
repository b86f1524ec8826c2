//! Pools of btrfs: a mirror loses a drive, which the kernel says nothing of, and a small pool runs out of room for metadata.
//! The tools of btrfs are the judges where they can be.

use super::Bench;
use super::heron::{Fitting, Heron};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;

/// How long a reading without an agent may take until the pools have answered.
const SHOWN_S: u64 = 40;

/// Fills the room for data first, so that none of it can become room for metadata, and gives a little of it back: each
/// file needs some until btrfs has decided where to keep it. Then makes notes, which are so small that btrfs keeps them in
/// its metadata, until no more fit.
const FILL: &str = "
dd if=/dev/zero of=/srv/notes/song.flac bs=1M 2>/dev/null
truncate --size=-32M /srv/notes/song.flac
sync -f /srv/notes
head -c 400000 /dev/zero >/tmp/notes
for number in $(seq 400); do
    mkdir /srv/notes/$number && split --bytes=2000 --suffix-length=3 /tmp/notes /srv/notes/$number/ || break
done 2>/dev/null
sync -f /srv/notes
";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drive = |n| Drive::Scsi { serial: format!("EGG-{n}"), size_mib: 256 };
    let fitting = Fitting {
        drives: (1..=4).map(drive).collect(),
        set_up: include_str!("../../../lab/btrfs.sh"),
        about: "a mirror of btrfs, and a pool of little room",
        config: include_str!("../../../lab/volumes.toml"),
    };
    let mut heron = Heron::boot(bench, report, "btrfs", fitting)?;
    let words = report.step("experiment", || heron.machine.run(&format!("date +%s\n{FILL}\ndate +%s\nbtrfs filesystem usage -b /srv/notes; cat /sys/fs/btrfs/*/label; ls /srv/notes | wc -l; grep . /sys/fs/btrfs/*/allocation/metadata/bytes_used /sys/fs/btrfs/*/allocation/global_rsv*; traylight look"), 300))?;
    println!("{}", words.text);
    Err(LabError::unexpected("x", "y", "z")).or(Err(Failed))
}
