//! The configuration file of traylight: text in, complete [`Settings`] out, or every problem in it at once.
//!
//! Two steps. *As written* (`reader.rs`, `values.rs`): every key may be absent, and none may be unknown. *Settled*
//! (`settle.rs`): every key has a value, and the values agree with each other.
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

mod settings;
mod settle;

mod discreet;
mod notes;
mod reader;
mod values;

mod problem;
mod source;
mod suggest;
mod template;
mod url;

pub use problem::{Problem, Problems};
pub use settings::{
    AlertWay, Alerts, Brightness, Bus, Button, ButtonDoes, CommandLine, Controller, DayTime, Destination, DriveLimits,
    FanLimits, Glass, Grace, Heartbeat, Holds, Language, Least, Limits, LinkLimits, Login, Mail, MailSecurity, Mqtt,
    MqttVersion, Night, PageName, Panel, PoolLimits, Position, ProcessorLimits, QuietHours, Secret, SelfTestSchedule,
    Settings, Shelf, Span, SupplyLimits, Topic, Tray, VolumeLimits, Watch, Webhook,
};
pub use settle::settle;
pub use template::{Field, Template};
pub use url::Url;

/// The fully commented file that ships with the program. It settles to `Settings::default()`.
pub const DEFAULT_FILE: &str = include_str!("../traylight.toml");

/// The JSON Schema (draft 2020-12) of the file, for editors.
pub const SCHEMA: &str = include_str!("../traylight.schema.json");

#[cfg(test)]
mod tests;
