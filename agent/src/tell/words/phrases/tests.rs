//! The tables of words: each language has all of them, with the same places.

use super::*;
use std::collections::BTreeSet;

/// The names of a text's places, in small letters.
pub(super) fn places(text: &str) -> BTreeSet<String> {
    let name = |piece: &str| Some(piece.split_once('}')?.0.split(':').next()?.to_lowercase());
    text.split('{').skip(1).filter_map(name).collect()
}

#[test]
fn all_languages_have_the_same_keys_with_the_same_places() {
    let english = &Language::ENGLISH.table().texts;
    assert!(english.len() > 700, "the table was not read: {} keys", english.len());
    for language in Language::ALL {
        let table = &language.table().texts;
        let keys = |table: &HashMap<String, String>| table.keys().cloned().collect::<BTreeSet<String>>();
        let odd: Vec<String> = keys(table).symmetric_difference(&keys(english)).cloned().collect();
        assert_eq!(odd, [""; 0], "only one of English and {language:?} has these");
        for (key, text) in table {
            assert_eq!(places(text), places(&english[key]), "{language:?} {key}: {text}");
            assert!(!text.is_empty() && !text.contains('\n'), "{language:?} {key}: {text}");
        }
    }
}

#[test]
fn places_are_filled_cut_and_begun_with_a_capital() {
    let places: Places = &[("drive", &"örtliche Platte"), ("mount", &"/srv/recordings"), ("n", &3)];
    assert_eq!(filled("{Drive} in {mount:9}, {n}", &given(places)).unwrap(), "Örtliche Platte in /srv/rec…, 3");
    assert_eq!(
        filled("{drive}", &given(&[("drive", &"{n} {"), ("n", &3)])).unwrap(),
        "{n} {",
        "what is put in is not looked at again"
    );
    assert_eq!(filled("a {place that does not end", &given(&[("place that does not end", &"b")])).unwrap(), "a b");
}

#[test]
fn figures_and_times_stand_in_a_sentence_as_its_language_has_them() {
    let say = |language: Language| {
        let day = Duration::from_secs(86_400);
        let estimate = Estimate { soonest: 27 * day, middle: 41 * day, latest: Some(66 * day) };
        let open = Estimate { latest: None, ..estimate };
        let exact = Estimate { soonest: 41 * day, latest: Some(41 * day), ..estimate };
        [
            language.figure(crate::units::Bytes(4_000_787_030_016)),
            language.span(Duration::from_secs(119)),
            language.span(Duration::from_secs(7_200)),
            language.span(46 * day),
            language.estimate(&estimate),
            language.estimate(&open),
            language.estimate(&exact),
            language.count("box-storage-and-restart.unclean-restart.starts", 1),
            language.count("box-storage-and-restart.unclean-restart.starts", 2),
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
    assert_eq!(say(Language::ENGLISH), english);
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
    assert_eq!(say(Language::GERMAN), german);
}
