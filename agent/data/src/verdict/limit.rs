//! The limits of a condition: from where on it begins and ends, each with where that comes from. Figures, no words.

use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent, Rpm, Volts, exact_span};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::time::Duration;

/// One limit: what its rule compares, and what is printed of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Its sentence in the tables of words.
    pub key: &'static str,
    /// The figures by their places in that sentence.
    pub figures: Vec<(&'static str, Figure)>,
    /// Where they come from.
    pub origin: Origin,
}

/// A figure of a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Figure {
    /// How many.
    Count(u64),
    /// How long.
    Span(Duration),
    /// A temperature.
    Celsius(Celsius),
    /// A difference of temperatures.
    Degrees(f64),
    /// A share.
    Percent(Percent),
    /// A difference of shares, in points.
    Points(f64),
    /// An amount of data.
    Bytes(Bytes),
    /// How fast data moves.
    Rate(BytesPerSecond),
    /// The speed of a port.
    Speed(MegabitsPerSecond),
    /// The speed of a fan.
    Rpm(Rpm),
    /// An electric potential.
    Volts(Volts),
}

/// Where a limit comes from.
// The order counts: a limit whose figures have several origins has the last of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Origin {
    /// The program: fixed.
    Fixed,
    /// A default of the configuration.
    Default,
    /// The configuration.
    Configuration,
    /// The drive itself.
    Drive,
    /// The sensor chip.
    Chip,
}

impl Limit {
    /// The same from another origin.
    #[must_use]
    pub fn of(self, origin: Origin) -> Self {
        Self { origin, ..self }
    }
}

impl Figure {
    /// The number without its unit, for machines.
    pub fn number(self) -> f64 {
        match self {
            Self::Count(count) => count as f64,
            Self::Span(time) => time.as_secs_f64(),
            Self::Celsius(Celsius(degrees)) | Self::Degrees(degrees) => degrees,
            Self::Percent(Percent(share)) | Self::Points(share) => share,
            Self::Bytes(Bytes(amount)) => amount as f64,
            Self::Rate(BytesPerSecond(rate)) => rate,
            Self::Speed(MegabitsPerSecond(speed)) => f64::from(speed),
            Self::Rpm(Rpm(speed)) => f64::from(speed),
            Self::Volts(Volts(potential)) => potential,
        }
    }

    /// The unit of that number, as keys of documents end; a count has none.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Count(_) => "",
            Self::Span(_) => "_s",
            Self::Celsius(_) | Self::Degrees(_) => "_c",
            Self::Percent(_) | Self::Points(_) => "_percent",
            Self::Bytes(_) => "_bytes",
            Self::Rate(_) => "_bytes_per_s",
            Self::Speed(_) => "_mbit_per_s",
            Self::Rpm(_) => "_rpm",
            Self::Volts(_) => "_v",
        }
    }
}

/// Not rounded as elsewhere: what is printed of a limit is what is compared.
impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(count) => count.fmt(f),
            Self::Span(time) => exact_span(*time).fmt(f),
            Self::Celsius(Celsius(degrees)) | Self::Degrees(degrees) => write!(f, "{degrees} °C"),
            Self::Percent(Percent(share)) => write!(f, "{share} %"),
            Self::Points(points) => points.fmt(f),
            Self::Bytes(Bytes(amount)) if amount % (1 << 30) == 0 => write!(f, "{} GiB", amount >> 30),
            Self::Bytes(Bytes(amount)) if amount % (1 << 20) == 0 => write!(f, "{} MiB", amount >> 20),
            Self::Bytes(amount) => amount.fmt(f),
            Self::Rate(BytesPerSecond(rate)) => write!(f, "{} MB/s", rate / 1e6),
            Self::Speed(speed) => speed.fmt(f),
            Self::Rpm(speed) => speed.fmt(f),
            Self::Volts(Volts(potential)) => {
                let exact = format!("{potential:.4}");
                let short = exact.strip_suffix("00").or(exact.strip_suffix('0'));
                write!(f, "{} V", short.unwrap_or(&exact))
            }
        }
    }
}

/// Each type with a unit is a figure.
macro_rules! figures {
    ($($unit:ident($of:ty)),*) => {
        $(impl From<$of> for Figure {
            fn from(value: $of) -> Self {
                Self::$unit(value)
            }
        })*
    };
}

figures!(
    Span(Duration),
    Celsius(Celsius),
    Percent(Percent),
    Bytes(Bytes),
    Rate(BytesPerSecond),
    Speed(MegabitsPerSecond),
    Rpm(Rpm),
    Volts(Volts)
);

/// Whatever counts is a count; nothing counts less than none.
macro_rules! counts {
    ($($of:ty),*) => {
        $(impl From<$of> for Figure {
            fn from(count: $of) -> Self {
                Self::Count(u64::try_from(count).unwrap_or_default())
            }
        })*
    };
}

counts!(i64, usize, u32, u64);
