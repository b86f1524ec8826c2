//! The known word that somebody probably meant.

/// Longer words are not typing mistakes of our keys, and comparing them would only cost time.
const LONGEST: usize = 40;

/// The candidate nearest to `word`, when it is near enough to be a slip of the fingers: one change for each
/// three letters.
pub(crate) fn nearest<'c>(word: &str, candidates: impl IntoIterator<Item = &'c str>) -> Option<&'c str> {
    if word.len() > LONGEST {
        return None;
    }
    let word = word.to_lowercase().replace('-', "_");
    candidates
        .into_iter()
        .map(|candidate| (distance(&word, candidate), candidate))
        .filter(|(changes, candidate)| *changes <= (candidate.chars().count() / 3).max(1))
        .min_by_key(|(changes, _)| *changes)
        .map(|(_, candidate)| candidate)
}

/// How many letters must be put in, left out, replaced or swapped with their neighbour to turn `from` into `to`
/// (optimal string alignment: Damerau, 1964).
fn distance(from: &str, to: &str) -> usize {
    let (from, to): (Vec<char>, Vec<char>) = (from.chars().collect(), to.chars().collect());
    // `table[a][b]` is the distance from the first a letters of `from` to the first b letters of `to`.
    let mut table = vec![vec![0; to.len() + 1]; from.len() + 1];
    for a in 0..=from.len() {
        for b in 0..=to.len() {
            table[a][b] = if a == 0 || b == 0 {
                a + b
            } else {
                let replaced = table[a - 1][b - 1] + usize::from(from[a - 1] != to[b - 1]);
                let swapped = if a > 1 && b > 1 && from[a - 1] == to[b - 2] && from[a - 2] == to[b - 1] {
                    table[a - 2][b - 2] + 1
                } else {
                    usize::MAX
                };
                replaced.min(swapped).min(table[a - 1][b] + 1).min(table[a][b - 1] + 1)
            };
        }
    }
    table[from.len()][to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_known_from_textbooks() {
        // The classic pair, from memory: kitten, sitten, sittin, sitting.
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "fan"), 3);
        assert_eq!(distance("fan", ""), 3);
        assert_eq!(distance("fan", "fan"), 0);
        // What tells this distance from Levenshtein's, and from Damerau's without restriction (2).
        assert_eq!(distance("panle", "panel"), 1);
        assert_eq!(distance("ca", "abc"), 3);
    }

    #[test]
    fn a_slip_is_understood_and_a_different_word_is_not() {
        let keys = ["bus", "address", "upside_down", "brightness"];
        assert_eq!(nearest("adress", keys), Some("address"));
        assert_eq!(nearest("Upside-Down", keys), Some("upside_down"));
        assert_eq!(nearest("bs", keys), Some("bus"));
        assert_eq!(nearest("colour", keys), None);
        assert_eq!(nearest(&"a".repeat(100_000), keys), None);
    }
}
