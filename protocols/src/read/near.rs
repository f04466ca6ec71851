//! The word that was probably meant.

use alloc::vec::Vec;

/// Words longer than this are not compared.
const WORD_CHARS_MAX: usize = 40;

/// The word of `words` that is nearest to `wrong`, if one is near enough to be meant: at most two
/// changed letters, or a third of its length.
#[must_use]
pub fn nearest<'w>(wrong: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    let wrong: Vec<char> = wrong.chars().take(WORD_CHARS_MAX + 1).collect();
    if wrong.len() > WORD_CHARS_MAX {
        return None;
    }
    let near = |word: &&str| {
        let letters = word.chars().count();
        let steps = distance(&wrong, word);
        (steps <= (letters / 3).max(2) && steps < letters).then_some(steps)
    };
    words.into_iter().filter_map(|word| near(&word).map(|steps| (steps, word))).min().map(|m| m.1)
}

/// Letters to insert, delete or change (Levenshtein), upper and lower case alike.
fn distance(wrong: &[char], word: &str) -> usize {
    let mut row: Vec<usize> = (0..=wrong.len()).collect();
    for (i, letter) in word.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, other) in wrong.iter().enumerate() {
            let change = corner + usize::from(!letter.eq_ignore_ascii_case(other));
            corner = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(corner + 1);
        }
    }
    row[wrong.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_word_finds_what_was_meant() {
        let words = ["capture", "caution", "contact", "combine", "S5"];
        assert_eq!(nearest("captrue", words), Some("capture"));
        assert_eq!(nearest("Contact", words), Some("contact"));
        assert_eq!(nearest("cautions", words), Some("caution"));
        assert_eq!(nearest("weather", words), None);
        assert_eq!(nearest("", words), None);
        assert_eq!(nearest(&"x".repeat(9_000), words), None);
    }

    #[test]
    fn the_distance_is_levenshteins() {
        // Levenshtein's usual worked example: kitten to sitting is three.
        let kitten: Vec<char> = "kitten".chars().collect();
        assert_eq!(distance(&kitten, "sitting"), 3);
    }
}
