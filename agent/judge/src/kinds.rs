//! What the judge must know of a kind of condition to put conditions together: each rule says it of its kinds.

use std::time::Duration;
use traylight_data::verdict::Kind;

/// What happens to several parts for one reason happens within this.
pub const TOGETHER: Duration = Duration::from_secs(10);
/// Temperatures and speeds are read and held over minutes.
pub const SLOWLY: Duration = Duration::from_secs(600);

/// What is told of a kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Traits {
    /// Which.
    pub kind: Kind,
    /// True where trays are at stake: redundancy, connections, and drives that fail. Heat, space, settings and the like
    /// are not about trays, whatever state their pool is in.
    pub is_about_trays: bool,
    /// What of a drive it is a sign of.
    pub sign_of: Option<Trouble>,
    /// Whether several conditions of the kind that no cause explains are one incident.
    pub several: Several,
    /// Whether it is one incident with conditions of other kinds, though no cause explains them.
    pub companions: Companions,
}

/// What can be wrong with a drive, as far as causes go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// It is gone, comes and goes, or does not answer: plugs, cables, power or controllers can be behind it.
    Connection,
    /// Transfers to it are damaged.
    Transfer,
    /// It cannot read what it holds: its own surface or flash is behind it.
    Media,
    /// It lost its power while the board ran: a supply or a power contact is behind it.
    Power,
}

impl Trouble {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Connection, Self::Transfer, Self::Media, Self::Power];
}

/// Whether several conditions of a kind have one reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Several {
    /// Each has its own.
    Apart,
    /// A setting or a habit of the box, however many parts show it and since when.
    OfTheBox,
    /// Something that parts share, when they begin this close together: one hand, one switch, one plug, one room. How
    /// close goes by how often they are read.
    BegunWithin(Duration),
}

/// With which conditions of other kinds a condition goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Companions {
    /// With none.
    None,
    /// With those of the same pool.
    OfItsPool,
    /// With those of the same volume.
    OfItsVolume,
}

impl Traits {
    /// A kind that goes with no other and is not about trays.
    pub const fn of(kind: Kind) -> Self {
        Self { kind, is_about_trays: false, sign_of: None, several: Several::Apart, companions: Companions::None }
    }

    /// The same, where trays are at stake.
    pub const fn about_trays(self) -> Self {
        Self { is_about_trays: true, ..self }
    }

    /// The same, a sign of a trouble of its drive.
    pub const fn sign_of(self, trouble: Trouble) -> Self {
        Self { sign_of: Some(trouble), ..self }
    }

    /// The same, several of which have one reason.
    pub const fn several(self, several: Several) -> Self {
        Self { several, ..self }
    }

    /// The same, as a part of this incident.
    pub const fn companions(self, companions: Companions) -> Self {
        Self { companions, ..self }
    }
}

/// The traits of all kinds, as the rules have them.
#[derive(Debug, Clone)]
pub struct Kinds(pub Vec<Traits>);

impl Kinds {
    /// The traits of a kind.
    pub fn of(&self, kind: Kind) -> Traits {
        self.0.iter().copied().find(|traits| traits.kind == kind).unwrap_or(Traits::of(kind))
    }

    /// True for a kind that is a sign of this trouble.
    pub fn is_sign(&self, kind: Kind, trouble: Trouble) -> bool {
        self.of(kind).sign_of == Some(trouble)
    }
}
