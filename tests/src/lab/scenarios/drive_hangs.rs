//! One of eight drives hangs and is named as the cause; then three do, each with work under way. The program goes on: the
//! other five are read as before, the panel never stands still, and the three are named. Then the program has to start
//! while they hang.
#![allow(clippy::disallowed_methods, reason = "what was watched in the guest comes as files")]

use super::Bench;
use super::heron::{Fitting, Heron, OPTIONS};
use super::look::Look;
use crate::lab::error::LabError;
use crate::lab::machine::Output;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use serde_json::json;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

const HEALTHY: [&str; 5] = ["TRAY-A", "TRAY-D", "SCSI-A", "SCSI-C", "SCSI-D"];
const HANGING: [&str; 3] = ["TRAY-B", "TRAY-C", "SCSI-B"];
/// A drive in use is asked once a minute; a round and a slow machine add to that.
const OLDEST_READING_S: f64 = 70.0;
/// A new picture is due with every reading, which come two seconds apart; an emulated machine may take its time.
const LONGEST_STANDSTILL_S: f64 = 10.0;

/// Watches from inside the guest, by its own clock: the panel's bytes twice a second into one file, and what the program
/// says every few seconds into one file each.
fn observers() -> String {
    format!(
        "rm -rf /lab/beats /lab/looks; mkdir /lab/looks
         (setsid sh -c 'until [ -e /lab/enough ]; do
             read up idle </proc/uptime; read bytes </lab/panel/bytes; echo $up $bytes; sleep 0.5
         done >/lab/beats 2>/dev/null' </dev/null >/dev/null 2>&1) &
         (setsid sh -c 'n=0; until [ -e /lab/enough ]; do
             traylight look --json {OPTIONS} >/lab/looks/part 2>/dev/null; mv /lab/looks/part /lab/looks/$n
             n=$((n + 1)); sleep 5
         done' </dev/null >/dev/null 2>&1) &"
    )
}

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let sata = |tray: &str| Drive::Sata { serial: format!("TRAY-{tray}"), rotation_rpm: 5400, size_mib: 96 };
    let scsi = |letter: &str| Drive::Scsi { serial: format!("SCSI-{letter}"), size_mib: 96 };
    let letters = ["A", "B", "C", "D"];
    let drives = letters.map(sata).into_iter().chain(letters.map(scsi)).collect();
    let mut heron = Heron::boot(bench, report, "drive_hangs", Fitting::bare(drives))?;
    heron.watch(report)?;
    let whole = report.step("five drives are in use, and all eight are awake", || {
        let look = heron.look()?;
        HEALTHY.into_iter().try_for_each(|serial| heron.use_drive(&look, serial))?;
        heron.wait_for_look("eight drives that are awake", 60, |look| {
            HEALTHY
                .into_iter()
                .chain(HANGING)
                .try_for_each(|serial| look.item("drives", "serial", serial)?.must_be("power", "active"))
        })?;
        Ok(look)
    })?;

    let [first, others @ ..] = HANGING;
    report.step("one drive gets work and finishes none", || hang(&mut heron, &whole, first))?;
    let named = report.step("look: one incident says that it hangs, and no more than that", || {
        heron.wait_for_look("one incident", 120, |look| {
            let incident = look.only("incidents")?;
            incident.must_be("cause", "drive-hangs")?;
            incident.must_be("handling", "pull_nothing")?;
            if incident.value("/drives/0/serial") == first && incident.value("/drives/1").is_null() {
                return Ok((incident.value("/id").to_string(), incident.text("headline")?));
            }
            Err(look.unexpected("incidents", format!("one of {first} alone")))
        })
    });
    let named = named.and_then(|(id, headline)| {
        report.step("the log and the panel say the same", || {
            heron.wait_for_log(60, &[("incident", &*id), ("cause", "drive-hangs")])?;
            heron.wait_for_title(&headline)
        })
    });
    report.step("two more get work and finish none", || {
        others.into_iter().try_for_each(|serial| hang(&mut heron, &whole, serial))?;
        heron.machine.must_run(&observers(), 30).map(drop)
    })?;
    let mut checks = vec![
        named,
        report.step("all three are told as not answering", || {
            heron.wait_for_look("three drives that do not answer", 240, |look| {
                HANGING.into_iter().try_for_each(|serial| must_be_told(look, serial))
            })
        }),
        report.step("the panel says CRITICAL", || heron.wait_for_words("CRITICAL")),
    ];
    report.step("the observers end", || heron.machine.must_run("touch /lab/enough; sleep 8", 60).map(drop))?;
    let shared = heron.machine.shared();
    checks.push(five_were_read(report, &shared.join("looks")));
    checks.push(panel_went_on(report, &shared.join("beats")));

    heron.stop(report)?;
    heron.watch(report)?;
    checks.push(report.step(
        "started anew while they hang: the five are read, and the two that were asked have a reason",
        || {
            heron.wait_for_look("five drives read and two with a reason", 120, |look| {
                HEALTHY
                    .into_iter()
                    .try_for_each(|serial| look.item("drives", "serial", serial)?.must_be("power", "active"))?;
                // A virtual SCSI controller answers whether its drive sleeps by itself, so only SATA questions get stuck.
                ["TRAY-B", "TRAY-C"].into_iter().try_for_each(|serial| {
                    let drive = look.item("drives", "serial", serial)?;
                    drive.must_be_missing("power", "timed-out")?;
                    drive.must_be_missing("temperature_c", "timed out")?;
                    drive.must_be_missing("assessment", "timed out")
                })
            })
        },
    ));

    report.step("the three are let go", || HANGING.into_iter().try_for_each(|serial| heron.throttle(serial, 0)))?;
    checks.push(report.step("all eight are awake again", || {
        heron.wait_for_look("eight drives that are awake", 150, |look| {
            HANGING.into_iter().try_for_each(|serial| look.item("drives", "serial", serial)?.must_be("power", "active"))
        })
    }));
    heron.stop(report)?;
    checks.into_iter().collect()
}

/// Gives the drive reads of which the emulator carries out one sector a second, so that none is finished for minutes. The
/// kernel is told to be patient: its own resets, due after 30 s, would make the whole emulator wait.
fn hang(heron: &mut Heron, whole: &Look, serial: &str) -> Result<(), LabError> {
    heron.throttle(serial, 1)?;
    let device = whole.item("drives", "serial", serial)?.device()?;
    let name = device.trim_start_matches("/dev/");
    let read = format!("dd if={device} of=/dev/null bs=256k count=8 iflag=direct");
    let work = format!(
        "echo 3600 >/sys/block/{name}/device/timeout
         for _ in 1 2 3; do (setsid {read} >/dev/null 2>&1 </dev/null) & done"
    );
    heron.machine.must_run(&work, 30).map(drop)
}

/// Whether the drive is among those of which the document says that they do not answer.
fn must_be_told(look: &Look, serial: &str) -> Result<(), LabError> {
    let told = look.items("conditions").any(|condition| {
        condition["id"] == "drive-not-answering"
            && condition["subject"].as_str().is_some_and(|subject| subject.contains(serial))
    });
    if told { Ok(()) } else { Err(look.unexpected("conditions", format!("drive-not-answering of {serial}"))) }
}

/// In everything the program said while the three hung, the five were read.
fn five_were_read(report: &mut Report, folder: &Path) -> Result<(), Failed> {
    let (looks, oldest) = report.step("all the while the other five were read", || {
        let (mut looks, mut oldest, mut moving) = (0, 0.0_f64, BTreeMap::<&str, usize>::new());
        while let Ok(text) = fs::read_to_string(folder.join(looks.to_string())) {
            let look = Look::of(&Output { text, code: 0 }, "")?;
            for serial in HEALTHY {
                let drive = look.item("drives", "serial", serial)?;
                drive.must_be("power", "active")?;
                drive.must_be_between("read_bytes_per_s", 0.0, f64::INFINITY)?;
                *moving.entry(serial).or_default() += usize::from(drive.value("/read_bytes_per_s") != json!(0.0));
                if serial.starts_with("TRAY") {
                    drive.must_be_between("temperature_age_s", 0.0, OLDEST_READING_S)?;
                    oldest = drive.value("/temperature_age_s").as_f64().unwrap_or_default().max(oldest);
                }
            }
            looks += 1;
        }
        // They are read without a pause, but on a busy computer two counts may come close upon each other.
        if looks >= 5 && HEALTHY.iter().all(|serial| moving.get(serial).is_some_and(|moving| moving * 2 > looks)) {
            return Ok((looks, oldest));
        }
        Err(LabError::unexpected(
            "the looks",
            "5, with traffic in most",
            format!("{looks}, with traffic in {moving:?}"),
        ))
    })?;
    report.note(&format!("{looks} looks at the box; the oldest temperature was {oldest} s old"));
    Ok(())
}

/// The panel was sent something all the while.
fn panel_went_on(report: &mut Report, beats: &Path) -> Result<(), Failed> {
    let (seconds, longest) = report.step("all the while the panel got new pictures", || {
        let text = fs::read_to_string(beats).map_err(LabError::file("read", beats))?;
        let seen = standstill(&text).ok_or_else(|| LabError::unexpected("the panel's bytes", "some", text.clone()))?;
        if seen.1 <= LONGEST_STANDSTILL_S {
            return Ok(seen);
        }
        let wanted = format!("no standstill over {LONGEST_STANDSTILL_S} s");
        Err(LabError::unexpected("the panel", wanted, format!("{:.1} s", seen.1)))
    })?;
    report.note(&format!("watched for {seconds:.0} s, the panel stood still for {longest:.1} s at most"));
    Ok(())
}

/// From lines of time and bytes: how long it was watched, and the longest time without a new byte.
fn standstill(beats: &str) -> Option<(f64, f64)> {
    let seen: Vec<(f64, u64)> = beats
        .lines()
        .filter_map(|line| line.split_once(' '))
        .filter_map(|(time, bytes)| Some((time.parse().ok()?, bytes.trim().parse().ok()?)))
        .collect();
    let (&(first, mut bytes), &(last, _)) = (seen.first()?, seen.last()?);
    let (mut moved, mut longest) = (first, 0.0_f64);
    for (time, now) in seen {
        longest = longest.max(time - moved);
        if now != bytes {
            (moved, bytes) = (time, now);
        }
    }
    Some((last - first, longest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_standstill_is_found_also_at_the_end() {
        assert_eq!(standstill("1.0 10\n2.0 20\n3.0 20\n4.0 20\n5.0 30\n"), Some((4.0, 3.0)));
        assert_eq!(standstill("1.0 10\n2.0 20\n9.0 20\n"), Some((8.0, 7.0)));
        assert_eq!(standstill(""), None);
    }
}
