//! What a condition is about. It is kept in the store, in which a case with two fields is a list of two.

use crate::reading::DriveKey;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a condition is about. Two parts of the box never share one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Subject {
    /// A drive, by its key.
    Drive(DriveKey),
    /// A drive as a member of a pool: one drive can be in several.
    #[serde(with = "pair")]
    Member {
        /// The key of the drive.
        drive: DriveKey,
        /// The key of the pool.
        pool: String,
    },
    /// A pool, by its key.
    Pool(String),
    /// A volume, by its mount point.
    Volume(String),
    /// A fan, by its key.
    Fan(String),
    /// A network port.
    #[serde(with = "pair")]
    Link {
        /// The kernel's name of the port.
        name: String,
        /// What of it.
        aspect: LinkAspect,
    },
    /// All drives together.
    AllDrives,
    /// The processor.
    Processor,
    /// A rail or an alarm of the supply, by its key.
    Supply(String),
    /// A controller.
    #[serde(with = "pair")]
    Controller {
        /// Its key.
        key: String,
        /// What of it.
        aspect: ControllerAspect,
    },
    /// The program itself.
    Agent(AgentAspect),
    /// The box itself.
    Board(BoardAspect),
}

/// Defines what of a part conditions are about, each by the name that it has in the store and in logs. Conditions are
/// listed in the order of these names.
macro_rules! aspects {
    ($($(#[$doc:meta])* $name:ident { $($(#[$of_case:meta])* $case:ident,)* })*) => {
        $(
            $(#[$doc])*
            #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, strum::Display)]
            #[serde(rename_all = "kebab-case")]
            #[strum(serialize_all = "kebab-case")]
            pub enum $name {
                $($(#[$of_case])* $case,)*
            }
        )*
    };
}

aspects! {
    /// What of a network port.
    LinkAspect {
        /// It does not see its partner.
        Down,
        /// It is slower than it was.
        Slow,
        /// It comes and goes.
        Unsteady,
    }
    /// What of a controller.
    ControllerAspect {
        /// Its driver.
        Driver,
        /// The errors on its PCIe link.
        Errors,
        /// Whether it is there.
        Gone,
        /// The speed and width of its PCIe link.
        LinkSpeed,
        /// How often it was reset.
        Resets,
        /// Whether its registers answer.
        Silent,
    }
    /// What of the program.
    AgentAspect {
        /// Whether a time service has set the clock.
        Clock,
        /// How its run before ended.
        Ended,
        /// Whether its store can be written.
        NotKept,
        /// Its panel.
        Panel,
        /// Whether somebody has confirmed that messages are read.
        Unconfirmed,
        /// What of the box cannot be read.
        Unseen,
        /// The messages that wait to be delivered.
        Waiting,
    }
    /// What of the box.
    BoardAspect {
        /// How much is written to its memory card.
        Card,
        /// The disk of its system.
        Disk,
        /// Its memory.
        Memory,
        /// How it started.
        Restart,
    }
}

impl Subject {
    /// The drive, if it is one, whether by itself or as a member of a pool.
    pub fn drive(&self) -> Option<&DriveKey> {
        match self {
            Self::Drive(key) | Self::Member { drive: key, .. } => Some(key),
            _ => None,
        }
    }

    /// The key of the pool, if it is one or a member of one.
    pub fn pool(&self) -> Option<&str> {
        match self {
            Self::Pool(key) | Self::Member { pool: key, .. } => Some(key),
            _ => None,
        }
    }
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Drive(key) => write!(f, "drive {}", key.0),
            Self::Member { drive, pool } => write!(f, "drive {} in pool {pool}", drive.0),
            Self::Pool(key) => write!(f, "pool {key}"),
            Self::Volume(mount) => write!(f, "volume {mount}"),
            Self::Fan(key) => write!(f, "fan {key}"),
            Self::Link { name, aspect } => write!(f, "link {name} {aspect}"),
            Self::AllDrives => f.write_str("all drives"),
            Self::Processor => f.write_str("processor"),
            Self::Supply(key) => write!(f, "supply {key}"),
            Self::Controller { key, aspect } => write!(f, "controller {key} {aspect}"),
            Self::Agent(aspect) => write!(f, "traylight {aspect}"),
            Self::Board(aspect) => write!(f, "box {aspect}"),
        }
    }
}

/// The stored form of a case with two fields.
mod pair {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub fn serialize<A: Serialize, B: Serialize, S: Serializer>(a: &A, b: &B, to: S) -> Result<S::Ok, S::Error> {
        (a, b).serialize(to)
    }

    pub fn deserialize<'de, A: Deserialize<'de>, B: Deserialize<'de>, D: Deserializer<'de>>(
        from: D,
    ) -> Result<(A, B), D::Error> {
        Deserialize::deserialize(from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_subject_is_kept_and_printed_as_ever() {
        let kept = [
            (r#"{"Drive":"WREN-1"}"#, "drive WREN-1"),
            (r#"{"Member":["WREN-1","md0"]}"#, "drive WREN-1 in pool md0"),
            (r#"{"Pool":"md0"}"#, "pool md0"),
            (r#"{"Volume":"/srv/songs"}"#, "volume /srv/songs"),
            (r#"{"Fan":"chip/fan1"}"#, "fan chip/fan1"),
            (r#"{"Link":["eth0","down"]}"#, "link eth0 down"),
            (r#"{"Link":["eth0","slow"]}"#, "link eth0 slow"),
            (r#"{"Link":["eth0","unsteady"]}"#, "link eth0 unsteady"),
            (r#""AllDrives""#, "all drives"),
            (r#""Processor""#, "processor"),
            (r#"{"Supply":"in5"}"#, "supply in5"),
            (r#"{"Controller":["01.0","driver"]}"#, "controller 01.0 driver"),
            (r#"{"Controller":["01.0","errors"]}"#, "controller 01.0 errors"),
            (r#"{"Controller":["01.0","gone"]}"#, "controller 01.0 gone"),
            (r#"{"Controller":["01.0","link-speed"]}"#, "controller 01.0 link-speed"),
            (r#"{"Controller":["01.0","resets"]}"#, "controller 01.0 resets"),
            (r#"{"Controller":["01.0","silent"]}"#, "controller 01.0 silent"),
            (r#"{"Agent":"clock"}"#, "traylight clock"),
            (r#"{"Agent":"ended"}"#, "traylight ended"),
            (r#"{"Agent":"not-kept"}"#, "traylight not-kept"),
            (r#"{"Agent":"panel"}"#, "traylight panel"),
            (r#"{"Agent":"unconfirmed"}"#, "traylight unconfirmed"),
            (r#"{"Agent":"unseen"}"#, "traylight unseen"),
            (r#"{"Agent":"waiting"}"#, "traylight waiting"),
            (r#"{"Board":"card"}"#, "box card"),
            (r#"{"Board":"disk"}"#, "box disk"),
            (r#"{"Board":"memory"}"#, "box memory"),
            (r#"{"Board":"restart"}"#, "box restart"),
        ];
        let subjects: Vec<Subject> = kept.iter().map(|(kept, _)| serde_json::from_str(kept).unwrap()).collect();
        for (subject, (kept, printed)) in subjects.iter().zip(kept) {
            assert_eq!(serde_json::to_string(subject).unwrap(), kept);
            assert_eq!(subject.to_string(), printed);
        }
        assert!(subjects.is_sorted(), "conditions are listed in this order");
    }
}
