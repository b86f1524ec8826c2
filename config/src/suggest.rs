//! The known word that somebody probably meant.

use strsim::osa_distance;

/// Longer words are not typing mistakes of our names, and comparing them would only cost time.
const LONGEST: usize = 40;

/// The candidate nearest to `word`, when it is near enough to be a slip of the fingers: one change for each
/// three letters, where two neighbours that changed places are one change.
pub fn nearest<'c>(word: &str, candidates: impl IntoIterator<Item = &'c str>) -> Option<&'c str> {
    if word.len() > LONGEST {
        return None;
    }
    let plain = |word: &str| word.to_lowercase().replace('-', "_");
    let word = plain(word);
    candidates
        .into_iter()
        .map(|candidate| (osa_distance(&word, &plain(candidate)), candidate))
        .filter(|(changes, candidate)| *changes <= candidate.chars().count() / 3)
        .min_by_key(|(changes, _)| *changes)
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_understood_and_a_different_word_is_not() {
        let keys = ["bus", "address", "upside_down", "brightness"];
        assert_eq!(nearest("adress", keys), Some("address"));
        assert_eq!(nearest("Upside-Down", keys), Some("upside_down"));
        assert_eq!(nearest("drive_gnoe", ["drive-gone", "drive-hot"]), Some("drive-gone"));
        assert_eq!(nearest("bs", keys), Some("bus"));
        assert_eq!(nearest("bsu", keys), Some("bus"), "neighbours that changed places");
        assert_eq!(nearest("colour", keys), None);
        assert_eq!(nearest(&"a".repeat(100_000), keys), None);
    }
}
