//! From what was written to settings that are complete and agree with each other: the box, the panel, what to watch.
//!
//! Here is the list of keys. `settle/alerts.rs`, `settle/buttons.rs`, `settle/glass.rs`, `settle/limits.rs` and `settle/shelves.rs` hold those of their sections; how a value is
//! read is in `values.rs`, and how a section is read in `reader.rs`.

mod alerts;
mod buttons;
mod glass;
mod limits;
mod shelves;

use crate::notes::{Note, Notes};
use crate::problem::{Problem, Problems};
use crate::reader::{Section, read_file};
use crate::settings::{Language, PageName, Panel, SelfTestSchedule, Settings, Watch};
use crate::source::clean;
use crate::values::{Read, Refusal, flag, one_of, refuse, text, whole};
use std::collections::{BTreeMap, BTreeSet};
use toml::de::{DeTable, DeValue};

/// The most bytes a configuration file may have. The default file has a fiftieth of it.
const LARGEST_FILE: usize = 256 * 1024;
/// The most entries of a list without a limit of its own.
const LONGEST_LIST: usize = 64;

/// By their codes in ISO 639-1.
const LANGUAGES: &[(&str, Language)] = &[("en", Language::English), ("de", Language::German)];

const PAGES: [(&str, PageName); PageName::ALL.len()] = {
    let mut pages = [("", PageName::State); PageName::ALL.len()];
    let mut index = 0;
    while index < pages.len() {
        pages[index] = (PageName::ALL[index].word(), PageName::ALL[index]);
        index += 1;
    }
    pages
};

/// Settles the text of a configuration file. `file` is its name, for messages only.
///
/// # Errors
///
/// Every problem in the text, in its order. Text that is not TOML is one problem: the rest cannot be judged.
pub fn settle(text: &str, file: &str) -> Result<Settings, Problems> {
    if text.len() > LARGEST_FILE {
        let message = format!("found a file of {} bytes, wanted at most {LARGEST_FILE}", text.len());
        let file = clean(file);
        let problem = Problem { file, line: 1, column: 1, message, hint: None, excerpts: Vec::new() };
        return Err(Problems { told: vec![problem], untold: 0 });
    }
    // Some editors start a file with a byte order mark. It is no part of the first line.
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let mut notes = Notes::new(text);
    let settings = match DeTable::parse(text) {
        Ok(table) => read_file(&mut notes, table.into_inner(), settings),
        Err(error) => {
            notes.add(syntax(&error));
            Settings::default()
        }
    };
    let settings = Settings { written: std::mem::take(&mut notes.written), ..settings };
    notes.report(file).map_or(Ok(settings), Err)
}

/// What the TOML parser says, in its own words.
fn syntax(error: &toml::de::Error) -> Note {
    let message = clean(&error.message().replace('\n', "; "));
    Note { at: error.span().unwrap_or(0..0), message: format!("not valid TOML: {message}"), hint: None, also: None }
}

fn settings(file: &mut Section) -> Settings {
    let (box_name, language, hot_swap) = file.section("box", about_box);
    Settings {
        box_name,
        language,
        hot_swap,
        shelves: shelves::shelves(file),
        panel: file.section("panel", panel),
        buttons: buttons::buttons(file),
        watch: file.section("watch", watch),
        limits: limits::limits(file),
        self_test: file.section("self_test", self_test),
        alerts: file.section("alerts", alerts::alerts),
        // Known once the whole file was read.
        written: BTreeSet::new(),
    }
}

fn about_box(section: &mut Section) -> (Option<String>, Language, bool) {
    // An empty name is how the file shows its default.
    let name = |value: &DeValue| if value.as_str() == Some("") { Ok(None) } else { text(64)(value).map(Some) };
    (
        section.value("name", None, name).value,
        section.value("language", Language::default(), one_of(LANGUAGES)).value,
        section.value("hot_swap", false, flag).value,
    )
}

fn panel(section: &mut Section) -> Panel {
    let default = Panel::default();
    Panel {
        glasses: glass::glasses(section),
        night: glass::night(section),
        page_seconds: section.value("page_seconds", default.page_seconds, whole(3..=60)).value,
        pages: section.list("pages", default.pages, 1..=PAGES.len(), one_of(&PAGES)),
        own_seconds: section.section("seconds", own_seconds),
    }
}

fn own_seconds(section: &mut Section) -> BTreeMap<PageName, u32> {
    let given = |page: PageName| Some((page, section.optional(page.word(), whole(3..=60))?.value));
    PageName::ALL.into_iter().filter_map(given).collect()
}

fn watch(section: &mut Section) -> Watch {
    let any = 0..=LONGEST_LIST;
    Watch {
        links: section.list("links", Vec::new(), any.clone(), link),
        leave_out_volumes: section.list("leave_out_volumes", Vec::new(), any.clone(), mount_point),
        steady_fans: section.list("steady_fans", Vec::new(), any, fan),
    }
}

fn self_test(section: &mut Section) -> SelfTestSchedule {
    let mut days = |key| section.value(key, 0, whole(0..=365)).value;
    SelfTestSchedule { short_every_days: days("short_every_days"), long_every_days: days("long_every_days") }
}

/// A name that Linux takes for a network port: under 16 bytes, no slash, colon or blank (`dev_valid_name`,
/// net/core/dev.c; from memory).
fn link(value: &DeValue) -> Read<String> {
    let valid = |name: &str| name.len() < 16 && !name.contains(['/', ':', ' ']) && name != "." && name != "..";
    match text(15)(value) {
        Ok(name) if valid(&name) => Ok(name),
        _ => refuse("the name of a network port, such as \"eth0\""),
    }
}

fn mount_point(value: &DeValue) -> Read<String> {
    match text(4096)(value) {
        Ok(path) if path == "/" || (path.starts_with('/') && !path.ends_with('/')) => Ok(path),
        Ok(path) if path.starts_with('/') => Err(Refusal {
            wanted: "a mount point without a slash at its end".into(),
            hint: Some(format!("did you mean \"{}\"?", path.trim_end_matches('/'))),
        }),
        _ => refuse("a mount point that starts with a slash, such as \"/srv\""),
    }
}

/// A fan is named by its chip and channel, as the kernel numbers them: `fan1`, `fan2` and so on.
fn fan(value: &DeValue) -> Read<String> {
    let valid = |name: &str| {
        name.rsplit_once("/fan")
            .is_some_and(|(chip, number)| !chip.is_empty() && number.parse::<u8>().is_ok_and(|n| n > 0))
    };
    match text(128)(value) {
        Ok(name) if valid(&name) => Ok(name),
        _ => refuse("a chip and its fan, such as \"adt7475/fan1\""),
    }
}
