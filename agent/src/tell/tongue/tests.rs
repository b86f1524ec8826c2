//! The tables of words: each language has all of them, with the same places, and none is left over.
#![allow(clippy::disallowed_methods, reason = "the sources are read for the keys that they use")]

use super::*;
use crate::verdict::Cause;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// The names of a text's places, in small letters.
fn places(text: &str) -> BTreeSet<String> {
    let name = |piece: &str| Some(piece.split_once('}')?.0.split(':').next()?.to_lowercase());
    text.split('{').skip(1).filter_map(name).collect()
}

#[test]
fn all_languages_have_the_same_keys_with_the_same_places() {
    let english = &Tongue::English.table().0;
    assert!(english.len() > 700, "the table was not read: {} keys", english.len());
    for tongue in Tongue::ALL {
        let table = &tongue.table().0;
        let keys = |table: &HashMap<String, String>| table.keys().cloned().collect::<BTreeSet<String>>();
        let odd: Vec<String> = keys(table).symmetric_difference(&keys(english)).cloned().collect();
        assert_eq!(odd, [""; 0], "only one of English and {tongue:?} has these");
        for (key, text) in table {
            assert_eq!(places(text), places(&english[key]), "{tongue:?} {key}: {text}");
            assert!(!text.is_empty() && !text.contains('\n'), "{tongue:?} {key}: {text}");
        }
    }
}

/// All texts in double quotes of the sources beside the tables, but for those of tests.
fn quoted() -> BTreeSet<String> {
    fn sources(folder: &Path, found: &mut Vec<String>) {
        for entry in fs::read_dir(folder).expect("the sources are there").flatten() {
            let path = entry.path();
            let is_test = path.file_stem().is_some_and(|name| name == "tests" || name == "stories");
            match path.is_dir() {
                _ if is_test => {}
                true => sources(&path, found),
                false => found.push(fs::read_to_string(&path).unwrap_or_default()),
            }
        }
    }
    let mut found = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut found);
    found.iter().flat_map(|source| source.split('"')).map(str::to_owned).collect()
}

#[test]
fn every_key_is_used_and_every_key_that_is_used_exists() {
    let table = &Tongue::English.table().0;
    let mut used = quoted();
    // Causes are found by their names in documents.
    let speaks = |cause: &Cause| !matches!(cause, Cause::Unclear | Cause::AsItSays);
    used.extend(Cause::ALL.into_iter().filter(speaks).map(|cause| format!("cause.{}", cause.id())));
    let section = |key: &'static String| key.rsplit_once('.').map(|(section, _)| section.trim_end_matches(".evidence"));
    let sections: BTreeSet<&str> = table.keys().filter_map(section).collect();
    let is_used = |key: &str| {
        let Some((section, field)) = key.rsplit_once('.') else { return false };
        let evidence = section.strip_suffix(".evidence");
        let (section, field) = evidence.map_or((section, field), |section| (section, "evidence"));
        // A field of a condition or a cause is fetched with its section, or with one below it.
        let fields = ["title", "name", "sentence", "brief", "what", "advice", "warning", "evidence", "test"];
        let below = format!("{section}.");
        let is_whole = fields.contains(&field) && used.iter().any(|text| text == section || text.starts_with(&below));
        let is_form = ["one", "many"].contains(&field) && used.contains(section);
        used.contains(key) || is_whole || is_form
    };
    let left_over: Vec<&String> = table.keys().filter(|key| !is_used(key)).collect();
    assert_eq!(left_over, [""; 0], "nothing uses these");
    let is_key = |text: &&String| {
        let section = text.split_once('.').map(|(section, _)| section);
        let looks_like_one = text.chars().all(|c| c.is_ascii_lowercase() || "-.".contains(c));
        looks_like_one && section.is_some_and(|section| table.keys().any(|key| key.starts_with(&format!("{section}."))))
    };
    let has_forms = |text: &str| table.contains_key(&format!("{text}.one"));
    let exists = |text: &str| table.contains_key(text) || sections.contains(text) || has_forms(text);
    let absent: Vec<&String> = used.iter().filter(is_key).filter(|text| !exists(text)).collect();
    assert_eq!(absent, [""; 0], "these are asked for and not there");
}

#[test]
fn places_are_filled_cut_and_begun_with_a_capital() {
    let places: Places = &[("drive", &"örtliche Platte"), ("mount", &"/srv/recordings"), ("n", &3)];
    assert_eq!(filled("{Drive} in {mount:9}, {n}", places), "Örtliche Platte in /srv/rec…, 3");
    assert_eq!(filled("{drive}", &[("drive", &"{n} {"), ("n", &3)]), "{n} {", "what is put in is not looked at again");
    assert_eq!(filled("a {place that does not end", &[("place that does not end", &"b")]), "a b");
}

#[test]
fn figures_and_times_stand_in_a_sentence_as_its_language_has_them() {
    let say = |tongue: Tongue| {
        let day = Duration::from_secs(86_400);
        let estimate = Estimate { soonest: 27 * day, middle: 41 * day, latest: Some(66 * day) };
        let open = Estimate { latest: None, ..estimate };
        let exact = Estimate { soonest: 41 * day, latest: Some(41 * day), ..estimate };
        [
            tongue.figure(crate::units::Bytes(4_000_787_030_016)),
            tongue.span(Duration::from_secs(119)),
            tongue.span(Duration::from_secs(7_200)),
            tongue.span(46 * day),
            tongue.estimate(&estimate),
            tongue.estimate(&open),
            tongue.estimate(&exact),
            tongue.count("box.unclean-restart.starts", 1),
            tongue.count("box.unclean-restart.starts", 2),
        ]
    };
    let english = [
        "4.00 TB",
        "119 s",
        "2 h",
        "46 d",
        "41 days (27 to 66)",
        "41 days (27 or more)",
        "41 days",
        "1 start",
        "2 starts",
    ];
    assert_eq!(say(Tongue::English), english);
    let german = [
        "4,00 TB",
        "119 s",
        "2 h",
        "46 Tagen",
        "41 Tagen (27 bis 66)",
        "41 Tagen (27 oder mehr)",
        "41 Tagen",
        "1 Start",
        "2 Starts",
    ];
    assert_eq!(say(Tongue::German), german);
}
