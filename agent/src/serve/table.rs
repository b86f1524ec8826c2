//! The state as a table for people: the same document, nothing more.

use super::document::{Document, Standing};
use crate::tell::test_words;
use crate::tell::tongue::Tongue;
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent, span};
use std::fmt::Write;
use std::time::Duration;

/// The table. What is missing is a dash; the reasons stand below.
pub fn table(document: &Document) -> String {
    let mut text = String::new();
    let board = &document.board;
    let up = span(Duration::from_secs(board.up_s));
    let _ =
        writeln!(text, "{}: {}   up {up}   kernel {}", document.box_name, standing(document.standing), board.kernel);
    for incident in &document.incidents {
        let _ = writeln!(text, "\n{} {}", incident.severity, incident.headline);
        let _ = writeln!(text, "  {}", incident.sentence);
        let _ = writeln!(text, "  do: {}\n  do not: {}", incident.advice, incident.do_not);
    }
    if let Some(left) = document.muted_left_s {
        let _ = writeln!(text, "muted: messages are held back for {}", span(Duration::from_secs(left)));
    }
    let mut why = Vec::new();
    rows(
        &mut text,
        &[
            "tray",
            "drive",
            "size",
            "power",
            "temp",
            "heading",
            "says",
            "self-test",
            "in MB/s",
            "out MB/s",
            "serial",
            "now",
        ],
        drives(document, &mut why),
    );
    rows(&mut text, &["pool", "level", "members", "state", "size"], pools(document));
    rows(&mut text, &["volume", "type", "size", "free", "used"], volumes(document, &mut why));
    rows(&mut text, &["fan", "speed", "level"], fans(document, &mut why));
    rows(&mut text, &["sensor", "temp"], temperatures(document, &mut why));
    rows(&mut text, &["port", "up", "speed", "in MB/s", "out MB/s"], links(document, &mut why));
    why.extend(document.unseen.iter().map(|unseen| format!("not seen: {unseen}")));
    if !why.is_empty() {
        text.push('\n');
        for line in why {
            let _ = writeln!(text, "- {line}");
        }
    }
    text
}

fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Starting => "starting",
        Standing::Fine => "fine",
        Standing::SeenInPart => "nothing wrong in what was seen",
        Standing::NoData => "no data",
        Standing::Notice => "fine, with a notice",
        Standing::Warning => "warning",
        Standing::Critical => "critical",
    }
}

fn drives(document: &Document, why: &mut Vec<String>) -> Vec<Vec<String>> {
    let row = |drive: &super::drive_part::Drive| {
        if let Some(reason) = drive.missing.get("temperature_c") {
            why.push(format!("temperature of {}: {reason}", drive.serial.as_ref().unwrap_or(&drive.device)));
        }
        let rate = |rate: Option<f64>| rate.map(|rate| BytesPerSecond(rate).in_megabytes());
        vec![
            shown(drive.tray.clone()),
            shown(drive.model.clone()),
            shown(drive.size_bytes.map(|size| Bytes(size).to_string())),
            shown(drive.power.map(|power| format!("{power:?}").to_lowercase())),
            shown(drive.temperature_c.map(|degrees| Celsius(degrees).to_string())),
            shown(drive.outlook.as_ref().and_then(heading)),
            shown(drive.assessment.map(|assessment| format!("{assessment:?}").to_lowercase())),
            shown(drive.self_test.map(|test| test_words::in_short(test, Tongue::English))),
            shown(rate(drive.read_bytes_per_s)),
            shown(rate(drive.written_bytes_per_s)),
            shown(drive.serial.clone()),
            drive.device.clone(),
        ]
    };
    document.drives.iter().map(row).collect()
}

/// Where it settles and, when it is on its way to a limit, how long until that.
fn heading(outlook: &super::outlook_part::Outlook) -> Option<String> {
    let settles = outlook.heading_c.map(|degrees| Celsius(degrees).to_string());
    let limit =
        outlook.in_s.map(|seconds| format!("{} in {}", Celsius(outlook.limit_c), span(Duration::from_secs(seconds))));
    let parts: Vec<String> = settles.into_iter().chain(limit).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn pools(document: &Document) -> Vec<Vec<String>> {
    let row = |pool: &super::pool_part::Pool| {
        let working = pool.members.iter().filter(|member| member.state == "active").count();
        let done = pool
            .activity
            .done_ratio
            .map(|done| format!(", {:?} {}", pool.activity.kind, Percent(done * 100.0)).to_lowercase());
        vec![
            pool.name.clone(),
            shown(pool.level.clone()),
            pool.wanted.map_or_else(|| format!("{working} found"), |wanted| format!("{working} of {wanted}")),
            shown(pool.state.map(|state| format!("{state:?}").to_lowercase())) + &done.unwrap_or_default(),
            shown(pool.size_bytes.map(|size| Bytes(size).to_string())),
        ]
    };
    document.pools.iter().map(row).collect()
}

fn volumes(document: &Document, why: &mut Vec<String>) -> Vec<Vec<String>> {
    let row = |volume: &super::volume_part::Volume| {
        if let Some(reason) = volume.missing.get("free_bytes") {
            why.push(format!("room of {}: {reason}", volume.mount));
        }
        let bytes = |bytes: Option<u64>| shown(bytes.map(|bytes| Bytes(bytes).to_string()));
        let share = volume
            .used_bytes
            .zip(volume.free_bytes)
            .and_then(|(used, free)| Percent::of(used as f64, (used + free) as f64));
        vec![
            volume.mount.clone(),
            volume.file_system.clone(),
            bytes(volume.size_bytes),
            bytes(volume.free_bytes),
            shown(share.map(|share| share.to_string())),
        ]
    };
    document.volumes.iter().map(row).collect()
}

fn fans(document: &Document, why: &mut Vec<String>) -> Vec<Vec<String>> {
    let row = |fan: &super::parts::Fan| {
        if let Some(reason) = fan.missing.get("speed_rpm") {
            why.push(format!("speed of {}: {reason}", fan.label));
        }
        let unseen = if fan.fitted || fan.fault { "" } else { " (never seen turning)" };
        vec![
            fan.label.clone(),
            if fan.fault {
                "FAULT".to_owned()
            } else {
                shown(fan.speed_rpm.map(|speed| format!("{speed} rpm{unseen}")))
            },
            shown(fan.duty_ratio.map(|duty| Percent(duty * 100.0).to_string())),
        ]
    };
    document.fans.iter().map(row).collect()
}

fn temperatures(document: &Document, why: &mut Vec<String>) -> Vec<Vec<String>> {
    let row = |sensor: &super::parts::Temperature| {
        if let Some(reason) = sensor.missing.get("temperature_c") {
            why.push(format!("{}: {reason}", sensor.label));
        }
        vec![sensor.label.clone(), shown(sensor.temperature_c.map(|degrees| Celsius(degrees).to_string()))]
    };
    document.temperatures.iter().map(row).collect()
}

fn links(document: &Document, why: &mut Vec<String>) -> Vec<Vec<String>> {
    let row = |link: &super::parts::Link| {
        if let Some(reason) = link.missing.get("up") {
            why.push(format!("{}: {reason}", link.name));
        }
        let rate = |rate: Option<f64>| shown(rate.map(|rate| BytesPerSecond(rate).in_megabytes()));
        vec![
            link.name.clone(),
            shown(link.up.map(|up| if up { "yes" } else { "no" }.to_owned())),
            shown(link.speed_mbps.map(|speed| MegabitsPerSecond(speed).to_string())),
            rate(link.received_bytes_per_s),
            rate(link.sent_bytes_per_s),
        ]
    };
    document.links.iter().map(row).collect()
}

pub(super) fn shown(value: Option<String>) -> String {
    value.unwrap_or_else(|| "-".to_owned())
}

/// A heading and its rows in columns; nothing at all when there are no rows.
pub(super) fn rows(text: &mut String, heading: &[&str], rows: Vec<Vec<String>>) {
    if rows.is_empty() {
        return;
    }
    let wide = |column: usize| {
        let cells = rows.iter().map(|row| row[column].chars().count());
        cells.chain([heading[column].len()]).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..heading.len()).map(wide).collect();
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let padded: Vec<String> = cells.zip(&widths).map(|(cell, &width)| format!("{cell:width$}")).collect();
        padded.join("  ").trim_end().to_owned()
    };
    let _ = writeln!(text, "\n{}", line(&mut heading.iter().copied()));
    for row in &rows {
        let _ = writeln!(text, "{}", line(&mut row.iter().map(String::as_str)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::{Missing, Reason, SelfTest};

    /// The line of the table about drive 2 of heron, whose self-tests stand like this.
    fn line_of(change: impl Fn(&mut crate::reading::Drive)) -> String {
        let settings = demo::settings().expect("the pretend box has settings");
        let now = Moment::after_boot(Duration::from_secs(86_400));
        let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        change(&mut snapshot.drives[2]);
        let (verdict, _) =
            judge(&settings, &mut Memory::default(), now, Some(&snapshot), &crate::reading::Itself::default());
        let wall = demo::dawn().expect("there is a dawn");
        let text = table(&Document::new(&settings, &verdict, &snapshot, &wall));
        let line = text.lines().find(|line| line.contains("HN24-LARK")).expect("it is on the table");
        line.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_drive_shows_how_its_self_tests_stand() {
        let now =
            |test| line_of(|drive| drive.self_tests.value.as_mut().expect("heron's drives have tests").now = test);
        assert!(now(SelfTest::Passed).contains(" passed passed "), "{}", now(SelfTest::Passed));
        assert!(now(SelfTest::Failed).contains(" passed FAILED "));
        assert!(now(SelfTest::Running { remaining_percent: Some(40) }).contains(" passed 60 % done "));
        assert!(now(SelfTest::Running { remaining_percent: None }).contains(" passed runs "));
        let unable = || Err(Missing::new(Reason::NotFitted, "the drive does not offer it"));
        assert!(line_of(|drive| drive.self_tests.value = unable()).contains(" passed - "));
    }
}
