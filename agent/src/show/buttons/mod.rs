//! Buttons before the panel: `press` is what one of them means, `lines` hears them; the kernel has taken the bouncing out.

#[cfg(feature = "buttons")]
mod lines;
mod press;

#[cfg(feature = "buttons")]
pub use press::PressedButton;
pub use press::{ButtonEvent, Intent};
use tokio::sync::mpsc::UnboundedSender;
use traylight_config::Button;

/// The buttons that are listened to, each in a thread of its own. Dropping it ends them and lets their lines go.
#[derive(Default)]
pub struct Buttons {
    wanted: Vec<Button>,
    #[cfg(feature = "buttons")]
    lines: Vec<lines::Listening>,
}

impl Buttons {
    /// The settings that they go by.
    #[cfg(test)]
    pub fn made_from(&self) -> &[Button] {
        &self.wanted
    }

    /// Listens to these buttons from now on, and to no others.
    pub fn listen(&mut self, wanted: &[Button], said: &UnboundedSender<ButtonEvent>) {
        if self.wanted == wanted {
            return;
        }
        // A line has one holder: the old ones let go first.
        *self = Self { wanted: wanted.to_vec(), ..Self::default() };
        for button in wanted {
            let which = format!("the button on line {} of {}", button.line, button.chip);
            #[cfg(feature = "buttons")]
            match lines::Listening::start(button.clone(), which.clone(), said.clone()) {
                Ok(listening) => self.lines.push(listening),
                Err(error) => drop(said.send(ButtonEvent::Unavailable(format!("{which}: {error}")))),
            }
            #[cfg(not(feature = "buttons"))]
            let _ = said.send(ButtonEvent::Unavailable(format!("{which}: this build has no support for buttons")));
        }
    }
}
