//! The form that each type takes as a fact.

use super::details::{
    AgentFault, BoxFault, ControllerFault, Down, LinkFault, MemberFault, PoolErrors, ReadRisk, Scarce, SpaceLimit,
    WeakFan,
};
use super::estimate::Estimate;
use super::fact::{Fact, ToFact};
use super::outlook::Outlook;
use super::place::{ControllerName, Place};
use super::self_test::HealthFailure;
use super::unseen::UnseenPart;
use crate::reading::{ActivityKind, MemberErrorKind, MemberRole, Missing, Nominal, PcieLink, TestKind, Writing};
use crate::units::{Bytes, BytesPerSecond, Celsius, CelsiusDifference, MegabitsPerSecond, Percent, Rpm, Volts};
use std::time::Duration;

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
    Missing: self => Fact::Missing(self);
    Vec<UnseenPart>: self => Fact::Unseen(self);
    Celsius: self => Fact::Celsius(*self);
    CelsiusDifference: self => Fact::Difference(*self);
    Bytes: self => Fact::Figure(self);
    // Sentences name its unit: MB/s.
    BytesPerSecond: self => Fact::Number(self.0 / 1e6);
    PcieLink: self => Fact::Figure(self);
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
    HealthFailure: self => Fact::Case(self.into(), self.facts());
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
