//! The shelves in the configuration's text, edited in place: comments, order and all other keys stay as their owner wrote
//! them.

use super::walk::{Holds, PlannedShelf, PlannedTray};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, TomlError, Value};

/// Behind all tables that the text has.
const AT_THE_END: isize = i32::MAX as isize;

/// The text with these shelves.
///
/// # Errors
/// When the text is not TOML.
pub fn with_shelves(text: &str, shelves: &[PlannedShelf]) -> Result<String, TomlError> {
    let mut document: DocumentMut = text.parse()?;
    let before = tables(document.remove("shelf"));
    let mut old_trays: Vec<Table> = before.iter().flat_map(|shelf| tables(shelf.get("tray").cloned())).collect();
    let is_as_before = arrangement(&before) == arrangement_of(shelves);
    let position = before.iter().next().map_or(Some(AT_THE_END), Table::position);

    let mut after = ArrayOfTables::new();
    for (index, planned) in shelves.iter().enumerate() {
        let mut shelf = before.get(index).cloned().unwrap_or_default();
        shelf.remove("tray");
        put(&mut shelf, "name", &planned.name);
        let mut trays = ArrayOfTables::new();
        for planned in &planned.trays {
            let is_it = |tray: &Table| tray.get("label").and_then(Item::as_str) == Some(&planned.label);
            let old = old_trays.iter().position(is_it).map(|at| old_trays.remove(at));
            let mut tray = old.unwrap_or_default();
            fill(&mut tray, planned);
            if !is_as_before {
                tray.set_position(position);
            }
            trays.push(tray);
        }
        if !is_as_before {
            shelf.set_position(position);
        }
        shelf.insert("tray", Item::ArrayOfTables(trays));
        after.push(shelf);
    }
    // What follows the last table, such as keys that are commented out, belongs to that table and not to a shelf.
    if before.is_empty() {
        let rest = document.trailing().as_str().unwrap_or_default().trim_end().to_owned();
        if let (false, Some(first)) = (rest.is_empty(), after.get_mut(0)) {
            first.decor_mut().set_prefix(format!("{rest}\n\n"));
            document.set_trailing("");
        }
    }
    document.insert("shelf", Item::ArrayOfTables(after));
    Ok(document.to_string())
}

/// The tables of an array, however it is written.
fn tables(item: Option<Item>) -> ArrayOfTables {
    item.and_then(|item| item.into_array_of_tables().ok()).unwrap_or_default()
}

/// The labels of each shelf.
fn arrangement(shelves: &ArrayOfTables) -> Vec<Vec<String>> {
    let label = |tray: &Table| tray.get("label").and_then(Item::as_str).unwrap_or_default().to_owned();
    shelves.iter().map(|shelf| tables(shelf.get("tray").cloned()).iter().map(label).collect()).collect()
}

fn arrangement_of(shelves: &[PlannedShelf]) -> Vec<Vec<String>> {
    shelves.iter().map(|shelf| shelf.trays.iter().map(|tray| tray.label.clone()).collect()).collect()
}

fn fill(tray: &mut Table, planned: &PlannedTray) {
    put(tray, "label", &planned.label);
    let (keep, drop, name) = match &planned.holds {
        Some(Holds::Serial(serial)) => (Some("serial"), vec!["port"], serial.as_str()),
        Some(Holds::Port(port)) => (Some("port"), vec!["serial"], port.as_str()),
        None | Some(Holds::Nothing) => (None, vec!["serial", "port"], ""),
    };
    for key in drop {
        remove(tray, key);
    }
    if let Some(key) = keep {
        put(tray, key, name);
    }
}

/// Sets a value; the comments around it stay.
fn put(table: &mut Table, key: &str, text: &str) {
    let mut value = Value::from(text);
    match table.get_mut(key) {
        Some(item) if item.as_str() == Some(text) => {}
        Some(item) => {
            if let Some(before) = item.as_value() {
                *value.decor_mut() = before.decor().clone();
            }
            *item = Item::Value(value);
        }
        None => drop(table.insert(key, Item::Value(value))),
    }
}

/// Removes a value; the comments around it move above the table.
fn remove(table: &mut Table, key: &str) {
    let Some((key, item)) = table.remove_entry(key) else { return };
    let above = key.leaf_decor().prefix().and_then(|prefix| prefix.as_str()).unwrap_or_default();
    let beside = item.as_value().and_then(|value| value.decor().suffix()?.as_str()).unwrap_or_default();
    let comments = [above, beside].map(str::trim).join("\n");
    if comments.trim().is_empty() {
        return;
    }
    let before = table.decor().prefix().and_then(|prefix| prefix.as_str()).unwrap_or("\n").to_owned();
    table.decor_mut().set_prefix(format!("{before}{}\n", comments.trim()));
}
