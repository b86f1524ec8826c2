//! One drive in full, for people: the same document, nothing more.

use super::document::Document;
use super::drive_part::Drive;
use super::pool_part::MemberStatus;
use super::shelf_part::{Tray, TrayContent};
use super::table::{forecast, gone, pool_state, power, shown};
use crate::clock::Wall;
use crate::printout::Printout;
use crate::reading::{DriveKind, ErrorKind, Missing, PastTest, SelfAssessment, TestKind, TestOutcome};
use crate::tell::words::drives::bus_name;
use crate::tell::words::limit;
use crate::tell::words::phrases::{Language, Phrases, Places};
use crate::tell::words::self_test;
use crate::tell::words::temperature::Temperatures;
use crate::units::{Bytes, Celsius, MegabitsPerSecond};
use crate::verdict::{IncidentId, Severity};
use std::collections::BTreeSet;
use std::time::Duration;

/// So much of a serial is enough to mean one drive.
const TAIL: usize = 4;

/// The counters that are worth a line, the telling ones first.
const COUNTERS: [&str; 24] = [
    "counter.reallocated-sectors",
    "counter.reallocated-logical-sectors",
    "counter.reallocation-events",
    "counter.pending-sectors",
    "counter.pending-errors",
    "counter.offline-uncorrectable-sectors",
    "counter.reported-uncorrectable-errors",
    "counter.end-to-end-errors",
    "counter.media-errors",
    "counter.read-uncorrected-errors",
    "counter.write-uncorrected-errors",
    "counter.retired-blocks",
    "counter.runtime-bad-blocks",
    "counter.spin-retries",
    "counter.command-timeouts",
    "counter.interface-crc-errors",
    "counter.helium-percent",
    "counter.spare-percent",
    "counter.wear-used-percent",
    "counter.power-on-hours",
    "counter.power-cycles",
    "counter.start-stop-cycles",
    "counter.load-cycles",
    "counter.unsafe-shutdowns",
];

/// The drive in the tray with this label, of this device name, or with a serial that ends like this; `wall` is the calendar
/// now.
///
/// # Errors
/// When nothing is called so, or several drives are; what there is.
pub fn detail(document: &Document, name: &str, language: Language, wall: &Wall) -> Result<Printout, String> {
    let (tray, drive) = meant(document, name, language)?;
    let mut page = Page { out: Printout::default(), language };
    page.title(tray, drive, wall);
    page.open(document, tray, drive);
    let Some(drive) = drive else { return Ok(page.out) };
    page.identity(drive);
    page.health(drive);
    page.self_tests(drive);
    page.temperature(drive);
    page.connection(drive);
    page.pools(document, drive);
    Ok(page.out)
}

/// The tray and the drive in it; one of the two may not be there.
fn meant<'a>(
    document: &'a Document,
    name: &str,
    language: Language,
) -> Result<(Option<&'a Tray>, Option<&'a Drive>), String> {
    let wanted = name.to_lowercase();
    let trays = || document.shelves.iter().flat_map(|shelf| &shelf.trays);
    let in_tray = |tray: &Tray| document.drives.iter().find(|drive| drive.tray.as_ref() == Some(&tray.label));
    if let Some(tray) = trays().find(|tray| tray.label.to_lowercase() == wanted) {
        return Ok((Some(tray), in_tray(tray)));
    }
    let is_meant = |drive: &&Drive| {
        let has_tail = |serial: &String| serial.to_lowercase().ends_with(&wanted);
        drive.device == name || (wanted.chars().count() >= TAIL && drive.serial.as_ref().is_some_and(has_tail))
    };
    match document.drives.iter().filter(is_meant).collect::<Vec<_>>()[..] {
        [drive] => Ok((trays().find(|tray| drive.tray.as_ref() == Some(&tray.label)), Some(drive))),
        [] => {
            let names: Vec<&str> = trays()
                .map(|tray| tray.label.as_str())
                .chain(document.drives.iter().filter(|drive| drive.tray.is_none()).map(|drive| drive.device.as_str()))
                .collect();
            let there = names.join(", ");
            let places: Places = &[("name", &name), ("there", &there)];
            Err(match traylight_config::nearest(name, names.iter().copied()) {
                Some(near) => language.say("look.near", &[places, &[("near", &near)]].concat()),
                None => language.say("look.unknown", places),
            })
        }
        _ => Err(language.say("look.several", &[("name", &name)])),
    }
}

/// What is printed.
struct Page {
    out: Printout,
    language: Language,
}

impl Page {
    fn words(&self, key: &str) -> &'static str {
        self.language.plain(key)
    }

    fn section(&mut self, key: &str) {
        self.out.line("");
        self.out.line(self.words(key));
    }

    /// A value behind its label; where there is none, the reason.
    fn value(&mut self, key: &str, value: Option<String>, missing: Option<&Missing>) {
        let text = match (value, missing) {
            (Some(value), _) => value,
            (None, Some(missing)) => format!("- ({})", self.language.missing(missing)),
            (None, None) => return,
        };
        self.out.line(format_args!("  {}: {text}", self.words(key)));
    }

    fn title(&mut self, tray: Option<&Tray>, drive: Option<&Drive>, wall: &Wall) {
        let language = self.language;
        let place = tray.map(|tray| language.say("table.in-tray", &[("tray", &tray.label)]));
        let state = tray.and_then(|tray| match tray.state {
            TrayContent::Empty => Some(self.words("table.tray-is.empty").to_owned()),
            TrayContent::Gone => Some(gone(tray.gone_s, language, wall)),
            TrayContent::Faulty => Some(self.words("table.tray-is.faulty").to_owned()),
            TrayContent::Rebuilding => Some(self.words("table.tray-is.rebuilding").to_owned()),
            TrayContent::Asleep | TrayContent::Awake | TrayContent::NoReading => None,
        });
        let model = drive.and_then(|drive| drive.model.clone().or_else(|| Some(drive.device.clone())));
        let title: Vec<String> = place.into_iter().chain(model).chain(state).collect();
        self.out.coloured(title.join(": "), tray.and_then(|tray| tray.severity));
    }

    /// The open conditions of the drive, and what their incidents advise.
    fn open(&mut self, document: &Document, tray: Option<&Tray>, drive: Option<&Drive>) {
        let is_about = |condition: &&super::document::Condition| {
            let same = |a: Option<&String>, b: Option<&String>| a.is_some() && a == b;
            same(condition.tray.as_ref(), tray.map(|tray| &tray.label))
                || same(condition.serial.as_ref(), drive.and_then(|drive| drive.serial.as_ref()))
        };
        for condition in document.conditions.iter().filter(is_about) {
            let severity = self.language.severity(condition.severity);
            self.out.coloured(format_args!("{severity}: {}", condition.words()), Some(condition.severity));
        }
        let incidents: BTreeSet<IncidentId> =
            document.conditions.iter().filter(is_about).filter_map(|condition| condition.incident).collect();
        for incident in document.incidents.iter().filter(|incident| incidents.contains(&incident.id)) {
            let words = incident.words();
            self.out.line(format_args!("  {}", self.language.say("table.do", &[("advice", &words.advice)])));
            self.out.line(format_args!("  {}", self.language.say("table.do-not", &[("warning", &words.do_not)])));
        }
    }

    fn identity(&mut self, drive: &Drive) {
        self.section("look.identity");
        self.value("table.serial", drive.serial.clone(), drive.missing.get("serial"));
        self.value("look.wwn", drive.wwn.clone(), drive.missing.get("wwn"));
        self.value(
            "table.size",
            drive.size_bytes.map(|size| self.language.figure(Bytes(size))),
            drive.missing.get("size_bytes"),
        );
        let kind = match drive.kind {
            DriveKind::Hdd => "look.hdd",
            DriveKind::Ssd => "look.ssd",
            DriveKind::Unknown => "look.kind-unknown",
        };
        let bus = bus_name(drive.bus).unwrap_or("-");
        self.value("look.kind", Some(format!("{}, {bus}", self.words(kind))), None);
        self.value("table.device", Some(drive.device.clone()), None);
        self.value("table.port", drive.port.clone(), None);
    }

    fn health(&mut self, drive: &Drive) {
        self.section("look.health");
        let assessed = drive.assessment.map(|assessed| {
            self.words(match assessed {
                SelfAssessment::Passed => "table.drive-is.passed",
                SelfAssessment::Failing => "table.drive-is.failing",
            })
        });
        self.value("look.assessment", assessed.map(str::to_owned), drive.missing.get("assessment"));
        let power = drive.power.map(|is| self.words(power(is)).to_owned());
        self.value("table.power", power, drive.missing.get("power"));
        self.counters(drive);
        if let Some(error) = &drive.newest_error {
            let kind = self.words(match error.kind {
                ErrorKind::Unreadable => "look.error.unreadable",
                ErrorKind::Fault => "look.error.fault",
                ErrorKind::Transfer => "look.error.transfer",
                ErrorKind::Protection => "look.error.protection",
                ErrorKind::NotFound => "look.error.not-found",
                ErrorKind::Declined => "look.error.declined",
                ErrorKind::Other => "look.error.other",
            });
            let at = error.lba.map(|lba| self.language.say("look.at-sector", &[("lba", &lba)])).unwrap_or_default();
            let hours = error.power_on_hours.map(|hours| self.language.say("look.at-hours", &[("hours", &hours)]));
            self.value("look.newest-error", Some(format!("{kind}{at}{}", hours.unwrap_or_default())), None);
        }
        for unread in drive.health_unread.iter().flatten() {
            let (part, why) = (self.language.health_part(unread.part), self.language.missing(&unread.missing));
            self.value("look.unread", Some(format!("{part}: {why}")), None);
        }
    }

    fn counters(&mut self, drive: &Drive) {
        let Some(counters) = &drive.counters else {
            return self.value("look.counters", None, drive.missing.get("counters"));
        };
        let mut shown = 0;
        for key in COUNTERS {
            if let Some(value) = counters.get(&key.rsplit('.').next().unwrap_or(key).replace('-', "_")) {
                shown += 1;
                self.value(key, Some(value.to_string()), None);
            }
        }
        let more = (counters.len() - shown) as u64;
        if more > 0 {
            self.out.line(format_args!("  {}", self.language.count("look.more-counters", more)));
        }
    }

    fn self_tests(&mut self, drive: &Drive) {
        self.section("look.self-tests");
        let newest = drive.self_test.map(|test| self_test::in_short(test, self.language));
        self.value("look.newest", newest, drive.missing.get("self_test"));
        for test in drive.past_self_tests.iter().flatten() {
            self.past(test);
        }
    }

    fn past(&mut self, test: &PastTest) {
        let kind = match test.kind {
            TestKind::Short => "self-test.short",
            TestKind::Extended => "self-test.extended",
            TestKind::Other => "self-test.other",
        };
        let (outcome, severity) = match test.outcome {
            TestOutcome::Passed => ("self-test.passed", None),
            TestOutcome::Ended => ("self-test.ended", None),
            TestOutcome::CouldNotFinish => ("self-test.could-not-finish", Some(Severity::Warning)),
            TestOutcome::Failed => ("self-test.failed", Some(Severity::Critical)),
        };
        let language = self.language;
        let at = test.failed_at_lba.map(|lba| language.say("look.at-sector", &[("lba", &lba)])).unwrap_or_default();
        let age = test.age_hours.map(|hours| language.say("look.hours-ago", &[("hours", &hours)])).unwrap_or_default();
        self.out.coloured(format_args!("  {}: {}{at}{age}", self.words(kind), self.words(outcome)), severity);
    }

    fn temperature(&mut self, drive: &Drive) {
        self.section("look.temperature");
        let language = self.language;
        let now = drive.temperature_c.map(|degrees| language.temperature(Celsius(degrees)));
        self.value("look.now", now, drive.missing.get("temperature_c"));
        let ahead = drive.forecast.as_ref().and_then(|ahead| forecast(ahead, language));
        self.value("table.forecast", ahead, drive.missing.get("forecast"));
        if let Some(limits) = &drive.temperature_limits {
            let [warning, critical] =
                [limits.warning_c, limits.critical_c].map(|limit| language.exact_temperature(Celsius(limit)));
            let origin = limit::origin(limits.origin, language);
            let places: &[(&str, &dyn std::fmt::Display)] =
                &[("warning", &warning), ("critical", &critical), ("origin", &origin)];
            self.value("look.limits", Some(language.say("look.limits-are", places)), None);
        }
    }

    fn connection(&mut self, drive: &Drive) {
        self.section("look.connection");
        let speed = drive.link_speed_mbit_per_s.map(|speed| self.language.figure(MegabitsPerSecond(speed)));
        self.value("look.link", speed, drive.missing.get("link_speed_mbit_per_s"));
        let timeouts = drive.command_timeouts.map(|count| count.to_string());
        self.value("look.timeouts", timeouts, drive.missing.get("command_timeouts"));
        let span = |seconds: f64| self.language.exact_span(Duration::try_from_secs_f64(seconds).unwrap_or_default());
        let recovery = drive.recovery_limit_s.map(span);
        let kernel = drive.kernel_timeout_s.map(|seconds| span(seconds as f64));
        self.value("look.recovery", recovery, drive.missing.get("recovery_limit_s"));
        self.value("look.kernel-timeout", kernel, drive.missing.get("kernel_timeout_s"));
    }

    fn pools(&mut self, document: &Document, drive: &Drive) {
        self.section("look.pools");
        let mut is_member = false;
        for pool in &document.pools {
            for member in pool.members.iter().filter(|member| member.drive == drive.device) {
                is_member = true;
                let (state, severity) = pool.state.map_or(("-", None), |state| pool_state(state, self.language));
                let stay = if member.must_stay { self.words("look.must-stay") } else { "" };
                let line = format!(
                    "  {} ({}), {state}: {} {}{stay}",
                    pool.name,
                    shown(pool.level.clone()),
                    member.device,
                    self.words(member_status(member.state))
                );
                self.out.coloured(line, severity);
            }
        }
        if !is_member {
            let key = if document.unseen.is_empty() { "look.no-pool" } else { "look.no-readable-pool" };
            self.out.line(format_args!("  {}", self.words(key)));
        }
    }
}

/// The key of the words for the state of a member.
fn member_status(status: MemberStatus) -> &'static str {
    match status {
        MemberStatus::Active => "look.member.active",
        MemberStatus::Spare => "look.member.spare",
        MemberStatus::Rebuilding => "look.member.rebuilding",
        MemberStatus::Faulty => "look.member.faulty",
        MemberStatus::Offline => "look.member.offline",
        MemberStatus::Gone => "look.member.gone",
        MemberStatus::Unreadable => "look.member.unreadable",
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::document;
    use super::*;
    use crate::demo;

    fn printed(document: &Document, name: &str) -> Result<String, String> {
        let wall = demo::dawn().expect("there is a dawn");
        detail(document, name, Language::ENGLISH, &wall).map(|out| out.to_string())
    }

    #[test]
    fn a_drive_is_shown_in_full_by_its_tray_its_serial_or_its_device() {
        let calm = document(1, Language::ENGLISH);
        let text = printed(&calm, "3").expect("there is a tray 3");
        for wanted in [
            "tray 3: ",
            "  serial: HN24-LARK",
            "  power-on hours: ",
            "  self-assessment: passed",
            "  limits: warning at 50 °C, critical at 58 °C (default)",
            "  md0 (raid5), healthy: sdc",
        ] {
            assert!(text.contains(wanted), "{wanted} is not in:\n{text}");
        }
        assert_eq!(printed(&calm, "lark").as_ref(), Ok(&text));
        assert_eq!(printed(&calm, "sdc").as_ref(), Ok(&text));
        let wall = demo::dawn().expect("there is a dawn");
        let german = detail(&calm, "3", Language::GERMAN, &wall).expect("there is a tray 3").to_string();
        assert!(german.contains("  Größe: 4,00 TB\n") && german.contains("in Ordnung: sdc aktiv"), "{german}");
    }

    /// A pool that cannot be read may be the one that it is in.
    #[test]
    fn no_drive_is_in_no_pool_while_something_could_not_be_read() {
        let mut document = document(1, Language::ENGLISH);
        document.pools.clear();
        assert!(printed(&document, "3").is_ok_and(|text| text.contains("\n  in no pool\n")));
        document.unseen.push(super::super::document::Unseen { words: "md0: not readable".into(), owners_words: None });
        let text = printed(&document, "3").expect("there is a tray 3");
        assert!(text.contains("\n  in none of the pools that could be read\n"), "{text}");
    }

    #[test]
    fn a_tray_whose_drive_is_gone_shows_what_is_open() {
        let text = printed(&document(26, Language::ENGLISH), "3").expect("there is a tray 3");
        assert!(text.starts_with("tray 3: gone since 04:"), "{text}");
        assert!(text.contains("critical: The drive in tray 3"), "{text}");
        assert!(text.contains("\n  do: ") && text.contains("\n  caution: "), "{text}");
    }

    #[test]
    fn a_mistyped_name_is_answered_with_what_there_is() {
        let why = printed(&document(1, Language::ENGLISH), "sdz").expect_err("there is no such drive");
        assert!(why.starts_with("expected a tray, a device or the last four characters"), "{why}");
        assert!(why.contains("; there are: 1, 2, 3"), "{why}");
    }
}
