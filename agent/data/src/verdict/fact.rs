//! What a finding is made of, in a form that needs no arm a kind: its fields by their names, each a typed fact. Words fill
//! their places from these.

use super::estimate::Estimate;
use super::place::{ControllerName, Place};
use super::unseen::UnseenPart;
use crate::reading::Missing;
use crate::units::{Celsius, CelsiusDifference};
use std::fmt::Display;
use std::time::Duration;

/// Facts by the names of their fields, in the order of the fields.
pub type Facts<'a> = Vec<(&'static str, Fact<'a>)>;

/// A fact of a finding.
#[derive(Clone)]
pub enum Fact<'a> {
    /// A drive.
    Drive(&'a Place),
    /// Several drives; may be none.
    Drives(&'a [Place]),
    /// A controller.
    Controller(&'a ControllerName),
    /// A name, or what another program or a device says.
    Text(&'a str),
    /// Several of them.
    Texts(&'a [String]),
    /// Why a value is missing.
    Missing(&'a Missing),
    /// Parts of the box that cannot be looked at; may be none.
    Unseen(&'a [UnseenPart]),
    /// A temperature.
    Celsius(Celsius),
    /// A difference of temperatures.
    Difference(CelsiusDifference),
    /// A figure with its unit.
    Figure(&'a dyn Display),
    /// A span of time.
    Span(Duration),
    /// A span of time that is not known exactly.
    Estimate(Estimate),
    /// How many.
    Count(i128),
    /// A number without a unit.
    Number(f64),
    /// Whether it is so.
    Flag(bool),
    /// One of several cases, by its id, and what only it has.
    Case(&'static str, Facts<'a>),
    /// A value that there is not.
    Absent,
    /// Words for it need a function of their own in `tell`.
    Own,
}

/// Declares an enum as it stands, and gives it `facts()`: the fields of the present variant by their names. A field whose
/// name says it all needs no comment.
macro_rules! facts_of {
    ($(#[$of_enum:meta])* pub enum $name:ident {
        $($(#[$of_variant:meta])* $variant:ident $({
            $($(#[$of_field:meta])* $field:ident: $type:ty),* $(,)?
        })?),* $(,)?
    }) => {
        $(#[$of_enum])*
        pub enum $name {
            $($(#[$of_variant])* $variant $({
                $($(#[$of_field])* #[allow(missing_docs)] $field: $type),*
            })?),*
        }

        impl $name {
            /// Its facts.
            pub fn facts(&self) -> $crate::verdict::fact::Facts<'_> {
                match self {
                    $(Self::$variant $({ $($field),* })? => {
                        vec![$($((stringify!($field), $crate::verdict::fact::ToFact::fact($field))),*)?]
                    })*
                }
            }
        }
    };
}
pub(super) use facts_of;

/// What can be a fact.
pub(super) trait ToFact {
    /// As a fact.
    fn fact(&self) -> Fact<'_>;
}

/// The drive among facts that is named `drive`.
pub(super) fn drive(facts: Facts<'_>) -> Option<&Place> {
    facts.into_iter().find_map(|(name, fact)| match fact {
        Fact::Drive(place) if name == "drive" => Some(place),
        Fact::Case(_, inner) => drive(inner),
        _ => None,
    })
}
