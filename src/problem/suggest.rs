//! "Did you mean": the closest of some known words.

/// The candidate closest to `word`, if one is close enough to be meant.
///
/// Distance is Damerau-Levenshtein on lower case; words under three letters get no suggestion
/// except for a difference in case.
pub fn similar<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    let limit = match lower.chars().count() {
        0..3 => 0,
        3..6 => 1,
        6..10 => 2,
        _ => 3,
    };
    candidates
        .into_iter()
        .map(|candidate| {
            (
                distance(&lower, &candidate.to_lowercase(), limit),
                candidate,
            )
        })
        .filter(|(far, _)| *far <= limit)
        .min_by_key(|(far, _)| *far)
        .map(|(_, candidate)| candidate)
}

/// Edit distance, where a word that is part of the other counts as close.
fn distance(word: &str, candidate: &str, limit: usize) -> usize {
    let edits = strsim::damerau_levenshtein(word, candidate);
    let part = word.len() >= 4 && (candidate.contains(word) || word.contains(candidate));
    if part && candidate.len() >= 4 {
        edits.min(limit.max(1))
    } else {
        edits
    }
}

#[cfg(test)]
mod tests {
    use super::similar;

    #[test]
    fn a_typing_slip_finds_its_word() {
        let names = ["length", "loss", "loss_limit", "margin"];
        assert_eq!(similar("lenght", names), Some("length"));
        assert_eq!(similar("Margin", names), Some("margin"));
        assert_eq!(similar("zebra", names), None);
        assert_eq!(similar("x", names), None);
    }
}
