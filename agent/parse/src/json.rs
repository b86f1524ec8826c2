//! JSON as it came: order and repeated keys are kept, wrong types are the reader's to judge, and depth is bounded.

use serde::de::{DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use std::fmt;

/// Deeper nesting than this is refused: whoever reads has a small stack.
const DEEPEST: usize = 32;

/// A piece of JSON.
#[derive(Debug, Clone, PartialEq)]
pub enum Json {
    /// A whole number that is not below zero.
    Number(u64),
    /// Text.
    Text(String),
    /// Keys and values, in the order of the document; a key may come twice.
    Map(Vec<(String, Json)>),
    /// Anything else: nothing that is read here.
    Other,
}

impl Json {
    /// Reads one document.
    pub fn read(text: &str) -> Result<Self, String> {
        let mut reader = serde_json::Deserializer::from_str(text);
        let found = Piece { depth: 0 }.deserialize(&mut reader);
        found.and_then(|json| reader.end().map(|()| json)).map_err(|error| format!("JSON: {error}"))
    }

    /// The keys and values of a map; of anything else, none.
    pub fn entries(&self) -> &[(String, Self)] {
        if let Self::Map(entries) = self { entries } else { &[] }
    }

    /// The value of a key; the first, if it comes twice.
    pub fn get(&self, key: &str) -> Option<&Self> {
        self.entries().iter().find(|(found, _)| found == key).map(|(_, value)| value)
    }

    /// The text of a key.
    pub fn text(&self, key: &str) -> Option<&str> {
        if let Self::Text(text) = self.get(key)? { Some(text) } else { None }
    }
}

#[derive(Clone, Copy)]
struct Piece {
    depth: usize,
}

impl Piece {
    fn below<E: Error>(self) -> Result<Self, E> {
        let depth = self.depth + 1;
        if depth > DEEPEST { Err(E::custom(format!("found more than {DEEPEST} levels"))) } else { Ok(Self { depth }) }
    }
}

impl<'de> DeserializeSeed<'de> for Piece {
    type Value = Json;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Json, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Piece {
    type Value = Json;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_bool<E>(self, _: bool) -> Result<Json, E> {
        Ok(Json::Other)
    }

    fn visit_unit<E>(self) -> Result<Json, E> {
        Ok(Json::Other)
    }

    fn visit_f64<E>(self, _: f64) -> Result<Json, E> {
        Ok(Json::Other)
    }

    fn visit_i64<E>(self, _: i64) -> Result<Json, E> {
        Ok(Json::Other)
    }

    fn visit_u64<E>(self, number: u64) -> Result<Json, E> {
        Ok(Json::Number(number))
    }

    fn visit_str<E>(self, text: &str) -> Result<Json, E> {
        Ok(Json::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Json, A::Error> {
        let below = self.below()?;
        while list.next_element_seed(below)?.is_some() {}
        Ok(Json::Other)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Json, A::Error> {
        let below = self.below()?;
        let mut entries = Vec::new();
        while let Some(key) = map.next_key::<String>()? {
            entries.push((key, map.next_value_seed(below)?));
        }
        Ok(Json::Map(entries))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_repeated_keys_and_large_numbers_are_kept() {
        let json = Json::read(r#"{"b":18446744073709551615,"a":"x","b":[1,{"c":null}],"d":-1,"e":1.5,"f":true}"#);
        let wanted = [
            ("b", Json::Number(u64::MAX)),
            ("a", Json::Text("x".into())),
            ("b", Json::Other),
            ("d", Json::Other),
            ("e", Json::Other),
            ("f", Json::Other),
        ];
        assert_eq!(json, Ok(Json::Map(wanted.map(|(key, value)| (key.to_owned(), value)).to_vec())));
    }

    #[test]
    fn a_document_is_whole_and_one_and_not_too_deep() {
        for odd in ["", "{", r#"{"a""#, "{} {}", "{}x", "nan"] {
            assert!(Json::read(odd).is_err(), "{odd}");
        }
        let nested = |levels: usize| Json::read(&format!("{}{}", "[".repeat(levels), "]".repeat(levels)));
        // As little room as the probe's workers have.
        let deepest = std::thread::Builder::new().stack_size(128 << 10).spawn(move || nested(DEEPEST));
        assert_eq!(deepest.expect("a thread").join().expect("an answer"), Ok(Json::Other));
        assert!(nested(DEEPEST + 1).is_err_and(|why| why.contains("found more than 32 levels")));
        assert!(nested(500_000).is_err());
    }
}
