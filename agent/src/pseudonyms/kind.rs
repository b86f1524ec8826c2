//! What a pseudonym can stand for.

use strum::{IntoStaticStr, VariantArray};

/// What a pseudonym stands for: its first half.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "kebab-case")]
pub enum IdentityKind {
    /// A serial number.
    Serial,
    /// A world wide name.
    Wwn,
    /// A UUID.
    Uuid,
    /// A pool, volume group or label of a file system.
    Pool,
    /// A folder that is mounted or shared.
    Share,
    /// A host or domain.
    Host,
    /// A user, by name.
    User,
    /// An IP address.
    Address,
    /// A hardware address of the network.
    Mac,
    /// A mail address.
    Mail,
    /// A URL.
    Url,
    /// A password, a token, or the file that holds one.
    Secret,
}

impl IdentityKind {
    /// All of them.
    pub const ALL: &'static [Self] = Self::VARIANTS;

    /// Its name in pseudonyms and tables of words, such as `serial`.
    pub fn id(self) -> &'static str {
        self.into()
    }
}
