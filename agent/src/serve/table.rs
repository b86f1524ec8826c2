//! The state of the box as tables for people: the same document, nothing more.

use super::document::Document;
use super::drive_part::Drive;
use super::notes::{Name, Notes};
use super::pool_part::{MemberStatus, PoolState};
use super::shelf_part::{Tray, TrayContent};
use crate::clock::Wall;
use crate::printout::{Cell, Printout, Table};
use crate::reading::{Power, SelfAssessment};
use crate::tell::words::phrases::{Language, Phrases, Places};
use crate::tell::words::self_test;
use crate::tell::words::temperature::Temperatures;
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent};
use crate::verdict::{Severity, Standing};
use std::time::Duration;

/// A drive that has been gone for longer is gone for a span, not since a time of day.
const TODAY: Duration = Duration::from_secs(20 * 3_600);

/// Columns by their words and by how soon they are left out: those with 0 never are.
type Columns<'a> = &'a [(&'a str, u8)];

const DRIVES: Columns = &[
    ("table.tray", 0),
    ("table.model", 4),
    ("table.size", 5),
    ("table.power", 2),
    ("table.temperature", 1),
    ("table.forecast", 7),
    ("table.health", 0),
    ("table.self-test", 6),
    ("table.read", 9),
    ("table.write", 10),
    ("table.serial", 3),
    ("table.device", 8),
];
const POOLS: Columns =
    &[("table.pool", 0), ("table.level", 2), ("table.members", 1), ("table.state", 0), ("table.size", 3)];
const VOLUMES: Columns =
    &[("table.volume", 0), ("table.type", 3), ("table.size", 2), ("table.free", 0), ("table.used", 1)];
const FANS: Columns = &[("table.fan", 0), ("table.speed", 0), ("table.duty", 1)];
const SENSORS: Columns = &[("table.sensor", 0), ("table.temperature", 0)];
const PORTS: Columns =
    &[("table.port", 0), ("table.up", 0), ("table.link-speed", 1), ("table.in", 2), ("table.out", 3)];

/// The whole box; `wall` is the calendar now. What is missing is a dash, and has its reason below.
pub fn table(document: &Document, language: Language, wall: &Wall) -> Printout {
    let mut out = Printout::default();
    summary(&mut out, document, language);
    let mut notes = Notes::new(language);
    if let Some(missing) = document.board.missing.get("up_s") {
        notes.add("table.value-of", missing, Name::Other(language.plain("table.uptime")));
    }
    let mut part = |columns: Columns, rows: Vec<Vec<Cell>>| {
        out.table(Table::new(columns.iter().map(|(key, rank)| (language.plain(key), *rank)), rows));
    };
    part(DRIVES, drives(document, &mut notes, language, wall));
    part(POOLS, pools(document, language));
    part(VOLUMES, volumes(document, &mut notes, language));
    part(FANS, fans(document, &mut notes, language));
    part(SENSORS, temperatures(document, &mut notes, language));
    part(PORTS, links(document, &mut notes, language));
    let unseen = document.unseen.iter().map(|unseen| language.say("table.not-seen", &[("what", &unseen.for_owner())]));
    for (index, note) in notes.lines().chain(unseen).enumerate() {
        if index == 0 {
            out.line("");
        }
        out.line(format_args!("- {note}"));
    }
    out
}

/// How the box is, and what is open.
fn summary(out: &mut Printout, document: &Document, language: Language) {
    let board = &document.board;
    let places: Places = &[("box", &document.box_name), ("standing", &standing(document.standing, language))];
    let up =
        board.up_s.map(|up| language.say("table.running-for", &[("span", &language.span(Duration::from_secs(up)))]));
    let kernel = if board.kernel.is_empty() { "" } else { language.plain("table.kernel") };
    let severity = match document.standing {
        Standing::Critical => Some(Severity::Critical),
        Standing::Warning | Standing::NoData => Some(Severity::Warning),
        Standing::Notice => Some(Severity::Notice),
        Standing::Starting | Standing::PartlyReadable | Standing::Fine => None,
    };
    let title = format!("{}{}{kernel}{}", language.say("table.summary", places), up.unwrap_or_default(), board.kernel);
    out.coloured(title, severity);
    for incident in &document.incidents {
        let words = incident.words();
        out.line("");
        let title = format_args!("{} {}", language.severity(incident.severity), words.headline).to_string();
        out.coloured(title, Some(incident.severity));
        out.line(format_args!("  {}", words.sentence));
        out.line(format_args!("  {}", language.say("table.do", &[("advice", &words.advice)])));
        out.line(format_args!("  {}", language.say("table.do-not", &[("warning", &words.do_not)])));
    }
    document.rehearsal.iter().flat_map(|rehearsal| rehearsal.lines(language)).for_each(|line| out.line(line));
    if let Some(left) = document.muted_left_s {
        let left = language.span(Duration::from_secs(left));
        out.line(language.say("table.muted", &[("left", &left)]));
    }
}

fn standing(standing: Standing, language: Language) -> &'static str {
    language.plain(match standing {
        Standing::Starting => "table.standing.starting",
        Standing::Fine => "table.standing.fine",
        Standing::PartlyReadable => "table.standing.partly-readable",
        Standing::NoData => "table.standing.no-data",
        Standing::Notice => "table.standing.notice",
        Standing::Warning => "table.standing.warning",
        Standing::Critical => "table.standing.critical",
    })
}

/// Every tray of the configuration, then the drives without one by their device names.
fn drives(document: &Document, notes: &mut Notes, language: Language, wall: &Wall) -> Vec<Vec<Cell>> {
    let trays = document.shelves.iter().flat_map(|shelf| &shelf.trays);
    let mut rows: Vec<Vec<Cell>> = trays
        .map(|tray| {
            let drive = document.drives.iter().find(|drive| drive.tray.as_ref() == Some(&tray.label));
            missing_temperature(drive, Name::Tray(&tray.label), notes);
            row(&tray.label, drive, Some(tray), language, wall)
        })
        .collect();
    rows.extend(document.drives.iter().filter(|drive| drive.tray.is_none()).map(|drive| {
        missing_temperature(Some(drive), Name::Other(&drive.device), notes);
        row(&format!("({})", drive.device), Some(drive), None, language, wall)
    }));
    rows
}

fn missing_temperature(drive: Option<&Drive>, name: Name<'_>, notes: &mut Notes) {
    if let Some(missing) = drive.and_then(|drive| drive.missing.get("temperature_c")) {
        notes.add("table.temperature-of", missing, name);
    }
}

fn row(name: &str, drive: Option<&Drive>, tray: Option<&Tray>, language: Language, wall: &Wall) -> Vec<Cell> {
    let of = |text: &dyn Fn(&Drive) -> Option<String>| Cell::from(shown(drive.and_then(text)));
    let rate = |rate: Option<f64>| rate.map(|rate| language.figure(BytesPerSecond(rate).in_megabytes()));
    let severity = tray.and_then(|tray| tray.severity);
    vec![
        Cell::coloured(name, severity),
        of(&|drive| drive.model.clone()),
        of(&|drive| drive.size_bytes.map(|size| language.figure(Bytes(size)))),
        of(&|drive| drive.power.map(|is| language.plain(power(is)).to_owned())),
        of(&|drive| drive.temperature_c.map(|degrees| language.temperature(Celsius(degrees)))),
        of(&|drive| drive.forecast.as_ref().and_then(|ahead| forecast(ahead, language))),
        health(drive, tray, language, wall),
        of(&|drive| drive.self_test.map(|test| self_test::in_short(test, language))),
        of(&|drive| rate(drive.read_bytes_per_s)),
        of(&|drive| rate(drive.written_bytes_per_s)),
        of(&|drive| drive.serial.clone()),
        of(&|drive| Some(drive.device.clone())),
    ]
}

/// What is in the tray where that is no healthy drive, else what the drive reports of itself.
fn health(drive: Option<&Drive>, tray: Option<&Tray>, language: Language, wall: &Wall) -> Cell {
    let assessed = drive.and_then(|drive| drive.assessment);
    let severity = tray.and_then(|tray| tray.severity);
    let words = match (tray.map(|tray| tray.state), assessed) {
        (Some(TrayContent::Empty), _) => language.plain("table.tray-is.empty").to_owned(),
        (Some(TrayContent::Gone), _) => gone(tray.and_then(|tray| tray.gone_s), language, wall),
        (Some(TrayContent::Faulty), _) => language.plain("table.tray-is.faulty").to_owned(),
        (Some(TrayContent::Rebuilding), _) => language.plain("table.tray-is.rebuilding").to_owned(),
        (_, Some(SelfAssessment::Failing)) => {
            let severity = severity.max(Some(Severity::Critical));
            return Cell::coloured(language.plain("table.drive-is.failing"), severity);
        }
        (_, Some(SelfAssessment::Passed)) => language.plain("table.drive-is.passed").to_owned(),
        (_, None) => shown(None),
    };
    Cell::coloured(words, severity)
}

/// Since when a drive is gone.
pub(super) fn gone(since_s: Option<u64>, language: Language, wall: &Wall) -> String {
    match since_s.map(Duration::from_secs) {
        Some(since) if since < TODAY => {
            language.say("table.tray-is.gone-since", &[("time", &wall.before(since).minute())])
        }
        Some(since) => language.say("table.tray-is.gone-for", &[("span", &language.span(since))]),
        None => language.plain("table.tray-is.gone").to_owned(),
    }
}

/// The key of the word for whether a drive is asleep.
pub(super) fn power(power: Power) -> &'static str {
    match power {
        Power::Active => "table.drive-is.active",
        Power::Idle => "table.drive-is.idle",
        Power::Asleep => "table.drive-is.asleep",
    }
}

/// Where its temperature settles and, when it is on its way to a limit, how long until that.
pub(super) fn forecast(ahead: &super::forecast_part::Forecast, language: Language) -> Option<String> {
    let settles = ahead.settles_c.map(|degrees| language.temperature(Celsius(degrees)));
    let limit = ahead.in_s.map(|seconds| {
        let (limit, span) = (language.temperature(Celsius(ahead.limit_c)), language.span(Duration::from_secs(seconds)));
        language.say("table.limit-in", &[("limit", &limit), ("span", &span)])
    });
    let parts: Vec<String> = settles.into_iter().chain(limit).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// A pool's state in words, and how bad it is.
pub(super) fn pool_state(state: PoolState, language: Language) -> (&'static str, Option<Severity>) {
    let (key, severity) = match state {
        PoolState::Healthy => ("table.pool-is.healthy", None),
        PoolState::Degraded => ("table.pool-is.degraded", Some(Severity::Warning)),
        PoolState::Rebuilding => ("table.pool-is.rebuilding", Some(Severity::Warning)),
        PoolState::Down => ("table.pool-is.down", Some(Severity::Critical)),
    };
    (language.plain(key), severity)
}

fn pools(document: &Document, language: Language) -> Vec<Vec<Cell>> {
    let row = |pool: &super::pool_part::Pool| {
        let working = pool.members.iter().filter(|member| member.state == MemberStatus::Active).count();
        let is_unread = pool.members.iter().any(|member| member.state == MemberStatus::Unreadable);
        let members = match pool.members_expected {
            Some(wanted) => language.say("table.members-of", &[("working", &working), ("wanted", &wanted)]),
            None if is_unread => shown(None),
            None => language.say("table.members-found", &[("working", &working)]),
        };
        let activity = language.activity(pool.activity.kind);
        let done = pool.activity.done_ratio.map(|done| format!(", {activity} {}", Percent(done * 100.0)));
        let (state, severity) = pool.state.map_or(("-", None), |state| pool_state(state, language));
        vec![
            Cell::coloured(pool.name.as_str(), severity),
            shown(pool.level.clone()).into(),
            members.into(),
            Cell::coloured(format!("{state}{}", done.unwrap_or_default()), severity),
            shown(pool.size_bytes.map(|size| language.figure(Bytes(size)))).into(),
        ]
    };
    document.pools.iter().map(row).collect()
}

fn volumes(document: &Document, notes: &mut Notes, language: Language) -> Vec<Vec<Cell>> {
    let row = |volume: &super::volume_part::Volume| {
        if let Some(missing) = volume.missing.get("free_bytes") {
            notes.add("table.space-of", missing, Name::Other(&volume.mount));
        }
        let bytes = |bytes: Option<u64>| Cell::from(shown(bytes.map(|bytes| language.figure(Bytes(bytes)))));
        let share = volume
            .used_bytes
            .zip(volume.free_bytes)
            .and_then(|(used, free)| Percent::of(used as f64, (used + free) as f64));
        vec![
            volume.mount.as_str().into(),
            volume.file_system.as_str().into(),
            bytes(volume.size_bytes),
            bytes(volume.free_bytes),
            shown(share.map(|share| share.to_string())).into(),
        ]
    };
    document.volumes.iter().map(row).collect()
}

fn fans(document: &Document, notes: &mut Notes, language: Language) -> Vec<Vec<Cell>> {
    let row = |fan: &super::parts::Fan| {
        if let Some(missing) = fan.missing.get("speed_rpm") {
            notes.add("table.speed-of", missing, Name::Other(&fan.label));
        }
        let unseen = if fan.fitted || fan.fault { "" } else { language.plain("table.never-turned") };
        let speed = match fan.fault {
            true => Cell::coloured(language.plain("page.cooling.fault"), Some(Severity::Warning)),
            false => shown(fan.speed_rpm.map(|speed| format!("{speed} rpm{unseen}"))).into(),
        };
        let duty = shown(fan.duty_ratio.map(|duty| Percent(duty * 100.0).to_string()));
        vec![fan.label.as_str().into(), speed, duty.into()]
    };
    document.fans.iter().map(row).collect()
}

fn temperatures(document: &Document, notes: &mut Notes, language: Language) -> Vec<Vec<Cell>> {
    let row = |sensor: &super::parts::Temperature| {
        if let Some(missing) = sensor.missing.get("temperature_c") {
            notes.add("table.value-of", missing, Name::Other(&sensor.label));
        }
        let value = sensor.temperature_c.map(|degrees| language.temperature(Celsius(degrees)));
        vec![sensor.label.as_str().into(), shown(value).into()]
    };
    document.temperatures.iter().map(row).collect()
}

fn links(document: &Document, notes: &mut Notes, language: Language) -> Vec<Vec<Cell>> {
    let row = |link: &super::parts::Link| {
        if let Some(missing) = link.missing.get("up") {
            notes.add("table.value-of", missing, Name::Other(&link.name));
        }
        let rate = |rate: Option<f64>| {
            Cell::from(shown(rate.map(|rate| language.figure(BytesPerSecond(rate).in_megabytes()))))
        };
        vec![
            link.name.as_str().into(),
            shown(link.up.map(|up| language.plain(if up { "table.yes" } else { "table.no" }).to_owned())).into(),
            shown(link.speed_mbit_per_s.map(|speed| language.figure(MegabitsPerSecond(speed)))).into(),
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
    use crate::printout::Screen;
    use crate::reading::{Blind, Itself, Listing, Missing, Reason, SelfTest, Snapshot, WhyMissing};
    use crate::serve::drive_detail;
    use traylight_config::Settings;

    /// The pretend box, calm but for this change, on a screen of so many columns.
    fn shown_on(columns: Option<usize>, change: impl Fn(&mut Snapshot)) -> String {
        let wall = demo::dawn().expect("there is a dawn");
        table(&judged(Language::ENGLISH, change), Language::ENGLISH, &wall).on(&Screen { columns, ..Screen::PIPE })
    }

    fn judged(language: Language, change: impl Fn(&mut Snapshot)) -> Document {
        let settings = Settings { language, ..demo::settings().expect("the pretend box has settings") };
        let mut memory = Memory::for_a_single_look();
        let mut document = None;
        // Twice: a drive that was never there is not gone.
        for second in [0, 60] {
            let now = Moment::after_boot(Duration::from_secs(86_400 + second));
            let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
            if second > 0 {
                change(&mut snapshot);
            }
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
            document = Some(Document::new(&settings, &verdict, &snapshot, &demo::dawn().expect("there is a dawn")));
        }
        document.expect("it was judged")
    }

    fn line<'a>(text: &'a str, beginning: &str) -> &'a str {
        text.lines().find(|line| line.starts_with(beginning)).unwrap_or_else(|| panic!("no {beginning} in\n{text}"))
    }

    #[test]
    fn every_tray_has_its_row_on_screens_of_any_width() {
        let gone = |snapshot: &mut Snapshot| {
            snapshot.drives.remove(2);
        };
        assert_eq!(line(&shown_on(Some(20), gone), "3 "), "3     gone since…");
        let text = shown_on(Some(60), gone);
        assert!(line(&text, "3 ").contains("gone since 04:"), "{text}");
        assert_eq!(line(&text, "tray"), "tray  power   temp   health            serial");
        assert!(line(&shown_on(Some(300), gone), "tray").ends_with("serial     device"), "{text}");
        for columns in [20, 60, 100, 160, 300] {
            let text = shown_on(Some(columns), gone);
            let drives = text.lines().skip_while(|line| !line.starts_with("tray")).skip(1);
            let trays: Vec<&str> =
                drives.map_while(|line| line.split(' ').next().filter(|tray| !tray.is_empty())).collect();
            assert_eq!(trays, ["1", "2", "3", "4", "5", "6"], "{text}");
        }
    }

    #[test]
    fn what_is_asleep_shares_one_footnote() {
        let text = shown_on(None, |snapshot| {
            for drive in &mut snapshot.drives[..3] {
                drive.power.value = Ok(Power::Asleep);
                drive.temperature.value = Err(Missing::of(Reason::Asleep));
            }
        });
        assert!(text.contains("- temperature of trays 1 to 3: the drives are asleep\n"), "{text}");
    }

    #[test]
    fn a_german_owner_reads_every_reason_in_german() {
        for why in WhyMissing::ALL {
            let missing = || Missing::from(*why);
            let document = judged(Language::GERMAN, |snapshot| {
                snapshot.board.is_recorded = true;
                snapshot.blind.push(Blind { what: Listing::Links, why: missing() });
                snapshot.volumes[0].room.value = Err(missing());
                snapshot.fans[0].speed.value = Err(missing());
                let drive = &mut snapshot.drives[2];
                drive.temperature.value = Err(missing());
                drive.self_tests.value = Err(missing());
                if let Ok(health) = &mut drive.health.value {
                    health.broke_off = Some(missing());
                }
            });
            let wall = demo::dawn().expect("there is a dawn");
            let all = table(&document, Language::GERMAN, &wall).to_string();
            let one = drive_detail::detail(&document, "3", Language::GERMAN, &wall).expect("a tray 3").to_string();
            for (text, at_least) in [(all, 4), (one, 3)] {
                assert!(text.matches(&Language::GERMAN.missing(&missing())).count() >= at_least, "{text}");
                assert!(!text.contains(&Language::ENGLISH.missing(&missing())), "{text}");
            }
        }
    }

    #[test]
    fn a_drive_shows_how_its_self_tests_went() {
        let now = |test| {
            let text = shown_on(None, |snapshot| {
                snapshot.drives[2].self_tests.value.as_mut().expect("heron's drives have tests").now = test;
            });
            line(&text, "3 ").split_whitespace().collect::<Vec<_>>().join(" ")
        };
        assert!(now(SelfTest::Passed).contains(" passed passed "), "{}", now(SelfTest::Passed));
        assert!(now(SelfTest::Running { remaining_percent: Some(40) }).contains(" passed 60 % done "));
        let unable = shown_on(None, |snapshot| {
            snapshot.drives[2].self_tests.value = Err(Missing::from(WhyMissing::NotSupported));
        });
        assert!(line(&unable, "3 ").contains(" passed  -"), "{unable}");
    }
}
