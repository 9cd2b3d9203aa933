//! What the checks find, followed from edit to edit, is what going through all rows finds.

use super::properties::{Step, beginning, edit, step};
use super::story::Story;
use portledger::desk::Desk;
use portledger::engine::Engine;
use portledger::plan::{Change, Edit, Entry, Plan, Touched};
use portledger::table::{Cell, RowId, SheetId};
use portledger::trade::{Finding, MOST_MOVED, Standing, VERDICTS, engine, find_all};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// How often each check finds each row.
type Tally = BTreeMap<(String, SheetId, u32), i64>;

fn add(tally: &mut Tally, findings: &[Finding], by: i64) {
    for finding in findings {
        let key = (finding.check.clone(), finding.sheet, finding.row.0);
        let count = tally.entry(key.clone()).or_default();
        *count += by;
        if *count == 0 {
            tally.remove(&key);
        }
    }
}

/// How often each word of a verdict stands in the rows of a sheet.
fn verdicts(plan: &Plan, engine: &Engine, sheet: SheetId) -> Option<[usize; 4]> {
    let column = engine.find_column(sheet, "verdict")?;
    let count = |word: &str| {
        let rows = plan.rows(sheet).order().iter();
        let is_word = |cell: Cell| cell == Cell::Text(word.to_owned());
        rows.filter(|row| is_word(engine.cell(plan, column, **row)))
            .count()
    };
    Some(VERDICTS.map(count))
}

/// Compares everything a standing says with what all rows say.
fn must_agree(plan: &Plan, engine: &Engine, standing: &Standing) -> Result<(), TestCaseError> {
    let all = find_all(plan, engine, usize::MAX);
    prop_assert_eq!(standing.counts(), all.counts);
    let n_all = all.list.len();
    prop_assert_eq!(&standing.findings(plan, engine, 0, n_all + 1), &all.list);
    let from = n_all / 3;
    let part = standing.findings(plan, engine, from, 4);
    prop_assert_eq!(&part[..], &all.list[from..n_all.min(from + 4)]);
    for at in 0..plan.schema().len() {
        let sheet = SheetId(u16::try_from(at).expect("few sheets"));
        prop_assert_eq!(standing.verdicts(sheet), verdicts(plan, engine, sheet));
    }
    for finding in all.list.iter().take(5) {
        let (sheet, row) = (finding.sheet, finding.row);
        let here = all.list.iter();
        let here: Vec<&Finding> = here.filter(|f| (f.sheet, f.row) == (sheet, row)).collect();
        let of_row = standing.of_row(plan, engine, sheet, row);
        prop_assert_eq!(of_row.iter().collect::<Vec<_>>(), here);
        prop_assert_eq!(standing.worst(sheet, row), Some(of_row[0].severity));
    }
    Ok(())
}

/// Takes steps, back and forth, and compares after each that is marked.
fn follow(steps: &[(Step, bool)]) -> Result<(), TestCaseError> {
    let mut plan = beginning();
    let mut engine_now = engine(&plan);
    let mut standing = Standing::new(&plan, &engine_now);
    let (mut done, mut undone): (Vec<Edit>, Vec<Edit>) = (Vec::new(), Vec::new());
    for (step, looked) in steps {
        // A step back in an even place of the story is one forth, if there is one.
        let turn = match step {
            Step::Undo if *looked => undone.pop().map(|edit| (edit, true)),
            Step::Undo => done.pop().map(|edit| (edit, false)),
            _ => edit(&plan, step).map(|edit| (edit, true)),
        };
        let Some((edit, forth)) = turn else { continue };
        let mut tally = Tally::new();
        add(
            &mut tally,
            &standing.findings(&plan, &engine_now, 0, usize::MAX),
            1,
        );
        let Change { inverse, touched } = plan.apply(edit).expect("an edit made for this plan");
        if forth {
            done.push(inverse);
        } else {
            undone.push(inverse);
        }
        if !matches!(step, Step::Undo) {
            undone.clear();
        }
        if touched.contains(&Touched::Schema) {
            engine_now = engine(&plan);
            standing.renew(&plan, &engine_now);
        } else {
            assert!(engine_now.update(&plan, &touched));
            standing.follow(&plan, &engine_now, &touched);
        }
        must_agree(&plan, &engine_now, &standing)?;
        let came = standing.came(&plan, &engine_now, usize::MAX);
        let went = standing.went().to_vec();
        prop_assert_eq!(standing.n_moved(), (came.len(), went.len()));
        prop_assert!(came.len() < MOST_MOVED && went.len() < MOST_MOVED);
        add(&mut tally, &came, 1);
        add(&mut tally, &went, -1);
        let mut now = Tally::new();
        add(
            &mut now,
            &standing.findings(&plan, &engine_now, 0, usize::MAX),
            1,
        );
        prop_assert_eq!(tally, now);
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, max_shrink_iters: 400, ..ProptestConfig::default() })]

    #[test]
    fn a_standing_that_follows_edits_finds_what_all_rows_hold(
        steps in prop::collection::vec((step(), any::<bool>()), 20)
    ) {
        follow(&steps)?;
    }
}

/// What is said of names, one sentence a finding.
fn said(story: &Story, standing: &Standing) -> Vec<String> {
    let findings = standing.findings(story.plan(), story.engine(), 0, 100);
    let names = findings.into_iter().filter(|f| f.check == "name-alike");
    names.map(|finding| finding.sentence).collect()
}

#[test]
fn a_name_that_lost_the_one_it_looked_like_stands_twice() {
    let mut story = Story::new()
        .switch("Reef", &[])
        .switch("reef", &[])
        .switch("Kelp", &[])
        .told();
    let mut standing = Standing::new(story.plan(), story.engine());
    assert_eq!(
        said(&story, &standing),
        ["the name `reef` looks like `Reef`"]
    );
    let sheet = story.sheet("switches");
    for (row, name) in [(0, "Lagoon"), (2, "reef")] {
        let entry = Entry::Text(story.plan().names().code(name));
        let change = story.apply(Edit::SetCells {
            sheet,
            cells: vec![((0, RowId(row)), entry)],
        });
        standing.follow(story.plan(), story.engine(), &change.touched);
    }
    assert_eq!(said(&story, &standing), ["the name `reef` stands twice"]);
}

#[test]
fn a_finding_that_went_keeps_the_numbers_it_had() {
    let mut desk = Desk::demo().unwrap();
    let links = desk.plan().sheet("links").unwrap();
    let length = desk.plan().def(links).column("length").unwrap();
    let row = desk.plan().find(links, "Q103").unwrap();
    desk.set(links, row, length, "60 m").unwrap();
    let (counts, outcome) = (desk.findings().counts, desk.outcome().clone());
    assert_eq!(outcome.counts, counts);
    let reach = |list: &[Finding]| {
        let found = list.iter().find(|finding| finding.check == "reach");
        found.map(|finding| finding.sentence.clone())
    };
    let told = "640 m of OM3 is more than the reach of 10GBASE-SR, 300 m";
    assert_eq!(reach(&outcome.went).as_deref(), Some(told));
    assert!(outcome.changed_cells.is_some_and(|n| n > 5));
    desk.undo().unwrap();
    assert_eq!(reach(&desk.outcome().came).as_deref(), Some(told));
    desk.redo().unwrap();
    assert_eq!(reach(&desk.outcome().went).as_deref(), Some(told));
    assert_eq!(desk.outcome().n_came, outcome.n_came);
}

#[test]
fn so_many_findings_are_told_one_by_one_and_the_others_counted() {
    let too_long = [
        ("interface", "10GBASE-SR"),
        ("medium", "OM3"),
        ("length", "301 m"),
    ];
    let links = (0..=MOST_MOVED).map(|at| format!("L{at}"));
    let story = links.fold(Story::new(), |story, id| story.link(&id, &too_long));
    let mut plan = story.plan().clone();
    let weigh = |plan: &mut Plan, severity| {
        let check = "reach".to_owned();
        plan.apply(Edit::SetSeverity { check, severity }).unwrap();
        engine(plan)
    };
    let without = weigh(&mut plan, Some(None));
    let mut standing = Standing::new(&plan, &without);
    let with = weigh(&mut plan, None);
    standing.renew(&plan, &with);
    assert_eq!(standing.n_moved(), (MOST_MOVED + 1, 0));
    let came = standing.came(&plan, &with, usize::MAX);
    assert_eq!(came.len(), MOST_MOVED);
    assert!(came.iter().all(|finding| finding.check == "reach"));
    assert_eq!(standing.came(&plan, &with, 3), came[..3]);
    let without = weigh(&mut plan, Some(None));
    standing.renew(&plan, &without);
    assert_eq!(standing.n_moved(), (0, MOST_MOVED + 1));
    assert_eq!(standing.went().len(), MOST_MOVED);
}

#[test]
fn a_standing_is_empty_until_something_is_found() {
    let story = Story::new().told();
    let standing = Standing::new(story.plan(), story.engine());
    assert_eq!((standing.is_empty(), standing.len()), (true, 0));
    let story = story.link("L1", &[]).link("l1", &[]);
    let standing = Standing::new(story.plan(), story.engine());
    let n_found = standing.counts().iter().sum();
    assert!(n_found > 0);
    assert_eq!((standing.is_empty(), standing.len()), (false, n_found));
}

#[test]
fn names_that_stay_found_are_listed_in_the_order_that_rows_have_now() {
    let links = (0..30).fold(Story::new(), |story, _| story.link("Reef", &[]));
    let mut story = links.told();
    let mut standing = Standing::new(story.plan(), story.engine());
    must_agree(story.plan(), story.engine(), &standing).unwrap();
    let sheet = story.sheet("links");
    let rows = story.plan().rows(sheet).order().to_vec();
    // So many names in one edit that all are looked at again, of which the first stays the first.
    let moved = rows[1..].to_vec();
    let back = (1..).zip(moved.iter().rev().copied()).collect();
    let change = story.apply(Edit::Group(vec![
        Edit::RemoveRows { sheet, rows: moved },
        Edit::RestoreRows { sheet, rows: back },
    ]));
    assert_ne!(story.plan().rows(sheet).order(), rows);
    standing.follow(story.plan(), story.engine(), &change.touched);
    must_agree(story.plan(), story.engine(), &standing).unwrap();
}
