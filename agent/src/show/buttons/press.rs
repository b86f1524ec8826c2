//! From edges on a line to what their owner wants.

use std::time::Duration;
use traylight_config::ButtonAction;

/// Pressed for so long, a button means something else.
const LONG: Duration = Duration::from_secs(1);
/// Pressed for longer, something leans on it.
const STUCK: Duration = Duration::from_secs(10);

/// What the owner wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Intent {
    /// The next page.
    Next,
    /// This page stays, or goes on after all.
    Hold,
    /// He knows of the incident that is shown.
    Acknowledge,
}

/// What there is to say of a button.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ButtonEvent {
    /// It was pressed.
    Wanted(Intent),
    /// It cannot be read: which, and why.
    Unavailable(String),
}

/// One button.
#[derive(Debug)]
pub struct PressedButton {
    action: ButtonAction,
    down_since: Option<Duration>,
}

impl PressedButton {
    /// A button that is not pressed.
    pub fn new(action: ButtonAction) -> Self {
        Self { action, down_since: None }
    }

    /// Takes in that it went down or up, at a time on any one clock; what its owner wants by that. A press counts when it
    /// ends, since only then it is known how long it was.
    pub fn edge(&mut self, is_down: bool, at: Duration) -> Option<Intent> {
        if is_down {
            self.down_since = Some(at);
            return None;
        }
        let pressed = at.saturating_sub(self.down_since.take()?);
        match self.action {
            _ if pressed >= STUCK => None,
            ButtonAction::Next if pressed < LONG => Some(Intent::Next),
            ButtonAction::Hold => Some(Intent::Hold),
            ButtonAction::Next | ButtonAction::Acknowledge => Some(Intent::Acknowledge),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(action: ButtonAction, milliseconds: u64) -> Option<Intent> {
        let mut button = PressedButton::new(action);
        assert_eq!(button.edge(true, Duration::from_secs(7)), None, "not before it is let go");
        button.edge(false, Duration::from_secs(7) + Duration::from_millis(milliseconds))
    }

    #[test]
    fn a_short_press_is_the_next_page_and_a_long_one_acknowledges() {
        assert_eq!(pressed(ButtonAction::Next, 80), Some(Intent::Next));
        assert_eq!(pressed(ButtonAction::Next, 999), Some(Intent::Next));
        assert_eq!(pressed(ButtonAction::Next, 1000), Some(Intent::Acknowledge));
        for long in [80, 1500] {
            assert_eq!(pressed(ButtonAction::Hold, long), Some(Intent::Hold));
            assert_eq!(pressed(ButtonAction::Acknowledge, long), Some(Intent::Acknowledge));
        }
    }

    #[test]
    fn what_leans_on_a_button_wants_nothing() {
        for action in [ButtonAction::Next, ButtonAction::Hold, ButtonAction::Acknowledge] {
            assert_eq!(pressed(action, 10_000), None);
        }
    }

    #[test]
    fn an_edge_without_its_partner_is_no_press() {
        let at = Duration::from_secs;
        let mut button = PressedButton::new(ButtonAction::Next);
        assert_eq!(button.edge(false, at(1)), None, "it was pressed before the program began");
        button.edge(true, at(2));
        button.edge(true, at(20));
        assert_eq!(button.edge(false, at(20)), Some(Intent::Next), "the edge between was lost");
        assert_eq!(button.edge(false, at(21)), None);
    }
}
