//! Which rows of two sides are the same: those with the same id; of several with one id, those that
//! hold the same.
//!
//! Nothing here knows sheets; rows are numbers.

use rustc_hash::FxHashMap;

/// An id for comparing: without blanks around it, in any case, a number as numbers are written.
pub fn key(id: &str) -> String {
    let id = super::super::as_returned(id);
    match id.parse::<f64>() {
        Ok(number) if number.is_finite() && id.bytes().all(|b| b.is_ascii_digit() || b == b'.') => {
            number.to_string()
        }
        Ok(_) | Err(_) => id.to_lowercase(),
    }
}

/// Rows of two sides.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pairs {
    /// For each row of the first side that of the other.
    pub of_first: Vec<Option<usize>>,
    /// Rows of the other side that belong to none, and whether the first side has their id.
    pub left: Vec<(usize, bool)>,
}

/// Pairs rows by their keys. Where several have one key, `alike` says which hold the same; those
/// go together first, the others in order. Rows without a key go together only where they hold
/// the same.
pub fn pairs(first: &[String], other: &[String], alike: &dyn Fn(usize, usize) -> bool) -> Pairs {
    let mut groups: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    for (at, key) in other.iter().enumerate() {
        groups.entry(key).or_default().push(at);
    }
    let mut pairs = Pairs {
        of_first: vec![None; first.len()],
        left: Vec::new(),
    };
    let mut known: FxHashMap<&str, Vec<usize>> = FxHashMap::default();
    for (at, key) in first.iter().enumerate() {
        known.entry(key).or_default().push(at);
    }
    for (key, members) in &known {
        let Some(others) = groups.get_mut(key) else {
            continue;
        };
        if members.len() == 1 && others.len() == 1 && !key.is_empty() {
            pairs.of_first[members[0]] = others.pop();
            continue;
        }
        for member in members {
            if let Some(at) = others.iter().position(|other| alike(*member, *other)) {
                pairs.of_first[*member] = Some(others.remove(at));
            }
        }
        if key.is_empty() {
            continue;
        }
        for member in members {
            if pairs.of_first[*member].is_none() && !others.is_empty() {
                pairs.of_first[*member] = Some(others.remove(0));
            }
        }
    }
    for (key, others) in groups {
        let is_known = !key.is_empty() && known.contains_key(key);
        pairs
            .left
            .extend(others.into_iter().map(|at| (at, is_known)));
    }
    pairs.left.sort_unstable();
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(words: &[&str]) -> Vec<String> {
        words.iter().map(|word| key(word)).collect()
    }

    #[test]
    fn ids_are_told_apart_by_nothing_that_a_spreadsheet_changes() {
        assert_eq!(key(" L1 "), key("l1"));
        assert_eq!(key("007"), key("7"));
        assert_ne!(key("1e3"), key("1000"));
        assert_ne!(key("L1"), key("L11"));
    }

    #[test]
    fn of_two_rows_with_one_id_the_one_that_holds_the_same_is_meant() {
        let found = pairs(&keys(&["a", "b"]), &keys(&["a", "a", "c"]), &|_, other| {
            other == 1
        });
        assert_eq!(found.of_first, [Some(1), None]);
        assert_eq!(found.left, [(0, true), (2, false)]);
    }
}
