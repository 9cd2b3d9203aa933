//! Which of some named things a person means by a few letters, best first.

use frizbee::CaseMatching;
use frizbee::Config;
use frizbee::Matcher;
use frizbee::Matching;

/// The letters that are looked at; the scores of longer ones would all be alike.
const LONGEST: usize = 64;

/// Positions of what is meant: by name in any spelling near it, then by the words of what it does.
///
/// Each thing is a name and what it does; without letters all are meant, in their order.
pub(super) fn ranked(needle: &str, things: &[(&str, &str)]) -> Vec<usize> {
    let needle: String = needle.trim().chars().take(LONGEST).collect();
    if needle.is_empty() {
        return (0..things.len()).collect();
    }
    let (names, docs): (Vec<&str>, Vec<&str>) = things.iter().copied().unzip();
    let typos = u16::from(needle.chars().count() > 3);
    let near = Config::default()
        .casing(CaseMatching::Ignore)
        .max_typos(Some(typos));
    let within = near.clone().matching(Matching::Substring);
    let mut meant = positions(&needle, &names, &near);
    let by_doc = positions(&needle, &docs, &within);
    meant.extend(
        by_doc
            .into_iter()
            .filter(|at| !meant.contains(at))
            .collect::<Vec<_>>(),
    );
    meant
}

fn positions(needle: &str, texts: &[&str], config: &Config) -> Vec<usize> {
    let found = Matcher::new(needle, config).match_list(texts);
    found
        .into_iter()
        .map(|found| found.index as usize)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const THINGS: &[(&str, &str)] = &[
        ("page up", "A screen of rows up."),
        ("undo", "Take the last step back."),
        ("save", "Save the plan."),
        ("quit", "End; asks where steps are not saved."),
    ];

    #[test]
    fn a_name_beats_the_words_of_another() {
        assert_eq!(ranked("save", THINGS), [2, 3]);
        assert_eq!(ranked("pgup", THINGS)[0], 0);
        assert_eq!(ranked("udno", THINGS), [1]);
        assert_eq!(ranked("step", THINGS), [1, 3]);
        assert_eq!(ranked(" ", THINGS), [0, 1, 2, 3]);
        assert!(ranked("zzzz", THINGS).is_empty());
    }

    proptest! {
        #[test]
        fn any_letters_are_taken(needle in ".{0,90}") {
            let meant = ranked(&needle, THINGS);
            prop_assert!(meant.iter().all(|at| *at < THINGS.len()));
        }
    }
}
