//! The settings as the rest of the program sees them: typed and complete; and, section by section, the keys that they are
//! read from. A number left plain has its unit in its name.
//!
//! Here are the box, what to watch, and the schedule of self-tests; the rest in the order of the file: `shelves`, `panel`
//! with `wiring`, `night`, `pages` and `button`, `limits`, `alerts` with `channels` and the `addresses` in them.

mod addresses;
mod alerts;
mod button;
mod channels;
mod limits;
mod night;
mod pages;
mod panel;
mod shelves;
mod wiring;

pub use alerts::{Alerts, Heartbeat, QuietHours};
pub use button::{Button, ButtonAction};
pub use channels::{
    AlertChannel, CommandLine, Destination, Login, Mail, MailSecurity, MinSeverity, Mqtt, MqttVersion, SecretSource,
    Topic, Webhook,
};
pub use limits::{
    DriveLimits, FanLimits, Grace, Limits, LinkLimits, PoolLimits, ProcessorLimits, SupplyLimits, VolumeLimits,
};
pub use night::{DaySpan, DayTime, Night, Position};
pub use pages::PageName;
pub use panel::Panels;
pub use shelves::{ExpectedDrive, Shelf, Tray};
pub use wiring::{Bus, PanelBrightness, PanelController, PanelWiring};

use crate::key::key;
use crate::reader::Section;
use crate::section::section;
use crate::values::{Refusal, ValueKind, flag, one_of, refuse, text, text_that, whole};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Everything the configuration file can say. `Settings::default()` is what an empty file settles to.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The name shown on pages and in messages. `None` means the host name.
    pub box_name: Option<String>,
    /// How the panel, messages and `look` are written. Log lines and documents are always in English, with °C.
    pub language: Language,
    /// True when its owner has said that trays may be changed while the box is on. Trays, plugs and controller must be
    /// built for that, so nobody is told so by default.
    pub hot_swap: bool,
    /// The shelves, top shelf first. Empty until the owner has named the trays.
    pub shelves: Vec<Shelf>,
    /// The small screen on the front.
    pub panel: Panels,
    /// Buttons beside it.
    pub buttons: Vec<Button>,
    /// What to watch, and what to leave out.
    pub watch: Watch,
    /// When something is wrong, and when it is right again.
    pub limits: Limits,
    /// When drives test themselves.
    pub self_test: SelfTestSchedule,
    /// Alerts besides the log.
    pub alerts: Alerts,
    /// The keys whose values were written, such as `limits.drive.gone_hold`; all others have their defaults. A value that was
    /// written is its owner's, also when it equals the default.
    pub written: BTreeSet<String>,
}

/// How text for a person is written: its words, and the unit of its temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Language {
    /// Which words.
    pub code: LanguageCode,
    /// In which unit temperatures are.
    pub temperatures: TemperatureUnit,
}

/// A language by its code in ISO 639-1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LanguageCode {
    /// English.
    #[default]
    En,
    /// German.
    De,
}

/// A unit of temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TemperatureUnit {
    /// °C.
    #[default]
    Celsius,
    /// °F.
    Fahrenheit,
}

impl Language {
    /// English with °C: also that of log lines and documents.
    pub const ENGLISH: Self = Self { code: LanguageCode::En, temperatures: TemperatureUnit::Celsius };
    /// German with °C.
    pub const GERMAN: Self = Self { code: LanguageCode::De, temperatures: TemperatureUnit::Celsius };
    /// Each language once.
    pub const ALL: [Self; 2] = [Self::ENGLISH, Self::GERMAN];
}

/// What to watch, and what to leave out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Watch {
    /// Network ports, such as `eth0`. Empty means every hardware port that has ever had a carrier.
    pub links: Vec<String>,
    /// Mount points whose free space is not judged.
    pub ignore_volumes: Vec<String>,
    /// Fans, as `chip/fan1`, known to turn at all times: 0 rpm is believed from the first reading.
    pub always_on_fans: Vec<String>,
}

pub(crate) fn settings(file: &mut Section) -> Settings {
    let (box_name, language, hot_swap) = file.section("box", "The box.", about_box);
    Settings {
        box_name,
        language,
        hot_swap,
        shelves: shelves::read(file),
        panel: file.section("panel", "The small screen on the front.", panel::read),
        buttons: button::read(file),
        watch: file.section("watch", "What to watch, and what to leave out.", watch),
        limits: Limits::read(file),
        self_test: SelfTestSchedule::read(file, "self_test"),
        alerts: file.section(
            "alerts",
            "Alerts besides the log. None leaves the box until a channel is added.",
            alerts::read,
        ),
        // Known once the whole file was read.
        written: BTreeSet::new(),
    }
}

fn about_box(section: &mut Section) -> (Option<String>, Language, bool) {
    // By their codes in ISO 639-1.
    let languages = one_of([("en", LanguageCode::En), ("de", LanguageCode::De)]);
    let units = one_of([("celsius", TemperatureUnit::Celsius), ("fahrenheit", TemperatureUnit::Fahrenheit)]);
    let name = section.value(key!(
        /// The name on pages and in messages. Empty: the host name.
        name = "", text(64).or_empty()
    ));
    let code = section.value(key!(
        /// The language of the panel, of messages and of `traylight look`: "en" or "de". Log lines and documents for machines
        /// are always in English.
        language = "en", languages
    ));
    let temperatures = section.value(key!(
        /// The unit of temperatures on the panel, in messages and in `traylight look`: "celsius" or "fahrenheit". Limits in
        /// this file, log lines and documents for machines are always in °C.
        temperature_unit = "celsius", units
    ));
    let hot_swap = section.value(key!(
        /// Whether drives may be changed while the box is on. Set it only if tray, connector and controller are all made
        /// for hot-swap: one-piece connectors with staggered contacts. Never with separate power and data cables. If
        /// false, advice that touches a tray begins with "power off first". Advice about cables, cards and supplies
        /// always does.
        hot_swap = false, flag()
    ));
    (name, Language { code, temperatures }, hot_swap)
}

fn watch(section: &mut Section) -> Watch {
    let any = 0..=64;
    Watch {
        links: section.list(
            key!(
                /// Network ports, such as ["eth0"]. Empty: every hardware port that has ever had a link.
                links = [], link()
            ),
            any.clone(),
        ),
        ignore_volumes: section.list(
            key!(
                /// Mount points whose free space is not judged, such as ["/srv/scratch"].
                ignore_volumes = [], mount_point()
            ),
            any.clone(),
        ),
        always_on_fans: section.list(
            key!(
                /// Fans that never stop, such as ["adt7475/fan1"]: for these, 0 rpm counts as a failure from the first
                /// reading. For all others traylight first learns whether their speed signal can be trusted.
                always_on_fans = [], fan()
            ),
            any,
        ),
    }
}

section! {
    /// How often drives test themselves. A scheduled test never wakes a drive. Off by default: a test means load
    /// and heat.
    pub struct SelfTestSchedule {
        /// Interval in days of power-on time, as counted by the drive: 1 to 365, 0 for never. A long test counts
        /// as a short one too.
        short_every_days: u32 = 0, whole(0..=365), "Days between short tests, which take minutes; 0 is never.";
        long_every_days: u32 = 0, whole(0..=365),
            "Days between long tests, which read the whole surface and take hours; 0 is never.";
    }
}

/// A name that Linux takes for a network port: under 16 bytes, no slash, colon or blank (`dev_valid_name`,
/// net/core/dev.c).
fn link() -> ValueKind<String> {
    text_that(15, "^[^/: ]{1,15}$", "the name of a network port, such as \"eth0\"", |name| {
        name.len() < 16 && !name.contains(['/', ':', ' ']) && name != "." && name != ".."
    })
}

fn mount_point() -> ValueKind<String> {
    let rules = r#""type": "string", "pattern": "^/$|^/.*[^/]$""#;
    ValueKind::new(rules, String::new(), |value| match (text(4096).read)(value) {
        Ok(path) if path == "/" || (path.starts_with('/') && !path.ends_with('/')) => Ok(path),
        Ok(path) if path.starts_with('/') => Err(Refusal {
            expected: "a mount point without a slash at its end".into(),
            hint: Some(format!("did you mean \"{}\"?", path.trim_end_matches('/'))),
        }),
        _ => refuse("a mount point that starts with a slash, such as \"/srv\""),
    })
}

/// A fan is named by its chip and channel, as the kernel numbers them: `fan1`, `fan2` and so on.
fn fan() -> ValueKind<String> {
    text_that(128, "^.+/fan[0-9]+$", "a chip and its fan, such as \"adt7475/fan1\"", |name| {
        name.rsplit_once("/fan")
            .is_some_and(|(chip, number)| !chip.is_empty() && number.parse::<u8>().is_ok_and(|n| n > 0))
    })
}
