//! Setting up a box: a walk of questions that ends with named trays in the configuration, and labels to print.
//!
//! In reading order: `candidates` are the drives that trays can hold; `walk` is how far the owner has come, `step` what is
//! asked next and what an answer changes; `spoken` puts questions into words, `drawing` draws the shelves. `document` edits
//! the configuration's text, `difference` shows what would change in it, `sheet` and `sheet_svg` make the labels. Only
//! `files` touches files. Another step is a variant of `Step`, its answer in `step` and its words in `spoken`.

mod candidates;
mod difference;
mod document;
mod drawing;
mod files;
mod sheet;
mod sheet_svg;
mod spoken;
mod step;
#[cfg(test)]
mod tests;
mod walk;

pub use candidates::{Candidate, candidates};
pub use difference::difference;
pub use document::with_shelves;
pub use drawing::drawing;
pub use files::{Kept, replace, write_sheet};
pub use sheet::{SheetLabel, labels, sheet_text};
pub use sheet_svg::sheets_svg;
pub use spoken::{Spoken, spoken, wrong};
pub use step::{Answer, Scene, Step, Wrong, answer, next};
pub use walk::{Holds, PlannedShelf, PlannedTray, Walk, Way};
