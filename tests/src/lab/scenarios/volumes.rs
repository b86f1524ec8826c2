//! What goes wrong with volumes, on real file systems: one is not mounted, one gets full, one writes down an error, one does
//! not answer, one stops writing. `df` and the tools of the file systems are the judges.

use super::heron::{Fitting, Heron};
use super::look::Look;
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;

/// Room is asked for every ten seconds; a busy computer may double that.
const ROOM_S: u64 = 25;
/// A question counts as not answered after ten seconds.
const TIMED_OUT_S: u64 = 40;

/// Mounts a volume and stops what is below it, before anybody has asked for its room. FAT counts its free room when it is
/// first asked for it, by reading its table (fs/fat/fatent.c, `fat_count_free_clusters`), so whoever asks waits.
const HANG: &str = "
mount -t vfat /dev/mapper/swift /srv/swift && sync -f /srv/swift && echo 3 >/proc/sys/vm/drop_caches || exit 1
dmsetup suspend --noflush --nolockfs swift || exit 1
(setsid stat --file-system /srv/swift >/lab/stat.words 2>&1 </dev/null) &
sleep 2
cat /lab/stat.words
";
/// Has every read and write below a volume fail from now on, and writes there. ext4 meets the failure when it writes its
/// journal, and stops at the change after that. Only the newest kernels, and those before 2025, say so in the mount table.
const FAIL: &str = "
echo dawn >/srv/wren/dawn.flac && sync -f /srv/wren || exit 1
sectors=$(blockdev --getsz /dev/mapper/wren)
dmsetup suspend --noflush --nolockfs wren && echo \"0 $sectors error\" | dmsetup load wren &&
    dmsetup resume wren || exit 1
echo dusk >>/srv/wren/dawn.flac
sync -f /srv/wren
for number in $(seq 60); do
    mkdir /srv/wren/$number || exit
    sleep 0.5
done
";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drive = |n| Drive::Scsi { serial: format!("NEST-{n}"), size_mib: 64 };
    let fitting = Fitting {
        system: System::Host,
        drives: (1..=4).map(drive).collect(),
        has_network: false,
        set_up: include_str!("../../../lab/volumes.sh"),
        about: "volumes on mapped devices and drives",
        config: include_str!("../../../lab/volumes.toml"),
    };
    let mut heron = Heron::boot(bench, report, "volumes", fitting)?;
    let mut checks = vec![absent(report, &mut heron), filled(report, &mut heron), with_an_error(report, &mut heron)];
    checks.push(hanging(report, &mut heron));
    checks.push(stopped(report, &mut heron));
    heron.stop(report)?;
    checks.into_iter().collect()
}

fn absent(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let mut checks = vec![report.step("look: the volume of /etc/fstab that is not mounted is missed", || {
        let look = heron.look()?;
        look.condition("volume-absent", "/srv/lark")?.must_be("severity", "critical")?;
        look.must_exit_with(20)
    })];
    report.step("its owner mounts all that /etc/fstab has", || heron.machine.must_run("mount -a", 60).map(drop))?;
    checks.push(report.step("look: nothing is wrong, and each volume has the room that df says", || {
        let look = look_that_knows(heron, &["/srv/wren", "/srv/robin", "/srv/lark"])?;
        look.must_exit_with(0)?;
        ["/srv/wren", "/srv/robin", "/srv/lark"]
            .into_iter()
            .try_for_each(|mount| must_be_as_df_says(heron, &look, mount))
    }));
    checks.into_iter().collect()
}

fn filled(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let mut checks = Vec::new();
    // Less than a tenth free is a warning on a volume of this size, less than 3 % is critical.
    for (free_percent, severity, code) in [(7, "warning", 10), (2, "critical", 20)] {
        report.step(&format!("a volume is filled until {free_percent} % are free"), || {
            let fill = format!(
                "df --block-size=1 --output=avail,used /srv/robin | tail -1 | {{ read -r free used
                     head -c $((free - (free + used) * {free_percent} / 100)) /dev/zero >>/srv/robin/dawn.flac; }} &&
                 sync -f /srv/robin"
            );
            heron.machine.must_run(&fill, 60).map(drop)
        })?;
        checks.push(report.step(&format!("look: this is {severity}, and df says the same room"), || {
            let look = look_that_knows(heron, &["/srv/robin"])?;
            look.condition("space-low", "/srv/robin")?.must_be("severity", severity)?;
            look.must_exit_with(code)?;
            must_be_as_df_says(heron, &look, "/srv/robin")
        }));
    }
    report.step("the file goes", || {
        heron.machine.must_run("rm /srv/robin/dawn.flac; sync -f /srv/robin", 60).map(drop)
    })?;
    checks.into_iter().collect()
}

fn with_an_error(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("ext4 writes down an error in itself, and dumpe2fs reads it", || {
        let trigger = "device=$(device_of NEST-2) && echo lab >\"/sys/fs/ext4/${device##*/}/trigger_fs_error\" &&
            sync -f /srv/robin && dumpe2fs -h \"$device\" 2>/dev/null";
        let words = heron.shell(trigger, 60)?;
        let is_one = |line: &str| line.strip_prefix("FS Error count:").is_some_and(|count| count.trim() == "1");
        if words.lines().any(is_one) { Ok(()) } else { Err(LabError::unexpected("dumpe2fs", "one error", words)) }
    })?;
    report.step("look: the volume has an error, and this is a warning", || {
        let look = heron.look()?;
        look.condition("volume-errors", "/srv/robin")?.must_be("severity", "warning")?;
        look.must_not_tell("volume-readonly", "/srv/robin")?;
        look.must_exit_with(10)
    })
}

fn hanging(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("a volume is mounted and hangs: stat gets no answer", || {
        let words = heron.machine.must_run(HANG, 60)?;
        if words.is_empty() { Ok(()) } else { Err(LabError::unexpected("stat", "no words", words)) }
    })?;
    let mut checks = vec![report.step("look, without an agent: the others are read, and it has a reason", || {
        let look = look_that_knows(heron, &["/srv/wren", "/srv/robin", "/srv/lark"])?;
        look.item("volumes", "mount", "/srv/swift")?.must_be_missing("size_bytes", "pending")
    })];
    heron.watch(report)?;
    checks.push(report.step("look: of the one that hangs it says that it timed out", || {
        heron.wait_for_look("a volume that timed out", TIMED_OUT_S, |look| {
            let volume = look.item("volumes", "mount", "/srv/swift")?;
            ["size_bytes", "free_bytes", "used_bytes"]
                .into_iter()
                .try_for_each(|key| volume.must_be_missing(key, "timed-out"))
        })
    }));
    checks.push(report.step("look: all the same another volume is read as it changes", || {
        heron.machine.must_run("head -c 8000000 /dev/zero >/srv/lark/dawn.flac; sync -f /srv/lark", 60)?;
        must_become_as_df_says(heron, "/srv/lark")
    }));
    report.step("what is below it goes on, and stat gets its answer", || {
        heron.machine.must_run("dmsetup resume swift", 30)?;
        heron.machine.wait_until("an answer to stat", 30, |machine| {
            let words = machine.must_run("cat /lab/stat.words", 30).map_err(|error| error.to_string())?;
            if words.contains("msdos") { Ok(()) } else { Err(words) }
        })
    })?;
    checks.push(report.step("look: it has the room that df says", || must_become_as_df_says(heron, "/srv/swift")));
    checks.into_iter().collect()
}

fn stopped(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let is_told = |heron: &mut Heron, subject: &str| {
        let wanted =
            [("event", "opened"), ("condition", "volume-readonly"), ("severity", "critical"), ("subject", subject)];
        heron.wait_for_log(TIMED_OUT_S, &wanted).map(drop)
    };
    report.step("a volume turns read-only", || {
        heron.machine.must_run("mount -o remount,ro /srv/lark && ! touch /srv/lark/dusk.flac", 60).map(drop)
    })?;
    let mut checks = vec![
        report.step("the log says that it is read-only, and that this is critical", || {
            is_told(heron, "volume /srv/lark")
        }),
        report.step("the panel says CRITICAL", || heron.wait_for_words("CRITICAL")),
    ];
    report.step("writes below another fail, and ext4 takes no more", || {
        let last = heron.machine.run(FAIL, 60)?;
        if last.code != 0 && last.text.contains("Read-only file system") {
            return Ok(());
        }
        Err(LabError::unexpected("the last change", "a refusal", last.text))
    })?;
    checks.push(report.step("the log says that the volume has stopped, and that this is critical", || {
        is_told(heron, "volume /srv/wren")
    }));
    checks.push(report.step("look: it has errors as well; the others are as they were", || {
        let look = heron.look()?;
        look.condition("volume-errors", "/srv/wren")?.must_be("severity", "warning")?;
        look.condition("volume-errors", "/srv/robin")?.must_be("severity", "warning")?;
        look.must_not_tell("volume-readonly", "/srv/robin")?;
        look.must_not_tell("volume-readonly", "/srv/swift")?;
        look.must_exit_with(20)
    }));
    checks.into_iter().collect()
}

/// A reading in which these volumes have answered.
fn look_that_knows(heron: &mut Heron, mounts: &[&str]) -> Result<Look, LabError> {
    heron.machine.wait_until(&format!("the room of {mounts:?}"), ROOM_S, |machine| {
        let look = super::heron::look(machine, "")?;
        mounts.iter().try_for_each(|mount| {
            look.item("volumes", "mount", mount)?.must_be_between("size_bytes", 1.0, f64::INFINITY)
        })?;
        Ok::<_, LabError>(look)
    })
}

/// Waits for a reading that has the same room as `df`.
fn must_become_as_df_says(heron: &mut Heron, mount: &str) -> Result<(), LabError> {
    let room = df(heron, mount)?;
    heron.wait_for_look(&format!("{mount} to be as df says"), ROOM_S, |look| must_have_room(look, mount, room))
}

fn must_be_as_df_says(heron: &mut Heron, look: &Look, mount: &str) -> Result<(), LabError> {
    must_have_room(look, mount, df(heron, mount)?)
}

fn must_have_room(look: &Look, mount: &str, room: [u64; 3]) -> Result<(), LabError> {
    let volume = look.item("volumes", "mount", mount)?;
    let told = ["/size_bytes", "/used_bytes", "/free_bytes"].map(|key| volume.value(key).as_u64());
    if told == room.map(Some) {
        return Ok(());
    }
    let wanted = format!("{room:?} bytes: size, used and free, as df says");
    Err(LabError::unexpected(format!("the room of {mount}"), wanted, format!("{told:?}")))
}

/// Size, used and free in bytes, as `df` says.
fn df(heron: &mut Heron, mount: &str) -> Result<[u64; 3], LabError> {
    let text = heron.machine.must_run(&format!("df --block-size=1 --output=size,used,avail {mount} | tail -1"), 60)?;
    let numbers: Vec<u64> = text.split_whitespace().filter_map(|number| number.parse().ok()).collect();
    numbers.try_into().map_err(|_| LabError::unexpected("df", "three numbers", text))
}
