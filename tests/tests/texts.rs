//! What a person reads, as a whole: the sheet of texts has all of it, and nothing on it stays open.

use traylight_tests::texts::{sheet, tables};

#[test]
fn every_place_of_the_word_tables_has_a_sample_on_the_sheet() {
    let sheet = sheet();
    let words = sheet.split("\n==== ").next().unwrap_or_default();
    let open: Vec<&str> = words.lines().filter(|line| line.contains('{')).collect();
    assert_eq!(open, [""; 0], "add a sample for these places to tests/src/samples.rs");
    let entries = tables();
    assert!(entries.len() > 700, "the tables were not read: {} texts", entries.len());
    assert!(entries.iter().all(|entry| !entry.german.is_empty()), "both tables have the same keys");
    assert!(sheet.contains("==== traylight rehearse --help ===="), "help is on the sheet");
}
