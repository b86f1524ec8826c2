//! The configuration file of traylight: text in, complete [`Settings`] out, or every problem in it at once.
//!
//! `settle.rs` is where it begins. Each key is declared once, where its section is read, in `sections/`; `key.rs` and
//! `section.rs` define how, `values.rs` with `duration.rs` what a key can take. `reader.rs` goes through what was written, `notes.rs` collects
//! the mistakes for the report, and `outline.rs` makes the default file and the schema from the declarations.
//!
//! Not its job: opening files, asking the system, or knowing what drives and panels are.
//!
//! ```
//! let settings = traylight_config::settle("[panel]\nbus = \"/dev/i2c-1\"\n", "traylight.toml")?;
//! assert_eq!(settings.panel.page_seconds, 6);
//!
//! let problems = traylight_config::settle("[pannel]\nbus = \"none\"\n", "traylight.toml").unwrap_err();
//! assert!(problems.to_string().contains("did you mean `panel`?"));
//! # Ok::<(), traylight_config::Problems>(())
//! ```

mod declared;
mod settle;

mod sections;

mod duration;
mod key;
mod section;
mod values;

mod notes;
mod outline;
mod reader;

mod discreet;
mod problem;
mod source;
mod suggest;
mod template;
mod url;

pub use declared::{default_file, schema};
pub use discreet::without_secrets;
pub use duration::duration;
pub use problem::{Problem, Problems};
pub use sections::{
    AlertChannel, Alerts, Bus, Button, ButtonAction, CommandLine, DaySpan, DayTime, Destination, DriveLimits,
    ExpectedDrive, FanLimits, Grace, Heartbeat, Language, LanguageCode, Limits, LinkLimits, Login, Mail, MailSecurity,
    MinSeverity, Mqtt, MqttVersion, Night, PageName, PanelBrightness, PanelController, PanelWiring, Panels, PoolLimits,
    Position, ProcessorLimits, QuietHours, SecretSource, SelfTestSchedule, Settings, Shelf, SupplyLimits,
    TemperatureUnit, Topic, Tray, VolumeLimits, Watch, Webhook,
};
pub use settle::settle;
pub use suggest::nearest;
pub use template::{Field, Template};
pub use url::{Url, is_loopback};

#[cfg(test)]
mod tests;
