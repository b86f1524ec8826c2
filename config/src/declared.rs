//! All sections and keys that there are, and what is made from them: the default file and the schema.

use crate::notes::Notes;
use crate::outline::Outline;
use crate::reader::read_file;
use crate::sections::settings;
use std::sync::LazyLock;
use toml::de::DeTable;

/// The fully commented file that ships with the program, made from the declarations. It settles to `Settings::default()`.
pub fn default_file() -> String {
    OUTLINE.default_file()
}

/// The JSON Schema (draft 2020-12) of the file, for editors, made from the declarations.
pub fn schema() -> String {
    OUTLINE.json_schema()
}

/// All sections and keys that there are.
pub(crate) static OUTLINE: LazyLock<Outline> = LazyLock::new(|| {
    let mut notes = Notes::new("", Vec::new());
    notes.is_outline = true;
    read_file(&mut notes, DeTable::new(), settings).1
});
