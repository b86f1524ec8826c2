//! The panel, `[panel]`: what is shown, and for how long.

use super::night::{self, Night};
use super::pages::{PAGES, PageName};
use super::wiring::{self, PanelWiring};
use crate::key::{Key, key};
use crate::reader::Section;
use crate::values::{one_of, whole};
use std::collections::BTreeMap;

/// The small screen on the front.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Panels {
    /// The panels that there are; all show the same pages.
    pub panels: Vec<PanelWiring>,
    /// When panels are dim, and when they are dark except for a dot. Alerts light them up all the same.
    pub night: Night,
    /// How long one page stays, in seconds: 3 to 60.
    pub page_seconds: u32,
    /// Which pages take turns, in this order.
    pub pages: Vec<PageName>,
    /// Pages that stay for another time than the others, in seconds.
    pub own_seconds: BTreeMap<PageName, u32>,
}

impl Panels {
    /// How long a page stays.
    pub fn seconds_of(&self, page: PageName) -> u32 {
        self.own_seconds.get(&page).copied().unwrap_or(self.page_seconds)
    }
}

pub(super) fn read(section: &mut Section) -> Panels {
    Panels {
        panels: wiring::read(section),
        night: night::read(section),
        page_seconds: section.value(key!(
            /// How long each page stays, in seconds: 3 to 60.
            page_seconds = 6, whole(3..=60)
        )),
        pages: section.list(key!(
            /// Which pages take turns, in this order. A page without content is skipped.
            pages = ["state", "shelf", "pools", "space", "traffic", "cooling", "drives", "power", "network", "alerts", "box"],
            one_of(PAGES)
        ), 1..=PAGES.len()),
        own_seconds: section.section("seconds", "Pages that stay for another time than the others.", own_seconds),
    }
}

fn own_seconds(section: &mut Section) -> BTreeMap<PageName, u32> {
    let about = "How long this page stays, in seconds.";
    let mut own = |page: PageName| {
        let key = Key { name: page.word(), shown: "", kind: whole(3..=60), comment: &[], about, is_public: false };
        section.optional(key).map(|given| (page, given.value))
    };
    PageName::ALL.into_iter().filter_map(&mut own).collect()
}
