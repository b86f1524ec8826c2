//! The pages of the panel by name.

/// A page of the panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PageName {
    /// One word for the whole box, to be read from across the room.
    State,
    /// The shelves as they stand, every tray in its place.
    Shelf,
    /// The pools and their members.
    Pools,
    /// How full the volumes are, and when they will be.
    Space,
    /// How fast data moves, and how much of what the line could.
    Traffic,
    /// Fan and temperatures.
    Cooling,
    /// One drive after the other; only those with something to say, when there are any.
    Drives,
    /// The board's supply, as far as it is measured.
    Power,
    /// The network ports.
    Network,
    /// The channels that alerts take, when there are any.
    Alerts,
    /// The box itself: name, address, running time.
    Box,
}

impl PageName {
    /// Every page, in the default order.
    pub const ALL: [PageName; 11] = [
        PageName::State,
        PageName::Shelf,
        PageName::Pools,
        PageName::Space,
        PageName::Traffic,
        PageName::Cooling,
        PageName::Drives,
        PageName::Power,
        PageName::Network,
        PageName::Alerts,
        PageName::Box,
    ];

    /// The page's name in the file.
    pub const fn word(self) -> &'static str {
        match self {
            PageName::State => "state",
            PageName::Shelf => "shelf",
            PageName::Pools => "pools",
            PageName::Space => "space",
            PageName::Traffic => "traffic",
            PageName::Cooling => "cooling",
            PageName::Drives => "drives",
            PageName::Power => "power",
            PageName::Network => "network",
            PageName::Alerts => "alerts",
            PageName::Box => "box",
        }
    }
}

/// Every page with its name in the file, in the default order.
pub(super) const PAGES: [(&str, PageName); PageName::ALL.len()] = {
    let mut pages = [("", PageName::State); PageName::ALL.len()];
    let mut index = 0;
    while index < pages.len() {
        pages[index] = (PageName::ALL[index].word(), PageName::ALL[index]);
        index += 1;
    }
    pages
};
