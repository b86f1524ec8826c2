//! The state as a table for people: the same document, nothing more.

use super::document::Document;
use super::incident_part::OwnersWords;
use super::pool_part::PoolState;
use crate::printout::Printout;
use crate::reading::{Power, SelfAssessment};
use crate::tell::words::phrases::{Language, Phrases, Places};
use crate::tell::words::self_test;
use crate::tell::words::temperature::Temperatures;
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent, span};
use crate::verdict::Standing;
use std::time::Duration;

/// The table. What is missing is a dash; the reasons stand below, in English as the document has them.
pub fn table(document: &Document, language: Language) -> Printout {
    let mut out = Printout::default();
    let board = &document.board;
    let (up, standing) = (span(Duration::from_secs(board.up_s)), standing(document.standing, language));
    let places: Places =
        &[("box", &document.box_name), ("standing", &standing), ("up", &up), ("kernel", &board.kernel)];
    out.line(language.say("table.summary", places));
    for incident in &document.incidents {
        let words = incident.owners_words.clone().unwrap_or_else(|| OwnersWords::of(incident));
        out.line("");
        out.line(format_args!("{} {}", language.severity(incident.severity), words.headline));
        out.line(format_args!("  {}", words.sentence));
        out.line(format_args!("  {}", language.say("table.do", &[("advice", &words.advice)])));
        out.line(format_args!("  {}", language.say("table.do-not", &[("warning", &words.do_not)])));
    }
    if let Some(left) = document.muted_left_s {
        let left = language.span(Duration::from_secs(left));
        out.line(language.say("table.muted", &[("left", &left)]));
    }
    let mut why = Vec::new();
    let mut part = |columns: &[&str], cells: Vec<Vec<String>>| {
        out.table(&columns.iter().map(|key| language.plain(key)).collect::<Vec<_>>(), &cells);
    };
    part(&DRIVES, drives(document, &mut why, language));
    part(&POOLS, pools(document, language));
    part(&VOLUMES, volumes(document, &mut why, language));
    part(&FANS, fans(document, &mut why, language));
    part(&SENSORS, temperatures(document, &mut why, language));
    part(&PORTS, links(document, &mut why, language));
    why.extend(document.unseen.iter().map(|unseen| language.say("table.not-seen", &[("what", unseen)])));
    if !why.is_empty() {
        out.line("");
        why.iter().for_each(|line| out.line(format_args!("- {line}")));
    }
    out
}

const DRIVES: [&str; 12] = [
    "table.tray",
    "table.drive",
    "table.size",
    "table.power",
    "table.temperature",
    "table.heading",
    "table.says",
    "table.self-test",
    "table.in",
    "table.out",
    "table.serial",
    "table.now",
];
const POOLS: [&str; 5] = ["table.pool", "table.level", "table.members", "table.state", "table.size"];
const VOLUMES: [&str; 5] = ["table.volume", "table.type", "table.size", "table.free", "table.used"];
const FANS: [&str; 3] = ["table.fan", "table.speed", "table.duty"];
const SENSORS: [&str; 2] = ["table.sensor", "table.temperature"];
const PORTS: [&str; 5] = ["table.port", "table.up", "table.speed", "table.in", "table.out"];

fn standing(standing: Standing, language: Language) -> &'static str {
    language.plain(match standing {
        Standing::Starting => "table.standing.starting",
        Standing::Fine => "table.standing.fine",
        Standing::SeenInPart => "table.standing.seen-in-part",
        Standing::NoData => "table.standing.no-data",
        Standing::Notice => "table.standing.notice",
        Standing::Warning => "table.standing.warning",
        Standing::Critical => "table.standing.critical",
    })
}

fn power(power: Power) -> &'static str {
    match power {
        Power::Active => "table.drive-is.active",
        Power::Idle => "table.drive-is.idle",
        Power::Asleep => "table.drive-is.asleep",
    }
}

fn assessment(assessment: SelfAssessment) -> &'static str {
    match assessment {
        SelfAssessment::Passed => "table.drive-says.passed",
        SelfAssessment::Failing => "table.drive-says.failing",
    }
}

fn pool_state(state: PoolState) -> &'static str {
    match state {
        PoolState::Whole => "table.pool-is.whole",
        PoolState::Degraded => "table.pool-is.degraded",
        PoolState::Rebuilding => "table.pool-is.rebuilding",
        PoolState::Down => "table.pool-is.down",
    }
}

fn drives(document: &Document, why: &mut Vec<String>, language: Language) -> Vec<Vec<String>> {
    let row = |drive: &super::drive_part::Drive| {
        if let Some(reason) = drive.missing.get("temperature_c") {
            let name = drive.serial.as_ref().unwrap_or(&drive.device);
            why.push(language.say("table.temperature-of", &[("name", name), ("why", reason)]));
        }
        let rate = |rate: Option<f64>| rate.map(|rate| BytesPerSecond(rate).in_megabytes());
        vec![
            shown(drive.tray.clone()),
            shown(drive.model.clone()),
            shown(drive.size_bytes.map(|size| Bytes(size).to_string())),
            shown(drive.power.map(|is| language.plain(power(is)).to_owned())),
            shown(drive.temperature_c.map(|degrees| language.temperature(Celsius(degrees)))),
            shown(drive.outlook.as_ref().and_then(|outlook| heading(outlook, language))),
            shown(drive.assessment.map(|says| language.plain(assessment(says)).to_owned())),
            shown(drive.self_test.map(|test| self_test::in_short(test, language))),
            shown(rate(drive.read_bytes_per_s)),
            shown(rate(drive.written_bytes_per_s)),
            shown(drive.serial.clone()),
            drive.device.clone(),
        ]
    };
    document.drives.iter().map(row).collect()
}

/// Where it settles and, when it is on its way to a limit, how long until that.
fn heading(outlook: &super::outlook_part::Outlook, language: Language) -> Option<String> {
    let settles = outlook.heading_c.map(|degrees| language.temperature(Celsius(degrees)));
    let limit = outlook.in_s.map(|seconds| {
        let (limit, span) = (language.temperature(Celsius(outlook.limit_c)), span(Duration::from_secs(seconds)));
        language.say("table.limit-in", &[("limit", &limit), ("span", &span)])
    });
    let parts: Vec<String> = settles.into_iter().chain(limit).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn pools(document: &Document, language: Language) -> Vec<Vec<String>> {
    let row = |pool: &super::pool_part::Pool| {
        let working = pool.members.iter().filter(|member| member.state == "active").count();
        let key = if pool.wanted.is_some() { "table.members-of" } else { "table.members-found" };
        let wanted = pool.wanted.unwrap_or_default();
        let activity = language.activity(pool.activity.kind);
        let done = pool.activity.done_ratio.map(|done| format!(", {activity} {}", Percent(done * 100.0)));
        vec![
            pool.name.clone(),
            shown(pool.level.clone()),
            language.say(key, &[("working", &working), ("wanted", &wanted)]),
            shown(pool.state.map(|state| language.plain(pool_state(state)).to_owned())) + &done.unwrap_or_default(),
            shown(pool.size_bytes.map(|size| Bytes(size).to_string())),
        ]
    };
    document.pools.iter().map(row).collect()
}

fn volumes(document: &Document, why: &mut Vec<String>, language: Language) -> Vec<Vec<String>> {
    let row = |volume: &super::volume_part::Volume| {
        if let Some(reason) = volume.missing.get("free_bytes") {
            why.push(language.say("table.room-of", &[("name", &volume.mount), ("why", reason)]));
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

fn fans(document: &Document, why: &mut Vec<String>, language: Language) -> Vec<Vec<String>> {
    let row = |fan: &super::parts::Fan| {
        if let Some(reason) = fan.missing.get("speed_rpm") {
            why.push(language.say("table.speed-of", &[("name", &fan.label), ("why", reason)]));
        }
        let unseen = if fan.fitted || fan.fault { "" } else { language.plain("table.never-turned") };
        vec![
            fan.label.clone(),
            if fan.fault {
                language.plain("page.cooling.fault").to_owned()
            } else {
                shown(fan.speed_rpm.map(|speed| format!("{speed} rpm{unseen}")))
            },
            shown(fan.duty_ratio.map(|duty| Percent(duty * 100.0).to_string())),
        ]
    };
    document.fans.iter().map(row).collect()
}

fn temperatures(document: &Document, why: &mut Vec<String>, language: Language) -> Vec<Vec<String>> {
    let row = |sensor: &super::parts::Temperature| {
        if let Some(reason) = sensor.missing.get("temperature_c") {
            why.push(format!("{}: {reason}", sensor.label));
        }
        vec![sensor.label.clone(), shown(sensor.temperature_c.map(|degrees| language.temperature(Celsius(degrees))))]
    };
    document.temperatures.iter().map(row).collect()
}

fn links(document: &Document, why: &mut Vec<String>, language: Language) -> Vec<Vec<String>> {
    let row = |link: &super::parts::Link| {
        if let Some(reason) = link.missing.get("up") {
            why.push(format!("{}: {reason}", link.name));
        }
        let rate = |rate: Option<f64>| shown(rate.map(|rate| BytesPerSecond(rate).in_megabytes()));
        vec![
            link.name.clone(),
            shown(link.up.map(|up| language.plain(if up { "table.yes" } else { "table.no" }).to_owned())),
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
        let text = table(&Document::new(&settings, &verdict, &snapshot, &wall), Language::ENGLISH);
        let line = text.as_str().lines().find(|line| line.contains("HN24-LARK")).expect("it is on the table");
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
