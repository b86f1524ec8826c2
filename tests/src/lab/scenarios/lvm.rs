//! RAID volumes of LVM made by its own tools: a mirror and a RAID 5 are whole, then a drive goes that both lie on. `lvs` is the
//! judge.

use super::heron::{Fitting, Heron};
use super::look::Look;
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use serde_json::{Value, json};

/// How long a reading without an agent may take until the volumes have answered.
const SHOWN_S: u64 = 60;
/// Both volumes and their legs.
const LVS: &str = "lvs -a --units b --nosuffix --reportformat json \
    -o lv_name,segtype,lv_size,lv_health_status,raid_sync_action,devices songs 2>/dev/null";

/// Notes the guest's uptime in seconds when the drive of tray 2 has gone from the kernel's list, and when the log tells of
/// both volumes.
const WATCH_FOR_LOSS: &str = r#"
now() { cut -d' ' -f1 /proc/uptime; }
opened() { grep '"condition":"pool-degraded"' /lab/traylight.log | grep -c '"event":"opened"'; }
device=$(device_of TRAY-B) || exit 1
(while [ -e "/sys/block/${device##*/}" ]; do sleep 0.05; done
now >/lab/taken
for _ in $(seq 1000); do
    [ "$(opened)" -ge 2 ] && now >/lab/told && break
    sleep 0.05
done) >/dev/null 2>&1 &
"#;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let drive = |tray: &str| Drive::Scsi { serial: format!("TRAY-{tray}"), size_mib: 128 };
    let fitting = Fitting {
        system: System::Debian,
        drives: ["A", "B", "C", "D"].map(drive).into(),
        has_network: false,
        set_up: include_str!("../../../lab/lvm.sh"),
        about: "a mirror and a RAID 5 of LVM",
        config: include_str!("../../../lab/zfs.toml"),
    };
    let mut heron = Heron::boot(bench, report, "lvm", fitting)?;
    report.step("lvs: both volumes are in step", || {
        heron.machine.wait_until("both to be in step", 120, |machine| {
            let asked = "lvs --noheadings -o copy_percent songs";
            let text = machine.must_run(asked, 60).map_err(|error| error.to_string())?;
            if text.split_whitespace().collect::<Vec<_>>() == ["100.00", "100.00"] { Ok(()) } else { Err(text) }
        })
    })?;
    let mut checks =
        vec![report.step("look: both have the layout, size and legs of lvs, and nothing is wrong", || {
            let lvs = lvs(&mut heron)?;
            heron.wait_for_look("two pools of LVM", SHOWN_S, |look| {
                for (volume, level, legs) in [("takes", "raid1", 2), ("tapes", "raid5", 3)] {
                    let pool = look.item("pools", "name", &format!("songs-{volume}"))?;
                    pool.must_be("kind", "lvm")?;
                    pool.must_be("level", level)?;
                    pool.must_be("state", "healthy")?;
                    pool.must_count("members", legs)?;
                    let size: f64 = said(&lvs, volume, "lv_size")?.parse().unwrap_or(-1.0);
                    pool.must_be_between("size_bytes", size, size)?;
                    legs_agree(look, &lvs, volume, &pool.value("/members"))?;
                }
                look.must_exit_with(0)
            })
        })];
    heron.watch(report)?;
    report.step("the drive in tray 2 is pulled", || {
        heron.shell(WATCH_FOR_LOSS, 60)?;
        heron.machine.monitor("device_del", json!({ "id": "TRAY-B" })).map(drop)
    })?;
    let (taken, told) = report
        .step("the log says of both that they are degraded", || Ok((heron.noted("taken")?, heron.noted("told")?)))?;
    report.note(&format!("from the fault to the log: {:.2} s of the guest's time", told - taken));
    checks.push(report.step("look: both are degraded and say whose loss they would not survive", || {
        heron.wait_for_look("two pools that lack a leg", SHOWN_S, |look| {
            for (volume, leave_in) in [("takes", "Leave 1 in."), ("tapes", "Leave 3 4 in.")] {
                let name = format!("songs-{volume}");
                look.item("pools", "name", &name)?.must_be("state", "degraded")?;
                let told = look.condition("pool-degraded", &format!("{name} "))?;
                told.must_be("severity", "critical")?;
                told.must_say("do", leave_in)?;
            }
            look.must_exit_with(20)
        })
    }));
    checks.push(report.step("lvs: both are partial", || {
        let lvs = lvs(&mut heron)?;
        for volume in ["takes", "tapes"] {
            let health = said(&lvs, volume, "lv_health_status")?;
            if health != "partial" {
                return Err(LabError::unexpected(format!("lvs, health of {volume}"), "partial", health));
            }
        }
        Ok(())
    }));
    heron.stop(report)?;
    checks.into_iter().collect()
}

/// What `lvs` tells of all volumes.
fn lvs(heron: &mut Heron) -> Result<Vec<Value>, LabError> {
    let text = heron.machine.must_run(LVS, 60)?;
    let document: Value = serde_json::from_str(&text)
        .map_err(|error| LabError::unexpected("lvs", "JSON", format!("{error} in {text}")))?;
    Ok(document["report"][0]["lv"].as_array().cloned().unwrap_or_default())
}

fn said(lvs: &[Value], volume: &str, key: &str) -> Result<String, LabError> {
    let is_meant = |of: &&Value| of["lv_name"].as_str().is_some_and(|name| name.trim_matches(['[', ']']) == volume);
    let found = lvs.iter().find(is_meant).and_then(|of| of[key].as_str());
    found
        .map(str::to_owned)
        .ok_or_else(|| LabError::unexpected(format!("lvs, {key} of {volume}"), "a text", format!("{lvs:?}")))
}

/// Each leg is on the drive that `lvs` says, such as `/dev/sda(1)`, and in the tray of that drive.
fn legs_agree(look: &Look, lvs: &[Value], volume: &str, members: &Value) -> Result<(), LabError> {
    for (place, member) in members.as_array().into_iter().flatten().enumerate() {
        let device = said(lvs, &format!("{volume}_rimage_{place}"), "devices")?;
        let device = device.trim_start_matches("/dev/").split('(').next().unwrap_or_default();
        let tray = look.item("drives", "device", device)?.value("/tray");
        if member["tray"] != tray || tray.is_null() || member["state"] != "active" {
            let wanted = format!("active on {device} in tray {tray}");
            return Err(LabError::unexpected(format!("{volume}, leg {place}"), wanted, member.to_string()));
        }
    }
    Ok(())
}
