//! What `traylight look --json` said, and picking it apart with errors that say what was found.

use crate::lab::error::LabError;
use crate::lab::machine::Output;
use serde_json::Value;

/// One reading of the box.
#[derive(Debug)]
pub struct Look {
    document: Value,
    /// The exit code: 0 nothing wrong, 10 a warning, 20 critical.
    pub code: i32,
}

impl Look {
    /// From what the command printed, and what it said of errors.
    pub fn of(output: &Output, errors: &str) -> Result<Self, LabError> {
        let document = serde_json::from_str(&output.text).map_err(|error| {
            let found = format!("{error} in {:?}, exit code {}, errors {errors:?}", output.text, output.code);
            LabError::unexpected("look --json", "a JSON document", found)
        })?;
        Ok(Self { document, code: output.code })
    }

    /// The one item of a list that has this value under this key.
    pub fn item(&self, list: &str, key: &str, value: &str) -> Result<Item<'_>, LabError> {
        let items = self.document[list].as_array().map(Vec::as_slice).unwrap_or_default();
        let mut matching = items.iter().filter(|item| item[key].as_str() == Some(value));
        match (matching.next(), matching.next()) {
            (Some(item), None) => Ok(Item { item, place: format!("{list} with {key} {value}") }),
            _ => {
                let found = self.document[list].to_string();
                Err(LabError::unexpected(format!("look, {list}"), format!("one with {key} {value:?}"), found))
            }
        }
    }

    /// The one item of a list.
    pub fn only(&self, list: &str) -> Result<Item<'_>, LabError> {
        match self.document[list].as_array().map(Vec::as_slice) {
            Some([item]) => Ok(Item { item, place: format!("the one of {list}") }),
            _ => Err(self.unexpected(list, "exactly one".into())),
        }
    }

    /// All items of a list.
    pub fn items(&self, list: &str) -> impl Iterator<Item = &Value> {
        self.document[list].as_array().into_iter().flatten()
    }

    /// The one condition of this kind that is told with these words.
    pub fn condition(&self, id: &str, words: &str) -> Result<Item<'_>, LabError> {
        let mut matching = self.told(id, words);
        match (matching.next(), matching.next()) {
            (Some(item), None) => Ok(Item { item, place: format!("condition {id} of {words:?}") }),
            _ => Err(self.unexpected("conditions", format!("one {id} of {words:?}"))),
        }
    }

    /// Whether no condition of this kind is told with these words.
    pub fn must_not_tell(&self, id: &str, words: &str) -> Result<(), LabError> {
        match self.told(id, words).next() {
            None => Ok(()),
            Some(_) => Err(self.unexpected("conditions", format!("no {id} of {words:?}"))),
        }
    }

    fn told(&self, id: &str, words: &str) -> impl Iterator<Item = &Value> {
        self.items("conditions").filter(move |condition| {
            condition["id"] == id && condition["sentence"].as_str().is_some_and(|sentence| sentence.contains(words))
        })
    }

    /// Whether so many conditions are of this incident.
    pub fn must_have_conditions(&self, incident: &Item, count: usize) -> Result<(), LabError> {
        match self.items("conditions").filter(|condition| condition["incident"] == incident.item["id"]).count() {
            found if found == count => Ok(()),
            _ => Err(self.unexpected("conditions", format!("{count} of {}", incident.place))),
        }
    }

    /// An error that shows a list.
    pub fn unexpected(&self, list: &str, wanted: String) -> LabError {
        LabError::unexpected(format!("look, {list}"), wanted, self.document[list].to_string())
    }

    /// Whether the exit code is this one.
    pub fn must_exit_with(&self, code: i32) -> Result<(), LabError> {
        if self.code == code {
            return Ok(());
        }
        let found = format!("{} with the conditions {}", self.code, self.document["conditions"]);
        Err(LabError::unexpected("look", format!("exit code {code}"), found))
    }
}

/// One item of a list, such as a drive.
#[derive(Debug)]
pub struct Item<'a> {
    item: &'a Value,
    place: String,
}

impl Item<'_> {
    /// What the path (as in RFC 6901, such as `/counters/power_cycles`) leads to; `null` when it leads nowhere.
    pub fn value(&self, path: &str) -> Value {
        self.item.pointer(path).cloned().unwrap_or(Value::Null)
    }

    /// The file of a drive, such as `/dev/sda`.
    pub fn device(&self) -> Result<String, LabError> {
        self.text("device").map(|name| format!("/dev/{name}"))
    }

    /// The text of a key.
    pub fn text(&self, key: &str) -> Result<String, LabError> {
        let wrong = || LabError::unexpected(format!("{}, {key}", self.place), "a text", self.item.to_string());
        self.item[key].as_str().map(str::to_owned).ok_or_else(wrong)
    }

    /// Whether the key is `null`, for a reason that has this id, or with this behind it.
    pub fn must_be_missing(&self, key: &str, id: &str) -> Result<(), LabError> {
        let missing = &self.item["missing"][key];
        if self.item[key].is_null() && (missing["reason"] == id || missing["why"] == id) {
            return Ok(());
        }
        let wanted = format!("null, with the reason `{id}`");
        Err(LabError::unexpected(format!("{}, {key}", self.place), wanted, self.item.to_string()))
    }

    /// Whether the key has this text.
    pub fn must_be(&self, key: &str, wanted: &str) -> Result<(), LabError> {
        if self.item[key].as_str() == Some(wanted) {
            return Ok(());
        }
        Err(LabError::unexpected(format!("{}, {key}", self.place), wanted, self.item.to_string()))
    }

    /// Whether the key has a number between these two.
    pub fn must_be_between(&self, key: &str, least: f64, most: f64) -> Result<(), LabError> {
        if self.item[key].as_f64().is_some_and(|number| (least..=most).contains(&number)) {
            return Ok(());
        }
        let wanted = format!("{least} to {most}");
        Err(LabError::unexpected(format!("{}, {key}", self.place), wanted, self.item.to_string()))
    }

    /// Whether the key has a text with these words in it.
    pub fn must_say(&self, key: &str, words: &str) -> Result<(), LabError> {
        if self.item[key].as_str().is_some_and(|text| text.contains(words)) {
            return Ok(());
        }
        let wanted = format!("a text with {words:?}");
        Err(LabError::unexpected(format!("{}, {key}", self.place), wanted, self.item.to_string()))
    }

    /// Whether the key says yes.
    pub fn must_be_true(&self, key: &str) -> Result<(), LabError> {
        if self.item[key] == true {
            return Ok(());
        }
        Err(LabError::unexpected(format!("{}, {key}", self.place), "true", self.item.to_string()))
    }

    /// Whether the key has a list of these texts.
    pub fn must_list(&self, key: &str, wanted: &[&str]) -> Result<(), LabError> {
        if self.item[key] == serde_json::json!(wanted) {
            return Ok(());
        }
        Err(LabError::unexpected(format!("{}, {key}", self.place), format!("{wanted:?}"), self.item.to_string()))
    }

    /// How many items a list inside it has.
    pub fn must_count(&self, key: &str, wanted: usize) -> Result<(), LabError> {
        if self.item[key].as_array().map(Vec::len) == Some(wanted) {
            return Ok(());
        }
        Err(LabError::unexpected(format!("{}, {key}", self.place), wanted.to_string(), self.item.to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(text: &str) -> Look {
        Look::of(&Output { text: text.into(), code: 0 }, "").unwrap()
    }

    #[test]
    fn a_missing_value_is_never_taken_for_a_number() {
        let look = look(r#"{"fans": [{"key": "adt7475/fan1", "speed_rpm": null}]}"#);
        let fan = look.item("fans", "key", "adt7475/fan1").unwrap();
        assert!(fan.must_be_between("speed_rpm", 0.0, 9999.0).is_err());
    }

    #[test]
    fn two_of_the_same_are_as_wrong_as_none() {
        let look = look(r#"{"drives": [{"serial": "TRAY-A"}, {"serial": "TRAY-A"}]}"#);
        assert!(look.item("drives", "serial", "TRAY-A").is_err());
        assert!(look.item("drives", "serial", "TRAY-B").is_err());
    }

    #[test]
    fn words_in_place_of_a_document_are_shown() {
        let error = Look::of(&Output { text: "half a {".into(), code: 1 }, "no bus").unwrap_err().to_string();
        assert!(error.contains("\"half a {\", exit code 1, errors \"no bus\""), "{error}");
    }
}
