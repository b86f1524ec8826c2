//! A pool of ZFS by the real module: whole, scrubbed, with a member offline on purpose, with a drive pulled, and suspended.
//! `zpool` is the judge of each reading.

use super::heron::{Fitting, Heron, look};
use super::look::Look;
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// How long a reading without an agent may take until the pool has answered.
const SHOWN_S: u64 = 60;
/// `zpool status` in JSON, with numbers for machines.
const STATUS: &str = "zpool status -P -j --json-int songs";
/// A drive moves so many sectors of 512 bytes a second while a scrub is to be watched: its 17 MiB then take a minute and a half.
const SLOW_SECTORS: u32 = 384;
/// The module counts what it has handed to the drives; as it comes, it would hand on all of so small a pool at once
/// (zfs(4), `zfs_scan_vdev_limit`, in bytes for each drive).
const IN_SMALL_PORTIONS: &str = "echo 262144 >/sys/module/zfs/parameters/zfs_scan_vdev_limit";
/// A pool is whole again after it was so for a minute.
const WHOLE_S: u64 = 180;

/// Notes the guest's uptime in seconds when the drive of tray 3 has gone from the kernel's list, and when the log tells of
/// the pool.
const WATCH_FOR_LOSS: &str = r#"
now() { cut -d' ' -f1 /proc/uptime; }
opened() { grep '"condition":"pool-degraded"' /lab/traylight.log | grep -c '"event":"opened"'; }
device=$(device_of TRAY-C) || exit 1
before=$(opened)
(while [ -e "/sys/block/${device##*/}" ]; do sleep 0.05; done
now >/lab/taken
for _ in $(seq 1000); do
    [ "$(opened)" -gt "$before" ] && now >/lab/told && break
    sleep 0.05
done) >/dev/null 2>&1 &
"#;

/// Counts for more than 70 s, which is longer than a pool is left unasked, how many `zpool` there are at most.
const MOST_CHILDREN: &str = r#"
most=0
for _ in $(seq 35); do
    found=$(pgrep -xc zpool)
    [ "$found" -le "$most" ] || most=$found
    sleep 2
done
echo "$most"
"#;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drive = |tray: &str| Drive::Scsi { serial: format!("TRAY-{tray}"), size_mib: 256 };
    let fitting = Fitting {
        system: System::Debian,
        drives: ["A", "B", "C", "D"].map(drive).into(),
        has_network: false,
        set_up: include_str!("../../../lab/zfs.sh"),
        about: "raidz1 of four, volume",
        config: include_str!("../../../lab/zfs.toml"),
    };
    let mut heron = Heron::boot(bench, report, "zfs", fitting)?;
    let mut checks = vec![
        report.step(
            "look: the pool is a whole raidz1 of four, with the size that zpool list tells, and nothing is wrong",
            || {
                let size: f64 = number(&heron.machine.must_run("zpool list -Hp -o size songs", 60)?)?;
                heron.wait_for_look("a pool of ZFS", SHOWN_S, |look| {
                    let pool = look.item("pools", "name", "songs")?;
                    pool.must_be("kind", "zfs")?;
                    pool.must_be("level", "raidz1")?;
                    pool.must_be("state", "healthy")?;
                    // Of four drives one is parity.
                    pool.must_be_between("size_bytes", size * 0.75 - 4.0, size * 0.75)?;
                    look.must_exit_with(0)
                })
            },
        ),
        report.step("look: its members are those of zpool status, in the same state, each in its tray", || {
            members_agree(&mut heron)
        }),
    ];
    checks.push(scrub(report, &mut heron));
    heron.watch(report)?;
    checks.push(offline(report, &mut heron));
    checks.push(pulled(report, &mut heron));
    checks.push(suspended(report, &mut heron));
    heron.stop(report)?;
    checks.into_iter().collect()
}

fn scrub(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("its drives get slow, and a scrub begins", || {
        heron.machine.must_run(&format!("{IN_SMALL_PORTIONS} && zpool export songs && zpool import songs"), 120)?;
        throttle(heron, SLOW_SECTORS)?;
        heron.machine.must_run("zpool scrub songs", 60).map(drop)
    })?;
    let mut checks = vec![report.step("look: a check is as far as zpool status says", || {
        heron.machine.wait_until("something to be scrubbed", SHOWN_S, |machine| {
            let text = machine.must_run(STATUS, 60).map_err(|error| error.to_string())?;
            match scrubbed(&text) {
                Ok(done) if done > 0.02 && done < 0.8 => Ok(()),
                other => Err(format!("{other:?}")),
            }
        })?;
        heron.machine.wait_until("a check as far as that", SHOWN_S, |machine| {
            let least = scrubbed(&machine.must_run(STATUS, 60)?)?;
            let look = look(machine, "")?;
            let most = scrubbed(&machine.must_run(STATUS, 60)?)?;
            let pool = look.item("pools", "name", "songs")?;
            let done = pool.value("/activity/done_ratio").as_f64().unwrap_or(-1.0);
            if pool.value("/activity/kind") == "check" && (least - 1e-9..=most + 1e-9).contains(&done) {
                return Ok(());
            }
            Err(look.unexpected("pools", format!("a check that is done to {least} to {most}")))
        })
    })];
    report.step("its drives are fast again, and the scrub ends", || {
        throttle(heron, 0)?;
        heron.machine.must_run("zpool wait -t scrub songs", 300).map(drop)
    })?;
    checks.push(report.step("look: nothing runs, and the scrub ended as long ago as zpool status says", || {
        let ended =
            status(&heron.machine.must_run(STATUS, 60)?)?["scan_stats"]["end_time"].as_f64().unwrap_or_default();
        heron.machine.wait_until("the end of the scrub", SHOWN_S, |machine| {
            let before = number(&machine.must_run("date +%s", 30)?)? - ended;
            let look = look(machine, "")?;
            let after = number(&machine.must_run("date +%s", 30)?)? - ended;
            let pool = look.item("pools", "name", "songs")?;
            if pool.value("/activity/kind") != "idle" {
                return Err(look.unexpected("pools", "one where nothing runs".into()));
            }
            pool.must_be_between("last_check_s", before, after)
        })
    }));
    checks.into_iter().collect()
}

fn offline(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let device = "/dev/disk/by-id/scsi-0QEMU_QEMU_HARDDISK_TRAY-B";
    report.step("the member in tray 2 is taken offline on purpose", || {
        heron.machine.must_run(&format!("zpool offline songs {device}"), 60).map(drop)
    })?;
    let checks = [
        report.step("the log says that the pool is degraded, and that this is critical", || {
            let wanted = [("event", "opened"), ("condition", "pool-degraded"), ("severity", "critical")];
            heron.wait_for_log(60, &wanted).map(drop)
        }),
        report.step("look: it is offline, not faulty, as zpool status says, and it says whose wish that was", || {
            members_agree(heron)?;
            heron.wait_for_look("the owner's wish", SHOWN_S, |look| {
                look.condition("pool-degraded", "songs ")?.must_say("do", "Bring back what was taken offline")?;
                look.must_not_tell("drive-gone", "")
            })
        }),
    ];
    report.step("its owner takes it back, and the log says that the pool is whole", || {
        heron.machine.must_run(&format!("zpool online songs {device} && zpool wait -t resilver songs"), 120)?;
        heron.wait_for_log(WHOLE_S, &[("event", "closed"), ("condition", "pool-degraded")]).map(drop)
    })?;
    checks.into_iter().collect()
}

fn pulled(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("the drive in tray 3 is pulled", || {
        heron.shell(WATCH_FOR_LOSS, 60)?;
        heron.machine.monitor("device_del", json!({ "id": "TRAY-C" })).map(drop)
    })?;
    let (taken, told) =
        report.step("the log says that the pool is degraded", || Ok((heron.noted("taken")?, heron.noted("told")?)))?;
    report.note(&format!("from the fault to the log: {:.2} s of the guest's time", told - taken));
    let checks = [
        report.step("look: the pool misses the drive of tray 3, and the other three must stay", || {
            heron.wait_for_look("a pool that lacks a member", SHOWN_S, |look| {
                look.item("pools", "name", "songs")?.must_be("state", "degraded")?;
                let told = look.condition("pool-degraded", "songs ")?;
                told.must_be("severity", "critical")?;
                told.must_say("do", "Leave 1 2 4 in.")?;
                look.must_exit_with(20)
            })
        }),
        report.step("the log says that the drive of tray 3 is gone", || {
            heron.wait_for_log(120, &[("event", "opened"), ("condition", "drive-gone"), ("tray", "3")]).map(drop)
        }),
        report.step("look: after the next write its members are those of zpool status, in the same state", || {
            heron
                .machine
                .must_run("dd if=/dev/urandom of=/srv/birdsong/lark.flac bs=1M count=4 conv=fsync 2>&1", 120)?;
            members_agree(heron)
        }),
    ];
    checks.into_iter().collect()
}

fn suspended(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("the drive in tray 4 is pulled too, and somebody writes: the pool is suspended", || {
        heron.machine.monitor("device_del", json!({ "id": "TRAY-D" }))?;
        let write = "(setsid dd if=/dev/urandom of=/srv/birdsong/owl.flac bs=1M count=4 conv=fsync >/dev/null 2>&1) &";
        heron.machine.must_run(write, 30)?;
        heron.machine.wait_until("the module's word", 120, |machine| {
            let state =
                machine.must_run("cat /proc/spl/kstat/zfs/songs/state", 30).map_err(|error| error.to_string())?;
            if state.trim() == "SUSPENDED" { Ok(()) } else { Err(state) }
        })
    })?;
    let checks = [
        report.step("the log says that the pool is down, and that this is critical", || {
            let wanted = [("event", "opened"), ("condition", "pool-down"), ("severity", "critical")];
            heron.wait_for_log(60, &wanted).map(drop)
        }),
        report.step("look: it answers, and says that the pool waits for members", || {
            let look = heron.look()?;
            look.item("pools", "name", "songs")?.must_be("state", "down")?;
            look.condition("pool-down", "songs waits for members")?.must_be("severity", "critical")?;
            look.must_exit_with(20)
        }),
        report.step("the panel is still served", || heron.wait_for_words("CRITICAL")),
        report.step("there is never a second zpool beside one that hangs", || {
            let most = number(&heron.machine.must_run(MOST_CHILDREN, 300)?)?;
            if most <= 1.0 {
                Ok(())
            } else {
                Err(LabError::unexpected("zpool, running", "at most one", most.to_string()))
            }
        }),
    ];
    checks.into_iter().collect()
}

/// Waits until each member's device, state and tray is what `zpool status` says.
fn members_agree(heron: &mut Heron) -> Result<(), LabError> {
    let status = status(&heron.machine.must_run(STATUS, 60)?)?;
    let mut wanted = BTreeMap::new();
    for vdev in
        status["vdevs"]["songs"]["vdevs"]["raidz1-0"]["vdevs"].as_object().into_iter().flat_map(|of| of.values())
    {
        let path = vdev["path"].as_str().unwrap_or_default();
        let serial = path.rsplit('_').next().unwrap_or_default().trim_end_matches("-part1").to_owned();
        let state = match vdev["state"].as_str().unwrap_or_default() {
            "ONLINE" => "active",
            "OFFLINE" => "offline",
            "REMOVED" | "CANT_OPEN" => "gone",
            "FAULTED" => "faulty",
            other => return Err(LabError::unexpected("zpool status", "a state of a member", other)),
        };
        let device = heron.machine.must_run(&format!("basename \"$(readlink -f {path})\""), 30)?;
        let tray = ["TRAY-A", "TRAY-B", "TRAY-C", "TRAY-D"].iter().position(|of| *of == serial);
        wanted.insert(tray.map_or(0, |tray| tray + 1).to_string(), (device.trim().to_owned(), state));
    }
    heron.wait_for_look("the members of zpool status", SHOWN_S, |look| {
        let found = members(look)?;
        let is_same = |(tray, (device, state)): (&String, &(String, &str))| {
            found.iter().any(|of| {
                // What is gone is in no tray, and its path leads to nothing that has a name.
                let is_there = of["tray"] == tray.as_str() && of["device"] == device.as_str();
                of["state"] == *state && (is_there || *state == "gone")
            })
        };
        if wanted.len() == 4 && found.len() == 4 && wanted.iter().all(is_same) {
            return Ok(());
        }
        Err(look.unexpected("pools", format!("the members {wanted:?}")))
    })
}

fn members(look: &Look) -> Result<Vec<Value>, LabError> {
    let found = look.item("pools", "name", "songs")?.value("/members");
    Ok(found.as_array().cloned().unwrap_or_default())
}

/// What is said of the one pool.
fn status(text: &str) -> Result<Value, LabError> {
    let document: Value = serde_json::from_str(text)
        .map_err(|error| LabError::unexpected("zpool status -j", "JSON", format!("{error} in {text}")))?;
    Ok(document["pools"]["songs"].clone())
}

/// How far a scrub is, 0 to 1, as `zpool status` reckons it for its text: issued, of what there is to examine but for what
/// was skipped.
fn scrubbed(text: &str) -> Result<f64, LabError> {
    let status = status(text)?;
    let scan = &status["scan_stats"];
    let count = |key: &str| scan[key].as_f64().unwrap_or_default();
    if scan["function"] != "SCRUB" || scan["state"] != "SCANNING" {
        return Err(LabError::unexpected("zpool status, scan_stats", "a scrub that runs", scan.to_string()));
    }
    Ok(count("issued") / (count("to_examine") - count("skipped")).max(1.0))
}

fn throttle(heron: &mut Heron, sectors: u32) -> Result<(), LabError> {
    ["A", "B", "C", "D"].iter().try_for_each(|tray| heron.throttle(&format!("TRAY-{tray}"), sectors))
}

fn number(text: &str) -> Result<f64, LabError> {
    text.trim().parse().map_err(|_| LabError::unexpected("the guest's words", "a number", text))
}
