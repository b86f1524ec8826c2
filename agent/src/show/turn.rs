//! Which page now: what is wrong leads, pages that have nothing to say are passed over.

use super::pages::Page;
use crate::clock::Moment;
use crate::reading::Snapshot;
use crate::verdict::{IncidentId, Severity, Verdict};
use std::time::Duration;
use traylight_config::PageName;

/// The pages worth showing, in their order. While something critical holds, only that and the state; else warnings
/// first, then the owner's pages.
pub fn worth_showing(verdict: &Verdict, snapshot: Option<&Snapshot>, wanted: &[PageName]) -> Vec<Page> {
    let Some(snapshot) = snapshot else { return vec![Page::Named(PageName::State)] };
    let bad_enough = verdict.worst().unwrap_or(Severity::Notice).max(Severity::Warning);
    let incidents = verdict.incidents.iter().filter(|incident| incident.severity >= bad_enough);
    let mut pages: Vec<Page> = incidents.map(|incident| Page::Incident(incident.id)).collect();
    if bad_enough == Severity::Critical {
        pages.push(Page::Named(PageName::State));
        return pages;
    }
    let has_something = |page: &&PageName| match page {
        PageName::State | PageName::Box => true,
        PageName::Pools => !snapshot.pools.is_empty(),
        PageName::Room => !snapshot.volumes.is_empty(),
        PageName::Throughput => !snapshot.drives.is_empty() || !snapshot.links.is_empty(),
        PageName::Cooling => {
            !verdict.fans.is_empty()
                || !snapshot.temperatures.is_empty()
                || snapshot.drives.iter().any(|drive| drive.temperature.get().is_some())
        }
    };
    pages.extend(wanted.iter().filter(has_something).map(|&page| Page::Named(page)));
    pages
}

/// The page that is up, and since when.
#[derive(Debug, Clone, Default)]
pub struct Turn {
    up: Option<(Page, Moment)>,
    told: Vec<IncidentId>,
}

impl Turn {
    /// True when there is an incident that no page was given to yet.
    pub fn has_news(&self, pages: &[Page]) -> bool {
        self.news(pages).is_some()
    }

    fn news(&self, pages: &[Page]) -> Option<IncidentId> {
        incidents(pages).find(|incident| !self.told.contains(incident))
    }

    /// The page to show now: an incident that is new at once, else the one that is up until its time is over.
    pub fn page(&mut self, pages: &[Page], now: Moment, each: Duration) -> Page {
        let new = self.news(pages);
        self.told = incidents(pages).collect();
        let next = match (new, &self.up) {
            (Some(id), _) => Page::Incident(id),
            (None, Some((up, since))) => match pages.iter().position(|page| page == up) {
                Some(_) if now.since(*since) < each => return up.clone(),
                Some(index) => pages[(index + 1) % pages.len()].clone(),
                None => first(pages),
            },
            (None, None) => first(pages),
        };
        self.up = Some((next.clone(), now));
        next
    }
}

fn incidents(pages: &[Page]) -> impl Iterator<Item = IncidentId> {
    pages.iter().filter_map(|page| match page {
        Page::Incident(id) => Some(*id),
        Page::Named(_) => None,
    })
}

fn first(pages: &[Page]) -> Page {
    pages.first().cloned().unwrap_or(Page::Named(PageName::State))
}

#[cfg(test)]
mod tests {
    use super::*;

    const EACH: Duration = Duration::from_secs(6);

    fn at(second: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(second))
    }

    fn incident(id: u32) -> Page {
        Page::Incident(IncidentId(id))
    }

    #[test]
    fn pages_follow_each_other_and_begin_again() {
        let pages = [Page::Named(PageName::State), Page::Named(PageName::Room)];
        let mut turn = Turn::default();
        let shown: Vec<Page> = [0, 5, 6, 11, 12].map(|second| turn.page(&pages, at(second), EACH)).into();
        let [state, room] = pages;
        assert_eq!(shown, [state.clone(), state.clone(), room.clone(), room, state]);
    }

    #[test]
    fn a_new_incident_is_shown_at_once_and_once_only() {
        let calm = [Page::Named(PageName::State), Page::Named(PageName::Room)];
        let troubled = [incident(1), incident(2), Page::Named(PageName::State)];
        let mut turn = Turn::default();
        turn.page(&calm, at(0), EACH);
        assert_eq!(turn.page(&troubled[..1], at(1), EACH), incident(1));
        assert_eq!(turn.page(&troubled, at(2), EACH), incident(2), "the second one is news as well");
        assert_eq!(turn.page(&troubled, at(8), EACH), Page::Named(PageName::State));
        assert_eq!(turn.page(&troubled, at(14), EACH), incident(1), "then they take turns");
    }

    #[test]
    fn a_page_that_is_no_longer_worth_it_leaves_at_once() {
        let mut turn = Turn::default();
        turn.page(&[incident(1), Page::Named(PageName::State)], at(0), EACH);
        assert_eq!(turn.page(&[Page::Named(PageName::State)], at(1), EACH), Page::Named(PageName::State));
        assert_eq!(turn.page(&[], at(2), EACH), Page::Named(PageName::State));
    }
}
