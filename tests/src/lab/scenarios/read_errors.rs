//! A sector of one drive of a RAID 5 cannot be read: the kernel's lines become events, md mends it by writing it anew, and
//! the program names the drive, what was counted, and no cause that the evidence does not carry.

use super::heron::{Fitting, Heron};
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;

/// In this time md has mended the sector, and the program has told of it.
const MENDED_S: u64 = 120;
/// The sector lies in the third chunk of 512 KiB on the fourth drive, which holds data in the layout left-symmetric
/// (drivers/md/raid5.c, `raid5_compute_sector`); the first 6 MiB of the pool are on the first four chunks of each drive.
const INTO_THE_DATA: u64 = 2 * 1024 + 8;
const READ_IT: &str = "dd if=/dev/md0 of=/dev/null bs=1M count=6 iflag=direct 2>&1";
/// md does not write to the drives by itself any more.
const AT_REST: &str = "sync; until [ \"$(cat /sys/block/md0/md/array_state)\" = clean ]; do sleep 0.2; done; sleep 1";
/// Reads it, and notes the guest's uptime in seconds then and when the log tells of it.
const READ_AND_NOTE: &str = "
    (for _ in $(seq 2000); do
        grep -q member-errors /lab/traylight.log && cut -d' ' -f1 /proc/uptime >/lab/told && break
        sleep 0.05
    done) &
    cut -d' ' -f1 /proc/uptime >/lab/taken";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let sata = |serial: &str| Drive::Sata { serial: serial.into(), rotation_rpm: 5400, size_mib: 64 };
    let fitting = Fitting {
        system: System::Host,
        drives: ["TRAY-A", "TRAY-B", "TRAY-C", "TRAY-D"].map(sata).into(),
        has_network: false,
        set_up: include_str!("../../../lab/read_errors.sh"),
        about: "RAID 5",
        config: include_str!("../../../lab/heron.toml"),
    };
    let mut heron = Heron::boot(bench, report, "read_errors", fitting)?;
    heron.watch(report)?;
    report.step("look: the pool is whole, and nothing is wrong", || {
        heron.wait_for_look("a whole box", 60, |look| {
            look.only("pools")?.must_be("state", "healthy")?;
            look.must_exit_with(0)
        })
    })?;
    report.step("a sector of the drive in tray 4 cannot be read, and the pool needs it", || {
        heron.machine.must_run(AT_REST, 60)?;
        let offset = "device=$(device_of TRAY-D); cat \"/sys/block/md0/md/dev-${device##*/}/offset\"";
        let offset = heron.shell(offset, 30)?;
        let offset: u64 = offset
            .trim()
            .parse()
            .map_err(|_| LabError::unexpected("the member's offset", "sectors", offset.clone()))?;
        heron.machine.spoil_sector("TRAY-D", offset + INTO_THE_DATA)?;
        heron.machine.must_run(&format!("{READ_AND_NOTE}\n{READ_IT}"), MENDED_S).map(drop)
    })?;
    report.step("the kernel says that it could not read it, and that md has corrected it", || {
        heron.machine.wait_until("the kernel's lines", MENDED_S, |machine| {
            let log = machine.must_run("dmesg | grep -E 'failed command|I/O error|md/raid'", 30);
            let log = log.map_err(|error| error.to_string())?;
            let told = ["failed command: READ", "I/O error, dev sd", "read error corrected"];
            if told.iter().all(|line| log.contains(line)) { Ok(()) } else { Err(log) }
        })
    })?;
    let mut checks = vec![must_be_told(report, &mut heron)];
    let (taken, told) =
        report.step("the guest noted when it was", || Ok((heron.noted("taken")?, heron.noted("told")?)))?;
    report.note(&format!("from the read to the log: {:.2} s of the guest's time", told - taken));
    checks.push(report.step("it can be read again", || {
        let errors = "dmesg | grep -c 'I/O error, dev sd'";
        let before = heron.machine.must_run(errors, 30)?;
        heron.machine.must_run(READ_IT, 60)?;
        let after = heron.machine.must_run(errors, 30)?;
        if after == before { Ok(()) } else { Err(LabError::unexpected("errors of the kernel", before, after)) }
    }));
    checks.push(report.step("look: the kernel counts time-outs, which were none, and they are not told", || {
        heron.wait_for_look("a count of the kernel", 60, |look| {
            look.item("drives", "serial", "TRAY-D")?.must_be_between("command_timeouts", 1.0, f64::INFINITY)?;
            look.must_not_tell("drive-timeouts", "")
        })
    }));
    heron.stop(report)?;
    checks.into_iter().collect()
}

fn must_be_told(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    let checks = [
        report.step("the log tells what the pool has counted, and on which drive", || {
            let wanted = [("event", "opened"), ("condition", "member-errors"), ("tray", "4"), ("severity", "warning")];
            heron.wait_for_log(MENDED_S, &wanted).map(drop)
        }),
        report.step("the log has the incident, with the kernel's word for it and no cause", || {
            let wanted = [("event", "incident-opened"), ("cause", "unknown"), ("trays", "4")];
            let line = heron.wait_for_log(60, &wanted)?;
            let evidence = line["evidence"].as_str().unwrap_or_default();
            if evidence.contains("kernel log: ") {
                return Ok(());
            }
            Err(LabError::unexpected("the incident's evidence", "a line of the kernel's log", evidence))
        }),
        report.step("look: one incident of tray 4, the pool is whole, and nothing else is blamed", || {
            let look = heron.look()?;
            look.only("pools")?.must_be("state", "healthy")?;
            let incident = look.item("incidents", "severity", "warning")?;
            incident.must_be("cause", "unknown")?;
            incident.must_list("trays", &["4"])?;
            look.must_have_conditions(&incident, 1)?;
            look.condition("member-errors", "")?.must_be("tray", "4")?;
            // How long drives and kernel try is another matter, and true of all four.
            let others = look.items("conditions").filter(|one| one["id"] != "member-errors");
            match others.into_iter().find(|one| one["id"] != "recovery-time-mismatch") {
                None => look.must_exit_with(10),
                Some(_) => Err(look.unexpected("conditions", "nothing else".into())),
            }
        }),
        report.step("the panel says it", || {
            let look = heron.look()?;
            let headline = look.item("incidents", "severity", "warning")?.text("headline")?;
            heron.wait_for_title(&headline)
        }),
        report.step("the log has blamed no drive for failing, hanging or losing its power", || {
            ["drive-fails", "drive-hangs", "tray-power", "tray-connection", "data-cable"]
                .into_iter()
                .try_for_each(|cause| heron.must_not_log(&[("cause", cause)]))
        }),
    ];
    checks.into_iter().collect()
}
