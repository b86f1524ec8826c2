//! Pools of md lose members, rebuild and are compared, and each reading says what the kernel's own tool says: a spare
//! takes over, a comparison finds what was spoilt on purpose, RAID 6 loses two, RAID 10 loses one of a pair.

use super::heron::{Fitting, Heron};
use super::pool_sizes;
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;

/// How long it may take until a reading or the kernel's tool shows what has happened.
const SHOWN_S: u64 = 90;
/// `sync_completed` moves on in sixteenths of the whole (drivers/md/md.c, `md_do_sync`); mdadm reads `/proc/mdstat`, which
/// moves all the time, and cuts the fraction off.
const STEP_PERCENT: f64 = 100.0 / 16.0;
/// Pages of 4096 bytes that are spoilt on one member. md counts each as eight sectors (Documentation/admin-guide/md.rst,
/// `mismatch_cnt`: in sectors, a page at a time).
const SPOILT_PAGES: u32 = 16;
/// What that is in the words of the program: 16 times 4096 bytes.
const SPOILT: &str = "65.5 kB";

/// Work on md5 gets slow enough to be watched: 64 MiB take a minute.
const SLOWLY: &str = "cd /sys/block/md5/md && echo 100 >sync_speed_min && echo 1000 >sync_speed_max";
const FAST: &str = "cd /sys/block/md5/md && echo 1000000 >sync_speed_max && echo 1000000 >sync_speed_min";

/// When udev takes the failed member out at the very moment, md breaks the rebuild off that it has just begun, and may forget to
/// begin it again; a word to it, and it looks anew.
const GO_ON: &str = r#"
cd /sys/block/md5/md
for _ in $(seq 60); do
    sleep 0.5
    [ "$(cat sync_action)" = idle ] || { sleep 1; [ "$(cat sync_action)" = idle ] || exit 0; }
    echo idle >sync_action
done
exit 1
"#;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let serials = ["OWL", "JAY", "TIT"].into_iter().flat_map(|pool| (1..=4).map(move |n| format!("{pool}-{n}")));
    let fitting = Fitting {
        system: System::Host,
        drives: serials.map(|serial| Drive::Scsi { serial, size_mib: 64 }).collect(),
        has_network: false,
        set_up: include_str!("../../../lab/pools.sh"),
        about: "RAID 5 with a spare, RAID 6, RAID 10",
        config: include_str!("../../../lab/pools.toml"),
    };
    let mut heron = Heron::boot(bench, report, "pools", fitting)?;
    let mut checks = vec![report.step("at first all three are whole, and nothing is wrong", || {
        let look = heron.look()?;
        for (pool, level, members) in [("md5", "raid5", 4), ("md6", "raid6", 4), ("md10", "raid10", 4)] {
            let pool = look.item("pools", "name", pool)?;
            pool.must_be("level", level)?;
            pool.must_be("state", "healthy")?;
            pool.must_count("members", members)?;
        }
        look.must_exit_with(0)
    })];
    checks.push(pool_sizes::play(report, &mut heron));
    checks.push(spare_takes_over(report, &mut heron));
    checks.push(comparison(report, &mut heron));
    checks.push(raid6_loses_two(report, &mut heron));
    checks.push(raid10_loses_one_of_a_pair(report, &mut heron));
    checks.into_iter().collect()
}

fn spare_takes_over(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("RAID 5: a member goes, and the kernel meets that at the next write", || {
        heron.machine.must_run(SLOWLY, 30)?;
        heron.take_away("OWL-2")?;
        heron.machine.must_run("dd if=/dev/zero of=/dev/md5 bs=64k count=1 oflag=direct 2>&1", 60)?;
        heron.machine.must_run(GO_ON, 90).map(drop)
    })?;
    let mut checks =
        vec![report.step("look: the spare is being filled, and the pool survives no further loss", || {
            heron.wait_for_look("a rebuild", SHOWN_S, |look| {
                look.item("pools", "name", "md5")?.must_be("state", "rebuilding")?;
                look.condition("pool-degraded", "md5 ")?.must_be("severity", "critical")?;
                look.must_exit_with(20)
            })
        })];
    checks.push(report.step("look: it is as far as mdadm says, but for the step in which sysfs tells it", || {
        let least = rebuilt(heron)?;
        let look = heron.look()?;
        let most = rebuilt(heron)?;
        let pool = look.item("pools", "name", "md5")?;
        if pool.value("/activity/kind") != "rebuild" || pool.value("/activity/left_s").is_null() {
            return Err(look.unexpected("pools", "a rebuild of md5 with the time left".into()));
        }
        let done = pool.value("/activity/done_ratio").as_f64().unwrap_or(-1.0) * 100.0;
        if (least - STEP_PERCENT..most + 1.0).contains(&done) {
            return Ok(());
        }
        Err(LabError::unexpected("md5, done", format!("{least} to {most} percent"), done.to_string()))
    }));
    report.step("the brake comes off, and mdadm says that it is clean", || {
        heron.machine.must_run(FAST, 30)?;
        must_become(heron, "md5", &[("State", "clean"), ("Active Devices", "3")])
    })?;
    checks.push(report.step("look: it is whole again, and nothing is wrong", || {
        let look = heron.look()?;
        look.item("pools", "name", "md5")?.must_be("state", "healthy")?;
        look.must_exit_with(0)
    }));
    checks.into_iter().collect()
}

fn comparison(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let count = "cat /sys/block/md5/md/mismatch_cnt";
    report.step("RAID 5: bytes of a member are spoilt behind its back, and a slow comparison begins", || {
        let spoil = format!(
            "disk=$(device_of OWL-3) && offset=$(cat \"/sys/block/md5/md/dev-${{disk##*/}}/offset\") || exit 1
             for page in $(seq {SPOILT_PAGES}); do
                 dd if=/dev/urandom of=\"$disk\" bs=4096 count=1 seek=$((offset / 8 + 100 * page)) \\
                     conv=notrunc oflag=direct 2>/dev/null || exit 1
             done
             {SLOWLY} && echo check >sync_action"
        );
        heron.shell(&spoil, 60).map(drop)
    })?;
    report.step("the kernel has found some of them", || {
        heron.machine.wait_until("a mismatch count", 60, |machine| match machine.must_run(count, 30) {
            Ok(found) if found.trim() != "0" => Ok(()),
            Ok(found) => Err(found),
            Err(error) => Err(error.to_string()),
        })
    })?;
    let mut checks =
        vec![report.step("look: a comparison runs, and nothing is said of what it has found so far", || {
            let look = heron.look()?;
            if look.item("pools", "name", "md5")?.value("/activity/kind") != "check" {
                return Err(look.unexpected("pools", "a check of md5".into()));
            }
            let action = heron.machine.must_run("cat /sys/block/md5/md/sync_action", 30)?;
            if action.trim() != "check" {
                return Err(LabError::unexpected("md5, sync_action after the look", "check", action));
            }
            look.must_not_tell("mismatches", "md5 ")?;
            look.must_exit_with(0)
        })];
    report.step("the brake comes off; at its end the kernel has counted them all", || {
        heron.machine.must_run(FAST, 30)?;
        must_end_with_mismatches(heron, SPOILT_PAGES * 8)
    })?;
    checks.push(report.step("look: now it warns, with the same count", || {
        let look = heron.look()?;
        let told = look.condition("mismatches", "md5 ")?;
        told.must_be("severity", "warning")?;
        told.must_say("sentence", SPOILT)?;
        look.must_exit_with(10)
    }));
    report.step("its owner has it repaired and compared once more", || {
        for action in ["repair", "check"] {
            heron.machine.must_run(&format!("echo {action} >/sys/block/md5/md/sync_action"), 30)?;
            must_end_with_mismatches(heron, if action == "repair" { SPOILT_PAGES * 8 } else { 0 })?;
        }
        Ok(())
    })?;
    checks.push(report.step("look: nothing is wrong any more", || heron.look()?.must_exit_with(0)));
    checks.into_iter().collect()
}

fn raid6_loses_two(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let mut checks = Vec::new();
    for (lost, active, severity, code, leave_in) in
        [("JAY-1", "3", "warning", 10, "Back up"), ("JAY-3", "2", "critical", 20, "Leave J2 J4 in.")]
    {
        report.step(&format!("RAID 6: {lost} goes"), || heron.take_away(lost))?;
        checks.push(report.step(&format!("look: the pool is degraded, and this is {severity}"), || {
            let look = heron.look()?;
            look.item("pools", "name", "md6")?.must_be("state", "degraded")?;
            let told = look.condition("pool-degraded", "md6 ")?;
            told.must_be("severity", severity)?;
            told.must_say("do", leave_in)?;
            look.must_exit_with(code)
        }));
        checks.push(report.step(&format!("mdadm: {active} of four are active after the next write"), || {
            heron.machine.must_run("dd if=/dev/zero of=/dev/md6 bs=64k count=4 oflag=direct 2>&1", 60)?;
            must_become(heron, "md6", &[("State", "clean, degraded"), ("Active Devices", active)])
        }));
    }
    checks.into_iter().collect()
}

/// Neighbours in a RAID 10 with two near copies hold the same data (md(4), "RAID10 Layout Examples").
fn raid10_loses_one_of_a_pair(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let mut checks = Vec::new();
    for (lost, active, leave_in) in [("TIT-3", "3", "Leave T4 in."), ("TIT-1", "2", "Leave T2 T4 in.")] {
        report.step(&format!("RAID 10: {lost} goes"), || heron.take_away(lost))?;
        checks.push(report.step(&format!("look: what must stay is named: {leave_in}"), || {
            let look = heron.look()?;
            let told = look.condition("pool-degraded", "md10 ")?;
            told.must_be("severity", "critical")?;
            told.must_say("do", leave_in)
        }));
        checks.push(report.step(&format!("mdadm: {active} of four are active after the next write"), || {
            heron.machine.must_run("dd if=/dev/zero of=/dev/md10 bs=64k count=32 oflag=direct 2>&1", 60)?;
            must_become(heron, "md10", &[("State", "clean, degraded"), ("Active Devices", active)])
        }));
    }
    report.step("RAID 10: one that was named goes as well, and reading fails", || {
        // Nobody but its user keeps udev's rules from stopping an array that has failed.
        heron.machine.must_run("(setsid sleep 3600 </dev/md10 >/dev/null 2>&1) &", 30)?;
        heron.take_away("TIT-4")?;
        let read = heron.machine.run("dd if=/dev/md10 of=/dev/null bs=64k count=32 iflag=direct 2>&1", 60)?;
        if read.code == 0 { Err(LabError::unexpected("reading md10", "an error", read.text)) } else { Ok(()) }
    })?;
    checks.push(report.step("look: the pool is down", || {
        let look = heron.look()?;
        look.item("pools", "name", "md10")?.must_be("state", "down")?;
        look.condition("pool-down", "md10 ")?.must_be("severity", "critical")
    }));
    checks.into_iter().collect()
}

/// Waits until `mdadm --detail` has these values.
fn must_become(heron: &mut Heron, pool: &str, wanted: &[(&str, &str)]) -> Result<(), LabError> {
    heron.machine.wait_until(&format!("mdadm to say {wanted:?} of {pool}"), SHOWN_S, |machine| {
        let detail = machine.must_run(&format!("mdadm --detail /dev/{pool}"), 60).map_err(|error| error.to_string())?;
        let is_so = wanted.iter().all(|(key, value)| pool_sizes::said(&detail, key) == Some(value));
        if is_so { Ok(()) } else { Err(detail) }
    })
}

/// How far the rebuild of md5 is, in whole percent, as mdadm says.
fn rebuilt(heron: &mut Heron) -> Result<f64, LabError> {
    let detail = heron.machine.must_run("mdadm --detail /dev/md5", 60)?;
    let number = pool_sizes::said(&detail, "Rebuild Status").and_then(|status| status.split('%').next()?.parse().ok());
    number.ok_or_else(|| LabError::unexpected("mdadm --detail /dev/md5", "a rebuild status", detail))
}

/// Waits for the end of the work on md5, and compares the kernel's count of sectors.
fn must_end_with_mismatches(heron: &mut Heron, wanted: u32) -> Result<(), LabError> {
    let read = "cd /sys/block/md5/md && cat sync_action mismatch_cnt";
    heron.machine.wait_until(&format!("{wanted} mismatches and no more work"), SHOWN_S, |machine| {
        let found = machine.must_run(read, 30).map_err(|error| error.to_string())?;
        if found == format!("idle\n{wanted}\n") { Ok(()) } else { Err(found) }
    })
}
