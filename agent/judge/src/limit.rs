//! What rules make their limits of: figures that the program fixes, and values of the configuration, each with its origin.

use traylight_config::Settings;
use traylight_data::verdict::{Figure, Limit, Origin};

/// A figure and where it comes from. One that is only a number of the program is fixed.
#[derive(Debug, Clone, Copy)]
pub struct Sourced {
    figure: Figure,
    /// Where it comes from.
    pub origin: Origin,
}

impl<T: Into<Figure>> From<T> for Sourced {
    fn from(figure: T) -> Self {
        Self { figure: figure.into(), origin: Origin::Fixed }
    }
}

impl Sourced {
    /// The same from another origin.
    pub fn of(self, origin: Origin) -> Self {
        Self { origin, ..self }
    }
}

/// A limit with these figures. Their origins are its own; of several the last counts, in the order of [`Origin`].
pub fn with_figures(key: &'static str, figures: &[(&'static str, Sourced)]) -> Limit {
    let origin = figures.iter().map(|(_, figure)| figure.origin).max().unwrap_or(Origin::Fixed);
    Limit { key, figures: figures.iter().map(|(place, sourced)| (*place, sourced.figure)).collect(), origin }
}

/// Where the value of this key comes from. One that was written is its owner's, also when it equals the default.
pub fn origin(settings: &Settings, key: &str) -> Origin {
    if settings.written.contains(key) { Origin::Configuration } else { Origin::Default }
}

/// `limit!("limit.drive-gone.away", hold = set!(settings, drive.gone_hold))`: the sentence of a limit in the tables of words,
/// and what fills its places.
macro_rules! limit {
    ($key:literal $(, $place:ident = $figure:expr)* $(,)?) => {
        $crate::limit::with_figures($key, &[$((stringify!($place), $crate::limit::Sourced::from($figure))),*])
    };
}

/// `set!(settings, drive.gone_hold)`: the value of `gone_hold` in `[limits.drive]` with its origin. A plain number is given
/// its unit: `set!(settings, drive.hdd_warning_c, Celsius)`.
macro_rules! set {
    ($settings:expr, $section:ident.$key:ident $(, $unit:expr)?) => {{
        let settings: &traylight_config::Settings = $settings;
        let origin = $crate::limit::origin(settings, concat!("limits.", stringify!($section), ".", stringify!($key)));
        $crate::limit::Sourced::from($crate::limit::set!(@ settings.limits.$section.$key $(, $unit)?)).of(origin)
    }};
    (@ $value:expr) => { $value };
    (@ $value:expr, $unit:expr) => { $unit($value) };
}

pub(crate) use {limit, set};
