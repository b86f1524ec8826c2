//! How a key of the file is declared, once: its name, what it takes, its default, and the comment above it in the default
//! file. Reading, the default value, the default file and the schema all go by that.
//!
//! A new key is one line where its section is read, in `sections/`.

use crate::values::ValueKind;

/// A key of the file.
pub(crate) struct Key<T> {
    pub(crate) name: &'static str,
    /// The default as the file writes it. For a key that must be written it is an example.
    pub(crate) shown: &'static str,
    pub(crate) kind: ValueKind<T>,
    /// The lines above it in the default file, each with its leading space. A key without any follows the one before it.
    pub(crate) comment: &'static [&'static str],
    /// What the comment leaves open. Only programmers and editors get to see it.
    pub(crate) about: &'static str,
    /// No secret is ever written here, so that reports may show it; among the alerts it takes that word.
    pub(crate) is_public: bool,
}

impl<T: 'static> Key<T> {
    pub(crate) fn map<U: 'static>(self, make: fn(T) -> U) -> Key<U> {
        let Key { name, shown, kind, comment, about, is_public } = self;
        Key { name, shown, kind: kind.map(make), comment, about, is_public }
    }

    /// The same, to be shown in reports.
    pub(crate) fn public(self) -> Self {
        Key { is_public: true, ..self }
    }
}

/// Declares a key: comment, `name = default`, what it takes, and what the comment leaves open. Without a default it need
/// not be there.
macro_rules! key {
    ($(#[doc = $line:literal])* $name:ident $(= $shown:tt)?, $kind:expr $(, $about:literal)?) => {
        $crate::key::Key {
            name: stringify!($name),
            shown: stringify!($($shown)?),
            kind: $kind,
            comment: &[$($line),*],
            about: concat!($($about)?),
            is_public: false,
        }
    };
}

pub(crate) use key;
