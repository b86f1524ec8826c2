//! Questions on the terminal, by the prompt library. Ctrl-C and Escape end a question without an answer; the terminal is then
//! as it was.

use super::terminal::{can_ask, screen};
use inquire::ui::RenderConfig;
use inquire::{InquireError, Select, Text};
use std::io;
use traylight::text::one_line;

/// Asks on the terminal that started us.
pub struct Prompts(());

impl Prompts {
    /// # Errors
    /// When there is no terminal that can show questions.
    pub fn new() -> io::Result<Self> {
        if can_ask() {
            return Ok(Self(()));
        }
        Err(io::Error::other("setup asks questions: expected a terminal that can move its cursor, found none"))
    }

    /// A text, or what an empty one stands for. `None`: it was stopped.
    pub fn text(&self, question: &str, proposed: Option<&str>, help: Option<&str>) -> io::Result<Option<String>> {
        let (question, proposed) = (shown(question), proposed.map(shown));
        let help = help.map(shown);
        let mut prompt = Text::new(&question).with_render_config(looks());
        prompt.default = proposed.as_deref();
        prompt.help_message = help.as_deref();
        unless_stopped(prompt.prompt())
    }

    /// One of several, as its place among them. `None`: it was stopped.
    pub fn choice(&self, question: &str, choices: &[&str]) -> io::Result<Option<usize>> {
        let question = shown(question);
        let choices = choices.iter().map(|choice| shown(choice)).collect();
        let prompt = Select::new(&question, choices).with_render_config(looks()).without_help_message();
        Ok(unless_stopped(prompt.without_filtering().raw_prompt())?.map(|chosen| chosen.index))
    }
}

/// As the terminal can show it, without what would steer it.
fn shown(text: &str) -> String {
    screen().spelled(&one_line(text)).into_owned()
}

fn looks() -> RenderConfig<'static> {
    if screen().has_colours { RenderConfig::default_colored() } else { RenderConfig::empty() }
}

fn unless_stopped<T>(answer: Result<T, InquireError>) -> io::Result<Option<T>> {
    match answer {
        Ok(answer) => Ok(Some(answer)),
        Err(InquireError::OperationCanceled | InquireError::OperationInterrupted) => Ok(None),
        Err(InquireError::IO(error)) => Err(error),
        Err(other) => Err(io::Error::other(other.to_string())),
    }
}
