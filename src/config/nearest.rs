//! "Did you mean …": the nearest word of a closed list.

/// The word that needs the fewest edits, `None` when none is near (more than a third changed).
pub(crate) fn nearest<'a>(word: &str, words: &[&'a str]) -> Option<&'a str> {
    let edits = |known: &&str| distance(word, known);
    let best = words.iter().min_by_key(|known| edits(known))?;
    (edits(best) <= best.len().max(3) / 3).then_some(*best)
}

/// Edits (insert, delete, replace) between two words.
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut corner = i;
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let replaced = corner + usize::from(x != *y);
            corner = row[j + 1];
            row[j + 1] = replaced.min(corner + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_is_found() {
        let words = ["commit_ms", "idle_days", "folder"];
        assert_eq!(nearest("comit_ms", &words), Some("commit_ms"));
        assert_eq!(nearest("folders", &words), Some("folder"));
        assert_eq!(nearest("colour", &words), None);
    }

    // Textbook pair: kitten, sitting, 3.
    #[test]
    fn the_distance_counts_edits() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("same", "same"), 0);
    }
}
