//! What the words of a condition consist of, for the panel, a message and the log.

/// The words of a condition.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Words {
    /// At most [`TITLE_COLUMNS`] characters: a line of the panel.
    pub title: String,
    /// The title without figures, for when the condition is over.
    pub name: String,
    /// One sentence.
    pub sentence: String,
    /// What the owner can do, in a line of the panel.
    pub brief: String,
    /// Whether the box is switched off first for that.
    pub off: Off,
    /// What must stay in, in a line of the panel, whenever nothing more may be lost.
    pub leave_in: Option<String>,
    /// What the owner can do.
    pub advice: String,
    /// What would make it worse.
    pub warning: String,
    /// What was measured, against which limit.
    pub evidence: Vec<String>,
}

/// Whether what is advised begins with switching off: the table of words says so beside each advice.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Off {
    /// It touches nothing.
    #[default]
    Never,
    /// It touches trays, which may be changed in some boxes while they are on.
    Trays,
    /// It touches cables, cards or supplies.
    Always,
}

/// Columns of the panel's small face.
pub const TITLE_COLUMNS: usize = 21;

/// So much of the text as fits.
pub(super) fn short(text: &str, columns: usize) -> String {
    traylight_display::text::fit(text, columns).into_owned()
}

/// A figure without a fraction.
pub(super) fn whole(figure: f64) -> String {
    format!("{figure:.0}")
}
