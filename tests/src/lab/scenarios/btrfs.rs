//! Pools of btrfs: a mirror loses a drive, which the kernel says nothing of, and a small pool runs out of room for metadata.
//! The tools of btrfs are the judges where they can be.

use super::heron::{Fitting, Heron};
use super::{Bench, System};
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

/// Takes a drive of the mirror away, and notes the guest's uptime in seconds then and when the log tells of the pool.
const TAKE_AWAY: &str = r#"
now() { cut -d' ' -f1 /proc/uptime; }
device=$(device_of EGG-2) || exit 1
now >/lab/taken
(for _ in $(seq 1000); do
    grep -q pool-degraded /lab/traylight.log && now >/lab/told && break
    sleep 0.05
done) &
echo 1 >"/sys/block/${device##*/}/device/delete"
"#;
/// What the kernel says of the mirror's devices: 1 would be missing (fs/btrfs/sysfs.c).
const MISSING: &str = "for label in /sys/fs/btrfs/*/label; do
    [ \"$(cat $label)\" != mirror ] || cat ${label%/label}/devinfo/*/missing
done";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drive = |n| Drive::Scsi { serial: format!("EGG-{n}"), size_mib: 256 };
    let fitting = Fitting {
        system: System::Host,
        drives: (1..=4).map(drive).collect(),
        has_network: false,
        set_up: include_str!("../../../lab/btrfs.sh"),
        about: "a mirror of btrfs, and a pool of little room",
        config: include_str!("../../../lab/volumes.toml"),
    };
    let mut heron = Heron::boot(bench, report, "btrfs", fitting)?;
    let mut checks = vec![report.step("look: both are whole and have their sizes, and nothing is wrong", || {
        heron.wait_for_look("two pools of btrfs", SHOWN_S, |look| {
            // A mirror holds half of its drives' 512 MiB.
            for (name, level, size) in [("mirror", "raid1", 256), ("notes", "single + raid1", 512)] {
                let pool = look.item("pools", "name", name)?;
                pool.must_be("kind", "btrfs")?;
                pool.must_be("level", level)?;
                pool.must_be("state", "healthy")?;
                pool.must_count("members", 2)?;
                let bytes = f64::from(size << 20);
                pool.must_be_between("size_bytes", bytes, bytes)?;
            }
            look.must_exit_with(0)
        })
    })];
    checks.push(little_room(report, &mut heron));
    heron.watch(report)?;
    checks.push(mirror_loses_a_drive(report, &mut heron));
    heron.stop(report)?;
    checks.into_iter().collect()
}

fn little_room(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let used = report.step("small files fill the room for metadata, as btrfs says", || {
        let words = heron.machine.must_run(&format!("{FILL}btrfs filesystem usage -b /srv/notes"), 240)?;
        match used_percent(&words) {
            Some(used) if used >= 90 => Ok(used),
            _ => Err(LabError::unexpected("btrfs filesystem usage", "90 % of metadata in use", words)),
        }
    })?;
    report.step(&format!("look: {used} % of it are in use, and this is critical"), || {
        heron.wait_for_look("little room for metadata", SHOWN_S, |look| {
            let told = look.condition("inodes-or-metadata-low", "notes ")?;
            told.must_be("severity", "critical")?;
            told.must_say("sentence", &format!("{used}% used"))?;
            look.must_not_tell("inodes-or-metadata-low", "mirror ")?;
            look.must_exit_with(20)
        })
    })
}

fn mirror_loses_a_drive(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("the program knows both pools", || {
        heron.wait_for_look("a mirror that is whole", SHOWN_S, |look| {
            look.item("pools", "name", "mirror")?.must_be("state", "healthy")
        })
    })?;
    report.step("a drive of the mirror is taken away", || heron.shell(TAKE_AWAY, 60).map(drop))?;
    let mut checks = vec![report.step("the log says that the pool is degraded, and that this is critical", || {
        let wanted = [("event", "opened"), ("condition", "pool-degraded"), ("severity", "critical")];
        heron.wait_for_log(30, &wanted).map(drop)
    })];
    checks.push(report.step("all the same the kernel misses none", || {
        let missing = heron.machine.must_run(MISSING, 30)?;
        if missing == "0\n0\n" { Ok(()) } else { Err(LabError::unexpected("devinfo, missing", "0 and 0", missing)) }
    }));
    checks.push(report.step("look: one member is gone, and the other must stay", || {
        let look = heron.look()?;
        let pool = look.item("pools", "name", "mirror")?;
        pool.must_be("state", "degraded")?;
        let gone = pool.value("/members").as_array().into_iter().flatten().filter(|it| it["state"] == "gone").count();
        if gone != 1 {
            return Err(look.unexpected("pools", "one member of the mirror that is gone".into()));
        }
        look.condition("pool-degraded", "mirror ")?.must_say("do", "Leave GG-1 in.")
    }));
    let (taken, told) =
        report.step("the guest noted when it was", || Ok((heron.noted("taken")?, heron.noted("told")?)))?;
    report.note(&format!("from the fault to the log: {:.2} s of the guest's time", told - taken));
    checks.into_iter().collect()
}

/// The share of the room for metadata that is in use, in whole percent, from `btrfs filesystem usage -b`.
fn used_percent(usage: &str) -> Option<u64> {
    let line = usage.lines().find(|line| line.starts_with("Metadata,"))?;
    let number = |key: &str| line.split(key).nth(1)?.split([',', ' ']).next()?.parse::<u64>().ok();
    (number("Used:")? * 100).checked_div(number("Size:")?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metadata_is_told_from_data() {
        let usage = "Data,single: Size:100, Used:99 (99.00%)\nMetadata,RAID1: Size:33554432, Used:31784960 (94.73%)\n";
        assert_eq!(used_percent(usage), Some(94));
        assert_eq!(used_percent("Data,single: Size:100, Used:99 (99.00%)\n"), None);
    }
}
