//! How the box stands, for ways that keep a state besides telling what is new.

/// How the box stands.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BoxState {
    /// The name of the box.
    pub box_name: String,
    /// The box, as one JSON object.
    pub whole: String,
    /// Each tray by its label, as one JSON object.
    pub trays: Vec<(String, String)>,
    /// True when all is well, as the verdict says it.
    pub is_fine: bool,
    /// One sentence for the message that all is well.
    pub sentence: String,
}
