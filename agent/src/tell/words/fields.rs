//! Words of plain facts: the key ends in the id of the variant, a place of the text is filled with the field of that name.

use super::phrases::{Language, Phrases, filled};
use serde::Serialize;
use serde_json::Value;

/// How a field is written in a text; `None` for one that has no words.
pub type Written<'a> = &'a dyn Fn(&str, &Value) -> Option<String>;

/// The words of a variant with this id below this section.
pub fn by_fields(section: &str, id: &str, facts: &impl Serialize, written: Written, language: Language) -> String {
    let facts = serde_json::to_value(facts).unwrap_or_default();
    let fill = |place: &str| written(place, facts.get(place)?);
    filled(language.plain(&key(section, id, &facts)), &fill).unwrap_or_default()
}

/// A text as it is, a number in digits.
pub fn plainly(fact: &Value) -> String {
    match fact {
        Value::String(text) => text.clone(),
        number => number.to_string(),
    }
}

/// One of its own where a fact is not known; a unit behind the fact's name is no part of the key.
pub(super) fn key(section: &str, id: &str, facts: &Value) -> String {
    let absent = facts.as_object().and_then(|facts| facts.iter().find(|(_, fact)| fact.is_null()));
    match absent.and_then(|(name, _)| name.split('_').next()) {
        Some(name) => format!("{section}.{id}-without-{name}"),
        None => format!("{section}.{id}"),
    }
}
