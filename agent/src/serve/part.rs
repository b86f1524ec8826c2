//! How a part of the document is declared: each key once, with what it is, its type, and where its value comes from.
//!
//! `is` has a value. `known` is `null` where there is none and the reason is under `missing`; `maybe` can besides be `null`
//! without a reason.

use crate::reading::Missing;
use std::collections::BTreeMap;

/// Why values are `null`, by their keys.
pub type Reasons = BTreeMap<String, Missing>;

macro_rules! part {
    (
        $(#[doc = $about:literal])*
        pub struct $part:ident of ($($argument:ident: $given:ty),* $(,)?) $(where { $(let $local:ident = $of:expr;)* })? {
            $($(#[doc = $doc:literal])* $key:ident: $how:ident $type:ty = $value:expr;)*
        }
    ) => {
        $(#[doc = $about])*
        #[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
        #[cfg_attr(test, derive(schemars::JsonSchema))]
        pub struct $part {
            $($(#[doc = $doc])* pub $key: $crate::serve::part::part!(@type $how $type),)*
            /// Why a value is `null`.
            pub missing: $crate::serve::part::Reasons,
        }

        impl $part {
            pub(super) fn of($($argument: $given),*) -> Self {
                $($(let $local = $of;)*)?
                let mut missing = $crate::serve::part::Reasons::new();
                Self {
                    $($key: $crate::serve::part::part!(@value $how $key missing $value),)*
                    missing,
                }
            }
        }
    };
    (@type is $type:ty) => { $type };
    (@type $how:ident $type:ty) => { Option<$type> };
    (@value is $key:ident $missing:ident $value:expr) => { $value };
    (@value known $key:ident $missing:ident $value:expr) => {
        $crate::serve::part::known($value, stringify!($key), &mut $missing)
    };
    (@value maybe $key:ident $missing:ident $value:expr) => {
        $crate::serve::part::known($value, stringify!($key), &mut $missing).flatten()
    };
}

pub(super) use part;

/// A value, with the reason noted when there is none.
pub fn known<T>(value: Result<T, impl Into<Missing>>, key: &str, missing: &mut Reasons) -> Option<T> {
    value.map_err(|why| missing.insert(key.to_owned(), why.into())).ok()
}
