//! What a finding is made of, in a form that needs no arm a kind: its fields by their names, each a typed fact. Words fill
//! their places from these.

use super::{
    AgentFault, BoxFault, ControllerFault, ControllerName, Down, Estimate, LinkFault, MemberFault, Outlook, Place,
    PoolErrors, ReadRisk, SaysFailing, Scarce, SpaceLimit, WeakFan,
};
use crate::reading::{ActivityKind, Lane, MemberErrorKind, MemberRole, Nominal, TestKind, Writing};
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, Percent, Rpm, Volts};
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
    /// A temperature.
    Celsius(Celsius),
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
            pub fn facts(&self) -> $crate::verdict::Facts<'_> {
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

/// Implements [`ToFact`], a line each.
macro_rules! to_fact {
    ($($type:ty: $self:ident => $fact:expr;)*) => {
        $(impl ToFact for $type {
            fn fact(&$self) -> Fact<'_> {
                $fact
            }
        })*
    };
}

to_fact! {
    Place: self => Fact::Drive(self);
    Vec<Place>: self => Fact::Drives(self);
    ControllerName: self => Fact::Controller(self);
    String: self => Fact::Text(self);
    Vec<String>: self => Fact::Texts(self);
    Celsius: self => Fact::Celsius(*self);
    Bytes: self => Fact::Figure(self);
    // Sentences name its unit: MB/s.
    BytesPerSecond: self => Fact::Number(self.0 / 1e6);
    Lane: self => Fact::Figure(self);
    MegabitsPerSecond: self => Fact::Figure(self);
    Percent: self => Fact::Figure(self);
    Rpm: self => Fact::Figure(self);
    Volts: self => Fact::Figure(self);
    Duration: self => Fact::Span(*self);
    Estimate: self => Fact::Estimate(*self);
    u32: self => Fact::Count((*self).into());
    u64: self => Fact::Count((*self).into());
    i64: self => Fact::Count((*self).into());
    f64: self => Fact::Number(*self);
    bool: self => Fact::Flag(*self);
    ActivityKind: self => Fact::Case(self.into(), Vec::new());
    Down: self => Fact::Case(self.into(), Vec::new());
    MemberErrorKind: self => Fact::Case(self.into(), Vec::new());
    MemberFault: self => Fact::Case(self.into(), Vec::new());
    MemberRole: self => Fact::Case(self.into(), Vec::new());
    Nominal: self => Fact::Case(self.into(), Vec::new());
    TestKind: self => Fact::Case(self.into(), Vec::new());
    Writing: self => Fact::Case(self.into(), Vec::new());
    AgentFault: self => Fact::Case(self.into(), self.facts());
    BoxFault: self => Fact::Case(self.into(), self.facts());
    ControllerFault: self => Fact::Case(self.into(), self.facts());
    LinkFault: self => Fact::Case(self.into(), self.facts());
    PoolErrors: self => Fact::Case(self.into(), self.facts());
    SaysFailing: self => Fact::Case(self.into(), self.facts());
    Scarce: self => Fact::Case(self.into(), self.facts());
    WeakFan: self => Fact::Case(self.into(), self.facts());
    (Celsius, Celsius): self => Fact::Own;
    Outlook: self => Fact::Own;
    ReadRisk: self => Fact::Own;
    SpaceLimit: self => Fact::Own;
}

impl<T: ToFact> ToFact for Option<T> {
    fn fact(&self) -> Fact<'_> {
        self.as_ref().map_or(Fact::Absent, ToFact::fact)
    }
}

/// The drive among facts that is named `drive`.
pub(super) fn drive(facts: Facts<'_>) -> Option<&Place> {
    facts.into_iter().find_map(|(name, fact)| match fact {
        Fact::Drive(place) if name == "drive" => Some(place),
        Fact::Case(_, inner) => drive(inner),
        _ => None,
    })
}
