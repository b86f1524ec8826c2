//! A whole box is told as it is; then a drive of its RAID 5 goes, and log, state, exit code and panel all say so; then a
//! hand pulls a good one, and is told to put it back.

use super::Bench;
use super::heron::{Fitting, Heron};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use serde_json::json;

/// In this time everything has answered once.
const ANSWERS_S: u64 = 30;

/// Takes the drive of tray 3 away, and notes the guest's uptime in seconds then and when the log tells of the pool.
const TAKE_AWAY: &str = r#"
now() { cut -d' ' -f1 /proc/uptime; }
for block in /sys/block/sd*; do
    grep -qa TRAY-C "$block/device/vpd_pg80" || continue
    now >/lab/taken
    (for _ in $(seq 1000); do
        grep -q pool-degraded /lab/traylight.log && now >/lab/told && break
        sleep 0.05
    done) &
    echo 1 >"$block/device/delete"
    exit
done
echo "no drive has the serial TRAY-C"
exit 1
"#;

/// Half a minute after the first drive went, a hand pulls a good one. Notes the guest's uptime in seconds then and when the
/// log tells what the hand did.
const TAKE_A_GOOD_ONE: &str = r#"
seconds() { cut -d. -f1 "$1"; }
device=$(device_of TRAY-B)
until [ "$(seconds /proc/uptime)" -ge $(($(seconds /lab/taken) + 30)) ]; do
    sleep 0.5
done
(for _ in $(seq 1000); do
    grep -q '"wrong-tray"' /lab/traylight.log && cut -d' ' -f1 /proc/uptime >/lab/told-wrong && break
    sleep 0.05
done) &
cut -d' ' -f1 /proc/uptime >/lab/taken-wrong
echo 1 >"/sys/block/${device##*/}/device/delete"
"#;

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let mut heron = Heron::boot(bench, report, "raid5_member_lost", Fitting::whole())?;
    heron.watch(report)?;

    let look = report.step("one reading is a JSON document", || heron.look())?;
    let checks = [
        report.step("look: four drives are in their trays", || {
            for (serial, tray) in [("TRAY-A", "1"), ("TRAY-B", "2"), ("TRAY-C", "3"), ("TRAY-D", "4")] {
                look.item("drives", "serial", serial)?.must_be("tray", tray)?;
            }
            Ok(())
        }),
        // QEMU's NVMe drive says 323 K in its health log: 49.85 degrees in the kernel's hwmon. On a busy computer it takes
        // a while to answer, and so do the volume and the chip.
        report.step("look: the NVMe drive has its temperature", || {
            heron.wait_for_look("a temperature of the NVMe drive", ANSWERS_S, |look| {
                look.item("drives", "serial", "NVME-0")?.must_be_between("temperature_c", 49.8, 50.0)
            })
        }),
        report.step("look: the pool is a whole RAID 5 of four", || {
            let pool = look.item("pools", "kind", "md")?;
            pool.must_be("level", "raid5")?;
            pool.must_be("state", "healthy")?;
            pool.must_count("members", 4)
        }),
        report.step("look: the volume is there with its size", || {
            heron.wait_for_look("a size of the volume", ANSWERS_S, |look| {
                look.item("volumes", "mount", "/srv/birdsong")?.must_be_between("size_bytes", 200e6, 300e6)
            })
        }),
        report.step("look: the fan turns at 1406", || {
            heron.wait_for_look("a speed of the fan", ANSWERS_S, |look| {
                look.item("fans", "key", "adt7475/fan1")?.must_be_between("speed_rpm", 1405.0, 1407.0)
            })
        }),
        report.step("look: nothing is wrong, exit code 0", || heron.look()?.must_exit_with(0)),
        report.step("the panel says OK", || heron.wait_for_words("OK")),
    ];

    report.step("the drive in tray 3 is taken away", || heron.machine.must_run(TAKE_AWAY, 60).map(drop))?;
    let told = [
        report.step("the log says that the pool is degraded, and that this is critical", || {
            let wanted = [("event", "opened"), ("condition", "pool-degraded"), ("severity", "critical")];
            heron.wait_for_log(60, &wanted).map(drop)
        }),
        report.step("the panel says CRITICAL", || heron.wait_for_words("CRITICAL")),
        report.step("the log says that the drive of tray 3 is gone", || {
            let wanted = [("event", "opened"), ("condition", "drive-gone"), ("tray", "3")];
            heron.wait_for_log(120, &wanted).map(drop)
        }),
    ];

    let (taken, told_at) =
        report.step("the guest noted when it was", || Ok((heron.noted("taken")?, heron.noted("told")?)))?;
    report.note(&format!("from the fault to the log: {:.2} s of the guest's time", told_at - taken));

    let look = report.step("one reading is a JSON document again", || heron.look())?;
    let after = [
        report.step("look: the pool is degraded", || look.item("pools", "kind", "md")?.must_be("state", "degraded")),
        report.step("look: a critical condition is open, exit code 20", || {
            look.item("conditions", "id", "pool-degraded")?.must_be("severity", "critical")?;
            look.must_exit_with(20)
        }),
        report.step("look: both are one incident, and its trays must stay in", || {
            let incident = look.item("incidents", "cause", "unknown")?;
            incident.must_be("severity", "critical")?;
            incident.must_list("trays", &["3"])?;
            for id in ["drive-gone", "pool-degraded"] {
                if look.item("conditions", "id", id)?.value("/incident") != incident.value("/id") {
                    return Err(look.unexpected("conditions", "drive-gone and pool-degraded in one incident".into()));
                }
            }
            incident.must_be("handling", "leave_in")?;
            match incident.value("/leave_in") == json!({ "all": false, "trays": ["1", "2", "4"] }) {
                true => Ok(()),
                false => Err(look.unexpected("incidents", "1, 2 and 4 to be left in".into())),
            }
        }),
        report.step("the panel says which must stay in", || heron.wait_for_words("LEAVE IN 1 2 4")),
        a_good_one_is_pulled(report, &mut heron),
        report.step("the panel understood everything that it was sent", || match heron.complaints() {
            none if none.is_empty() => Ok(()),
            some => Err(LabError::unexpected("the panel's complaints", "none", some)),
        }),
    ];
    heron.stop(report)?;
    checks.into_iter().chain(told).chain(after).collect()
}

fn a_good_one_is_pulled(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    report.step("half a minute later a hand pulls the good drive of tray 2", || {
        heron.shell(TAKE_A_GOOD_ONE, 120).map(drop)
    })?;
    let checks = [
        report.step("the log says that it was the wrong tray", || {
            let wanted = [("event", "incident-opened"), ("cause", "wrong-tray"), ("trays", "2")];
            heron.wait_for_log(30, &wanted).map(drop)
        }),
        report.step("the panel says to put it back", || heron.wait_for_words("TRAY 2 BACK")),
        report.step("look: it must be put back, and the drive that went first is another story", || {
            let look = heron.look()?;
            let wrong = look.item("incidents", "cause", "wrong-tray")?;
            wrong.must_be("severity", "critical")?;
            wrong.must_be("handling", "put_back")?;
            wrong.must_be("handled_tray", "2")?;
            if look.items("incidents").any(|incident| incident["trays"] == json!(["3"])) {
                return Ok(());
            }
            Err(look.unexpected("incidents", "one of tray 3".into()))
        }),
    ];
    let (taken, told) =
        report.step("the guest noted when it was", || Ok((heron.noted("taken-wrong")?, heron.noted("told-wrong")?)))?;
    report.note(&format!("from the hand to the log: {:.2} s of the guest's time", told - taken));
    checks.into_iter().collect()
}
