//! Which page now: what is wrong leads, pages that have nothing to say are passed over.

use super::pages::{Page, View};
use crate::clock::Moment;
use crate::reading::Snapshot;
use crate::verdict::{Incident, IncidentId, Severity};
use std::time::Duration;
use traylight_config::PageName;

/// The pages worth showing, in their order. What is wrong leads, from afar and from near. While something critical holds
/// that its owner does not know of yet, only that, the state, the shelf and the other incidents take turns; else the owner's
/// pages come after it, and what he knows of comes last.
pub fn worth_showing(view: &View<'_>) -> Vec<Page> {
    let verdict = view.verdict;
    let state = Page::Named(PageName::State);
    let is_silent = verdict.freshness.is_silent();
    // Old readings are no news; what was wrong then may still be.
    let Some(snapshot) = view.snapshot.filter(|_| !is_silent) else {
        let known_of = if view.snapshot.is_some() { from_near(view, |_| true) } else { Vec::new() };
        return std::iter::once(state).chain(known_of).collect();
    };
    let is_new = |incident: &Incident| !incident.acknowledged;
    let is_critical = |incident: &Incident| incident.severity == Severity::Critical;
    let mut pages = from_afar(view, |incident| is_new(incident) && is_critical(incident));
    if !pages.is_empty() {
        pages.extend([state, Page::Named(PageName::Shelf)]);
        pages.extend(from_near(view, |incident| !is_new(incident) || !is_critical(incident)));
        return pages;
    }
    pages.extend(from_afar(view, is_new));
    let wanted = view.settings.panel.pages.iter().copied();
    pages.extend(wanted.filter(|page| has_something(*page, view, snapshot)).map(Page::Named));
    pages.extend(from_near(view, |incident| !is_new(incident)));
    pages
}

/// Both pages of each incident that is at least a warning.
fn from_afar(view: &View<'_>, which: impl Fn(&Incident) -> bool) -> Vec<Page> {
    let wrong = view.troubles().into_iter().filter(|incident| which(incident));
    wrong.flat_map(|incident| [Page::Alarm(incident.id), Page::Incident(incident.id)]).collect()
}

/// Only the page with the words.
fn from_near(view: &View<'_>, which: impl Fn(&Incident) -> bool) -> Vec<Page> {
    from_afar(view, which).into_iter().filter(|page| matches!(page, Page::Incident(_))).collect()
}

fn has_something(page: PageName, view: &View<'_>, snapshot: &Snapshot) -> bool {
    match page {
        PageName::State | PageName::Box => true,
        PageName::Shelf | PageName::Drives => !snapshot.drives.is_empty(),
        PageName::Pools => !snapshot.pools.is_empty(),
        PageName::Space => !snapshot.volumes.is_empty(),
        PageName::Traffic => !snapshot.drives.is_empty() || !snapshot.links.is_empty(),
        PageName::Power => !snapshot.rails.is_empty() || !snapshot.undervoltages.is_empty(),
        PageName::Network => !snapshot.links.is_empty(),
        PageName::Alerts => !view.channels.is_empty(),
        PageName::Cooling => {
            !view.verdict.fans.is_empty()
                || !snapshot.temperatures.is_empty()
                || snapshot.drives.iter().any(|drive| drive.temperature.get().is_some())
        }
    }
}

/// The page that is up, and since when.
#[derive(Debug, Clone, Default)]
pub struct PageTurn {
    up: Option<(Page, Moment)>,
    told: Vec<IncidentId>,
    cycle: u64,
    held_until: Option<Moment>,
    is_over: bool,
}

/// A page that is held stays no longer: somebody has walked away.
const LONGEST_HOLD: Duration = Duration::from_secs(600);

impl PageTurn {
    /// True when there is an incident that no page was given to yet.
    pub fn has_news(&self, pages: &[Page]) -> bool {
        self.news(pages).is_some()
    }

    /// How often all pages have come round.
    pub fn cycle(&self) -> u64 {
        self.cycle
    }

    /// The page that is up has been up for long enough, whatever its time.
    pub fn go_on(&mut self) {
        (self.is_over, self.held_until) = (true, None);
    }

    /// The page that is up stays; or goes on, if it was held already.
    pub fn hold(&mut self, now: Moment) {
        self.held_until = match self.held_until.take() {
            Some(until) if now < until => None,
            _ => Some(now.plus(LONGEST_HOLD)),
        };
    }

    /// The incident whose page is up.
    pub fn incident_up(&self) -> Option<IncidentId> {
        match self.up {
            Some((Page::Alarm(id) | Page::Incident(id), _)) => Some(id),
            _ => None,
        }
    }

    fn news(&self, pages: &[Page]) -> Option<IncidentId> {
        incidents(pages).find(|incident| !self.told.contains(incident))
    }

    /// The page to show now: an incident that is new at once, else the one that is up until its time is over. `stays` says
    /// how long that is.
    pub fn page(&mut self, pages: &[Page], now: Moment, stays: impl Fn(&Page) -> Duration) -> Page {
        let new = self.news(pages);
        self.told = incidents(pages).collect();
        let is_over = std::mem::take(&mut self.is_over);
        self.held_until = self.held_until.filter(|until| new.is_none() && now < *until);
        let next = match (new, &self.up) {
            (Some(id), _) => Page::Alarm(id),
            (None, Some((up, since))) => match pages.iter().position(|page| page == up) {
                Some(_) if self.held_until.is_some() => return up.clone(),
                Some(_) if !is_over && now.since(*since) < stays(up) => return up.clone(),
                Some(index) => {
                    self.cycle += u64::from(index + 1 == pages.len());
                    pages[(index + 1) % pages.len()].clone()
                }
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
        Page::Alarm(id) => Some(*id),
        Page::Incident(_) | Page::Named(_) => None,
    })
}

fn first(pages: &[Page]) -> Page {
    pages.first().cloned().unwrap_or(Page::Named(PageName::State))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each page stays for as long.
    const EACH: fn(&Page) -> Duration = |_| Duration::from_secs(6);

    fn at(second: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(second))
    }

    fn incident(id: u32) -> Page {
        Page::Alarm(IncidentId(id))
    }

    #[test]
    fn a_press_turns_the_page_or_holds_it_and_news_let_go() {
        let pages = [Page::Named(PageName::State), Page::Named(PageName::Space), incident(1)];
        let calm = &pages[..2];
        let mut turn = PageTurn::default();
        assert_eq!(turn.page(calm, at(0), EACH), pages[0]);
        turn.go_on();
        assert_eq!(turn.page(calm, at(1), EACH), pages[1]);
        assert_eq!(turn.page(calm, at(2), EACH), pages[1], "one press, one page");
        turn.hold(at(3));
        assert_eq!(turn.page(calm, at(300), EACH), pages[1]);
        turn.hold(at(301));
        assert_eq!(turn.page(calm, at(301), EACH), pages[0], "pressed again");
        turn.hold(at(302));
        assert_eq!(turn.page(calm, at(901), EACH), pages[0]);
        assert_eq!(turn.page(calm, at(902), EACH), pages[1], "nobody holds a page for longer");
        turn.hold(at(903));
        assert_eq!(turn.incident_up(), None);
        assert_eq!(turn.page(&pages, at(904), EACH), pages[2], "news come all the same");
        assert_eq!(turn.incident_up(), Some(IncidentId(1)));
        assert_eq!(turn.page(&pages, at(911), EACH), pages[0], "and nothing is held any more");
    }

    #[test]
    fn pages_follow_each_other_and_begin_again() {
        let pages = [Page::Named(PageName::State), Page::Named(PageName::Space)];
        let mut turn = PageTurn::default();
        let shown: Vec<Page> = [0, 5, 6, 11, 12].map(|second| turn.page(&pages, at(second), EACH)).into();
        let [state, room] = pages;
        assert_eq!(shown, [state.clone(), state.clone(), room.clone(), room, state]);
    }

    #[test]
    fn a_new_incident_is_shown_at_once_and_once_only() {
        let calm = [Page::Named(PageName::State), Page::Named(PageName::Space)];
        let troubled = [incident(1), incident(2), Page::Named(PageName::State)];
        let mut turn = PageTurn::default();
        turn.page(&calm, at(0), EACH);
        assert_eq!(turn.page(&troubled[..1], at(1), EACH), incident(1));
        assert_eq!(turn.page(&troubled, at(2), EACH), incident(2), "the second one is news as well");
        assert_eq!(turn.page(&troubled, at(8), EACH), Page::Named(PageName::State));
        assert_eq!(turn.page(&troubled, at(14), EACH), incident(1), "then they take turns");
    }

    #[test]
    fn a_page_that_is_no_longer_worth_it_leaves_at_once() {
        let mut turn = PageTurn::default();
        turn.page(&[incident(1), Page::Named(PageName::State)], at(0), EACH);
        assert_eq!(turn.page(&[Page::Named(PageName::State)], at(1), EACH), Page::Named(PageName::State));
        assert_eq!(turn.page(&[], at(2), EACH), Page::Named(PageName::State));
    }
}
