//! Templates: text with places such as `{{title}}` that are filled in when an alert leaves.
//!
//! What a place becomes, and how it is made safe for the text around it, is said by whoever fills it in.

use crate::suggest::nearest;
use crate::values::{Read, Refusal};

/// A text with places to fill in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Template {
    pieces: Vec<Piece>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Text(String),
    Place(Field),
}

/// What can be filled in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// The name of the box.
    Box,
    /// What happened: `opened`, `closed` and so on.
    Update,
    /// `notice`, `warning` or `critical`.
    Severity,
    /// The title, as on the panel.
    Title,
    /// The subject line of a mail.
    Subject,
    /// One sentence.
    Sentence,
    /// What the owner can do.
    Advice,
    /// What would make it worse.
    Warning,
    /// The labels of the trays.
    Trays,
    /// Since when.
    Since,
    /// The name that is the same for every message of one incident.
    Incident,
    /// The name that no other message has.
    Id,
    /// All of it as a mail would have it.
    Text,
    /// The whole message as JSON, as it is without a template.
    Json,
}

const FIELDS: [(&str, Field); 14] = [
    ("box", Field::Box),
    ("update", Field::Update),
    ("severity", Field::Severity),
    ("title", Field::Title),
    ("subject", Field::Subject),
    ("sentence", Field::Sentence),
    ("advice", Field::Advice),
    ("warning", Field::Warning),
    ("trays", Field::Trays),
    ("since", Field::Since),
    ("incident", Field::Incident),
    ("id", Field::Id),
    ("text", Field::Text),
    ("json", Field::Json),
];

impl Template {
    /// Fills in every place.
    pub fn filled(&self, value: impl Fn(Field) -> String) -> String {
        let piece = |piece: &Piece| match piece {
            Piece::Text(text) => text.clone(),
            Piece::Place(field) => value(*field),
        };
        self.pieces.iter().map(piece).collect()
    }
}

/// Takes a text apart at its places.
pub(crate) fn parse(text: &str) -> Read<Template> {
    let (mut pieces, mut rest) = (Vec::new(), text);
    while let Some((before, after)) = rest.split_once("{{") {
        let Some((name, later)) = after.split_once("}}") else {
            return Err(Refusal { expected: "a template in which every {{ has its }}".into(), hint: None });
        };
        pieces.push(Piece::Text(before.to_owned()));
        pieces.push(Piece::Place(field(name.trim())?));
        rest = later;
    }
    pieces.push(Piece::Text(rest.to_owned()));
    pieces.retain(|piece| *piece != Piece::Text(String::new()));
    Ok(Template { pieces })
}

fn field(name: &str) -> Read<Field> {
    let known = FIELDS.iter().map(|(known, _)| *known);
    FIELDS.iter().find(|(known, _)| *known == name).map(|(_, field)| *field).ok_or_else(|| Refusal {
        expected: format!("a template whose places are of {}", known.clone().collect::<Vec<_>>().join(", ")),
        hint: nearest(name, known).map(|known| format!("did you mean {{{{{known}}}}}?")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(text: &str) -> String {
        parse(text).unwrap().filled(|field| format!("<{field:?}>"))
    }

    #[test]
    fn places_are_filled_in_and_all_else_stays() {
        assert_eq!(filled("{{severity}}: {{ title }}!"), "<Severity>: <Title>!");
        assert_eq!(filled(""), "");
        assert_eq!(filled(r#"{"a":{"b":"{{id}}"}}"#), r#"{"a":{"b":"<Id>"}}"#);
        for (name, field) in FIELDS {
            assert_eq!(filled(&format!("{{{{{name}}}}}")), format!("<{field:?}>"));
        }
    }

    #[test]
    fn a_place_that_is_unknown_or_open_is_refused() {
        assert_eq!(parse("{{titel}}").unwrap_err().hint.as_deref(), Some("did you mean {{title}}?"));
        assert_eq!(parse("a {{title").unwrap_err().expected, "a template in which every {{ has its }}");
        let expected = "a template whose places are of box, update, severity, title, subject, sentence, advice, warning, \
                      trays, since, incident, id, text, json";
        assert_eq!(parse("{{}}").unwrap_err(), Refusal { expected: expected.into(), hint: None });
    }
}
