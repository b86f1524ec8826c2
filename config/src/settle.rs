//! From the text of a file to settings, or to every problem in it.

use crate::discreet::hidden;
use crate::notes::{Note, Notes};
use crate::problem::{Problem, Problems};
use crate::reader::read_file;
use crate::sections::{Settings, settings};
use crate::source::clean;
use toml::de::DeTable;

/// The most bytes a configuration file may have. The default file has a fiftieth of it.
const LARGEST_FILE: usize = 256 * 1024;

/// Settles the text of a configuration file. `file` is its name, for messages only.
///
/// # Errors
///
/// Every problem in the text, in its order. Text that is not TOML is one problem: the rest cannot be judged.
pub fn settle(text: &str, file: &str) -> Result<Settings, Problems> {
    if text.len() > LARGEST_FILE {
        let message = format!("expected at most {LARGEST_FILE} bytes, found {}", text.len());
        let file = clean(file);
        let problem = Problem { file, line: 1, column: 1, message, hint: None, excerpts: Vec::new() };
        return Err(Problems { told: vec![problem], untold: 0 });
    }
    // Some editors start a file with a byte order mark. It is no part of the first line.
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let mut notes = Notes::new(text, hidden(text));
    let settings = match DeTable::parse(text) {
        Ok(table) => read_file(&mut notes, table.into_inner(), settings).0,
        Err(error) => {
            notes.add(syntax(&error));
            Settings::default()
        }
    };
    let settings = Settings { written: std::mem::take(&mut notes.written), ..settings };
    notes.report(file).map_or(Ok(settings), Err)
}

/// What the TOML parser says, in its own words.
fn syntax(error: &toml::de::Error) -> Note {
    let message = clean(&error.message().replace('\n', "; "));
    Note { at: error.span().unwrap_or(0..0), message: format!("not valid TOML: {message}"), hint: None, also: None }
}

impl Default for Settings {
    fn default() -> Self {
        read_file(&mut Notes::new("", Vec::new()), DeTable::new(), settings).0
    }
}
