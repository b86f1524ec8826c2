//! Parts of all kinds are unplugged, alone and together, and plugged in again: each time it is one incident with the right
//! trays and no more blame than what was seen carries, and it goes on when the program ends or crashes in the middle.

use super::heron::{Fitting, Heron};
use super::look::Look;
use super::{Bench, System};
use crate::lab::error::LabError;
use crate::lab::report::{Failed, Report};
use crate::lab::spec::Drive;
use serde_json::{Value, json};

/// In this time a fault has been seen, on a busy computer, too.
const SEEN_S: u64 = 60;
/// Each drive and its tray.
const TRAYS: [(&str, &str); 6] =
    [("SCSI-A", "S1"), ("SCSI-B", "S2"), ("SCSI-C", "S3"), ("USB-A", "U1"), ("USB-B", "U2"), ("NVME-A", "N1")];

/// What is urgent is kept within 5 s and a round: a store that nothing was written to for 8 s holds all of it.
const KEPT: &str = "until [ $(($(date +%s) - $(stat -c %Y /var/lib/traylight/store.db* | sort -n | tail -n 1))) -ge 8 ]
    do sleep 0.5
done";

/// Plays it.
pub fn play(bench: &Bench, report: &mut Report) -> Result<(), Failed> {
    let scsi = |serial: &str| Drive::Scsi { serial: serial.into(), size_mib: 64 };
    let usb = |serial: &str| Drive::Usb { serial: serial.into(), by_uas: false, size_mib: 64 };
    let nvme = Drive::Nvme { serial: "NVME-A".into(), size_mib: 64 };
    let fitting = Fitting {
        system: System::Host,
        drives: vec![scsi("SCSI-A"), scsi("SCSI-B"), scsi("SCSI-C"), usb("USB-A"), usb("USB-B"), nvme],
        has_network: true,
        set_up: concat!(include_str!("../../../lab/chips.sh"), include_str!("../../../lab/unplugged.sh")),
        about: "drives of three kinds, fan, thermometer, network",
        config: include_str!("../../../lab/unplugged.toml"),
    };
    let mut heron = Heron::boot(bench, report, "unplugged", fitting)?;
    heron.watch(report)?;
    report.step("look: all drives are in their trays, fan and link are well, nothing is wrong", || {
        heron.wait_for_look("a whole box", SEEN_S, |look| {
            for (serial, tray) in TRAYS {
                look.item("drives", "serial", serial)?.must_be("tray", tray)?;
            }
            look.item("fans", "key", "adt7475/fan1")?.must_be_between("speed_rpm", 1405.0, 1407.0)?;
            look.only("links")?.must_be_true("up")?;
            look.must_exit_with(0)
        })
    })?;
    let mut checks = vec![fan_and_cable(report, &mut heron)];
    // A lost connection alone blames nothing; behind USB it is one adapter that went.
    for (serial, tray, cause) in [("NVME-A", "N1", "unknown"), ("USB-A", "U1", "usb-bridge")] {
        let id = unplugged(report, &mut heron, &[serial], cause, &[tray])?;
        checks.push(plugged_in(report, &mut heron, &[serial], &id));
    }

    let together = ["SCSI-B", "SCSI-C", "USB-B"];
    let id = unplugged(report, &mut heron, &together, "supply", &["S2", "S3", "U2"])?;
    heron.stop(report)?;
    checks.push(goes_on(report, &mut heron, &id));
    checks.push(two_of_three_are_back(report, &mut heron, &id));
    checks.push(plugged_in(report, &mut heron, &["USB-B"], &id));

    // The last one, since a crash is told of for a week.
    let id = unplugged(report, &mut heron, &["SCSI-A"], "unknown", &["S1"])?;
    report.step("all that is urgent has been kept", || heron.machine.must_run(KEPT, 60).map(drop))?;
    heron.crash(report)?;
    checks.push(goes_on(report, &mut heron, &id));
    checks.push(plugged_in(report, &mut heron, &["SCSI-A"], &id));
    heron.stop(report)?;
    checks.into_iter().collect()
}

/// A fan stands still, its board gets warm and the cable is pulled; then all is well again.
fn fan_and_cable(report: &mut Report, heron: &mut Heron) -> Result<(), Failed> {
    const CHIPS: &str = include_str!("../../../lab/chips.sh");
    report.step("the fan stands still, the board has 50 degrees, and the network cable is pulled", || {
        heron.machine.put_cable(false)?;
        heron.machine.must_run(&format!("{CHIPS}\nfan_turns 0\nboard_has_degrees 50"), 60).map(drop)
    })?;
    let mut ids = Vec::new();
    for condition in ["fan-stopped", "link-trouble"] {
        let line = report.step(&format!("the log has {condition}, with an incident"), || {
            heron.wait_for_log(SEEN_S, &[("event", "opened"), ("condition", condition)])
        })?;
        ids.push(line["incident"].clone());
    }
    let headlines =
        report.step("look: each is an incident of its own that says it all, and the board is warm", || {
            heron.wait_for_look("two incidents and a warm board", SEEN_S, |look| {
                let causes: Vec<_> = look.items("incidents").map(|incident| &incident["cause"]).collect();
                let told: Vec<_> = look.items("incidents").map(|incident| json!(incident["id"].to_string())).collect();
                if causes != [&json!("self-evident"); 2] || !ids.iter().all(|id| told.contains(id)) {
                    return Err(look.unexpected("incidents", format!("those called {ids:?}, as they say")));
                }
                must_be_warm(look, 50.0)?;
                let headline = |incident: &Value| incident["headline"].as_str().unwrap_or("a headline").to_owned();
                Ok(look.items("incidents").map(headline).collect::<Vec<_>>())
            })
        })?;
    let mut checks = Vec::new();
    for words in headlines.iter().map(String::as_str).chain(["50 °C"]) {
        checks.push(report.step(&format!("the panel says {words}"), || heron.wait_for_title(words)));
    }
    report.step("the fan turns, the board is cool, and the cable is back", || {
        heron.machine.put_cable(true)?;
        heron.machine.must_run(&format!("{CHIPS}\nfan_turns 1406\nboard_has_degrees 30"), 60).map(drop)
    })?;
    for condition in ["fan-stopped", "link-trouble"] {
        checks.push(report.step(&format!("the log says that {condition} is over"), || {
            heron.wait_for_log(SEEN_S, &[("event", "closed"), ("condition", condition)]).map(drop)
        }));
    }
    checks.into_iter().collect()
}

fn must_be_warm(look: &Look, degrees: f64) -> Result<(), LabError> {
    let thermometer =
        look.items("temperatures").find(|one| one["key"].as_str().is_some_and(|key| key.starts_with("lm75")));
    if thermometer.is_some_and(|one| one["temperature_c"] == json!(degrees)) {
        return Ok(());
    }
    Err(look.unexpected("temperatures", format!("{degrees} degrees at the LM75")))
}

/// Drives are unplugged; gives the name of their one incident.
fn unplugged(
    report: &mut Report,
    heron: &mut Heron,
    serials: &[&str],
    cause: &str,
    trays: &[&str],
) -> Result<String, Failed> {
    report.step(&format!("unplugged: {}", serials.join(", ")), || heron.machine.unplug(serials))?;
    let (id, headline) = report.step(&format!("look: one incident of {}, {cause}", trays.join(" ")), || {
        heron.wait_for_look("one incident", SEEN_S, |look| {
            let incident = look.only("incidents")?;
            incident.must_be("cause", cause)?;
            incident.must_list("trays", trays)?;
            incident.must_be("handling", "pull_nothing")?;
            look.must_have_conditions(&incident, serials.len())?;
            Ok((incident.value("/id").to_string(), incident.text("headline")?))
        })
    })?;
    report.step("the log tells of it", || {
        let line = heron.wait_for_log(SEEN_S, &[("incident", &*id), ("cause", cause)])?;
        // Those that went together may be seen one after another, and join.
        let told = line["trays"].as_str().unwrap_or_default();
        if told.split(' ').all(|tray| trays.contains(&tray)) {
            return Ok(());
        }
        Err(LabError::unexpected("the incident in the log", format!("trays of {trays:?}"), line.to_string()))
    })?;
    report.step("the panel says it", || heron.wait_for_title(&headline))?;
    Ok(id)
}

/// They are plugged in again, and their incident is over.
fn plugged_in(report: &mut Report, heron: &mut Heron, serials: &[&str], id: &str) -> Result<(), Failed> {
    report.step(&format!("plugged in: {}", serials.join(", ")), || {
        serials.iter().try_for_each(|serial| heron.machine.plug_in(serial))
    })?;
    report.step("look: no drive is gone; and the log says that the incident is over", || {
        heron.wait_for_look("no drive that is gone, and no incident", SEEN_S, |look| {
            look.must_not_tell("drive-gone", "")?;
            match incident(look, id) {
                None => Ok(()),
                Some(_) => Err(look.unexpected("incidents", format!("none called {id}"))),
            }
        })?;
        heron.wait_for_log(SEEN_S, &[("event", "incident-closed"), ("incident", id)]).map(drop)
    })
}

/// Of the three that went together two are plugged in again: what took them all explains the third, too.
fn two_of_three_are_back(report: &mut Report, heron: &mut Heron, id: &str) -> Result<(), Failed> {
    report.step("plugged in: SCSI-B, SCSI-C", || {
        ["SCSI-B", "SCSI-C"].into_iter().try_for_each(|serial| heron.machine.plug_in(serial))
    })?;
    report.step("look: the incident goes on with the third, and its cause is what it was", || {
        heron.wait_for_look("one drive that is gone", SEEN_S, |look| {
            let left = look.only("incidents")?;
            look.must_have_conditions(&left, 1)?;
            left.must_be("cause", "supply")?;
            look.condition("drive-gone", "")?.must_be("tray", "U2")?;
            incident(look, id).map(drop).ok_or_else(|| look.unexpected("incidents", format!("one called {id}")))
        })?;
        heron.must_not_log(&[("event", "incident-refined")])
    })
}

/// The program starts in the middle of an incident, and knows it.
fn goes_on(report: &mut Report, heron: &mut Heron, id: &str) -> Result<(), Failed> {
    heron.watch(report)?;
    report.step("look: the incident goes on under its name, and the log does not open it again", || {
        heron.wait_for_look("the incident", SEEN_S, |look| {
            incident(look, id).map(drop).ok_or_else(|| look.unexpected("incidents", format!("one called {id}")))
        })?;
        // That the program itself crashed is told, of course.
        heron.must_not_log(&[("event", "opened"), ("condition", "drive-gone")])?;
        heron.must_not_log(&[("event", "incident-opened"), ("incident", id)])
    })
}

/// The open incident of this name.
fn incident<'a>(look: &'a Look, id: &str) -> Option<&'a Value> {
    look.items("incidents").find(|incident| incident["id"].as_u64().is_some_and(|number| number.to_string() == id))
}
