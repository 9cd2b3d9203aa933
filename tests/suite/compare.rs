//! Proposals held beside the base: totals, findings that come and go, rows, and that following the
//! changes equals computing anew.

use super::properties::beginning;
use super::proposals::{Move, make, moves};
use portledger::desk::Desk;
use portledger::files::plan_file::write;
use portledger::problem::Severity;
use portledger::study::compare::{
    Comparison, Found, RowKind, Total, compare, compare_anew, outlook,
};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;

/// A switch of 48 ports at 1 Gb/s on one uplink, and what could be done about it.
const HALL: &str = r#"portledger = 1

[[proposal]]
name = "nothing"

[[proposal]]
name = "same again"
changes = '''
change,sheet,row,column,value
cell,links,U1,length,250 m
cell,links,U1,state,in service
forget,links,,margin,
'''

[[proposal]]
name = "second cable"
note = "one more of the same"
changes = '''
change,sheet,row,column,value
add,links,U2,,
cell,links,U2,from,acc-desk
cell,links,U2,to,dist
cell,links,U2,role,uplink
cell,links,U2,interface,10GBASE-SR
cell,links,U2,medium,OM4
cell,links,U2,length,30
remove,links,old,,
'''

[[proposal]]
name = "shorter as well"
on = "second cable"
changes = '''
change,sheet,row,column,value
cell,links,U1,length,100
cell,links,U2,length,40
'''

[rows]
links = '''
id,from,to,role,interface,medium,length,state
U1,acc-desk,dist,uplink,10GBASE-SR,OM3,250,in service
old,acc-desk,dist,access,1000BASE-T,Cat6,150,out
'''
switches = '''
id,access_ports,access_speed
acc-desk,48,10
dist,,
'''
paths = '''
id,from,to
feed,acc-desk,dist
'''
parts = '''
id,kind,interface,medium,price,price_per_length
SR10,module,10GBASE-SR,,38,
OM4,cable,,OM4,,1.5
'''
"#;

fn desk() -> Desk {
    Desk::of_text(HALL).expect("a plan")
}

fn compared(names: &[&str]) -> Comparison {
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    desk().compare(&names).expect("proposals")
}

fn total<'c>(totals: &'c [Total], name: &str) -> &'c Total {
    let found = totals.iter().find(|total| total.name == name);
    found.unwrap_or_else(|| panic!("no total {name}"))
}

#[test]
fn a_proposal_that_changes_nothing_differs_in_nothing() {
    let told = compared(&["nothing", "same again"]);
    for one in &told.proposals {
        assert_eq!(one.outlook, told.base, "{}", one.name);
        assert_eq!(
            (one.n_came, one.n_went, one.n_rows),
            (0, 0, 0),
            "{}",
            one.name
        );
        assert!(one.came.is_empty() && one.went.is_empty() && one.rows.is_empty());
        assert!(one.settings.is_empty() && one.misfits.is_empty());
    }
    assert_eq!(compared(&[]).proposals.len(), 4);
}

/// 48 ports of 10 Gb/s over 10 Gb/s, then over 20 Gb/s: 48 to 1 and 24 to 1; with one cable out
/// 48 to 1 again. Two modules at 38 and 30 m at 1.50 are 121.
#[test]
fn totals_are_those_of_the_arithmetic() {
    let told = compared(&["second cable"]);
    let (base, with) = (&told.base, &told.proposals[0].outlook);
    let number = |totals: &[Total], name| total(totals, name).number;
    assert_eq!(number(&base.totals, "ratio"), Some(48.0));
    assert_eq!(number(&with.totals, "ratio"), Some(24.0));
    assert_eq!(total(&with.totals, "ratio").text, "24 (acc-desk)");
    assert_eq!(number(&base.totals, "worst_ratio"), None);
    assert_eq!(number(&with.totals, "worst_ratio"), Some(48.0));
    assert_eq!(number(&base.totals, "price"), Some(0.0));
    assert_eq!(number(&with.totals, "price"), Some(121.0));
    assert_eq!(number(&with.totals, "modules"), Some(2.0));
    assert_eq!(base.paths.len(), 1);
    assert_eq!(with.paths[0].name, "feed");
    // 120 m less of OM3 would be nearer, so the new cable is taken.
    assert!(with.paths[0].number < base.paths[0].number);
}

#[test]
fn rows_say_what_was_entered_and_what_follows() {
    let told = compared(&["second cable", "shorter as well"]);
    let kinds = |at: usize| -> Vec<(&str, RowKind)> {
        let rows = &told.proposals[at].rows;
        rows.iter().map(|row| (row.id.as_str(), row.kind)).collect()
    };
    let first = kinds(0);
    assert!(first.contains(&("U2", RowKind::Added)), "{first:?}");
    assert!(first.contains(&("old", RowKind::Removed)), "{first:?}");
    assert!(first.contains(&("acc-desk", RowKind::Follows)), "{first:?}");
    let second = &told.proposals[1];
    assert_eq!(second.on.as_deref(), Some("second cable"));
    let of = |id: &str| second.rows.iter().find(|row| row.id == id).expect("a row");
    let length = of("U1").cells.iter().find(|cell| cell.column == "length");
    let length = length.expect("its length");
    assert!(length.is_entered);
    assert_eq!(
        (length.old.number, length.new.number),
        (Some(250.0), Some(100.0))
    );
    assert_eq!(length.text(), "length 250 m -> 100 m");
    let length = of("U2").cells.iter().find(|cell| cell.column == "length");
    assert_eq!(length.and_then(|cell| cell.new.number), Some(40.0));
}

#[test]
fn findings_that_go_have_the_numbers_they_had() {
    let told = compared(&["second cable"]);
    let one = &told.proposals[0];
    let said = |list: &[Found], check: &str| -> Vec<String> {
        let found = list.iter().filter(|found| found.check == check);
        found.map(|found| found.sentence.clone()).collect()
    };
    assert_eq!(
        said(&one.went, "worst-ratio"),
        ["one uplink cable out leaves no uplink"]
    );
    assert_eq!(
        said(&one.came, "worst-ratio"),
        ["with one uplink cable out the ratio is 48 to 1, above the target, 20 to 1"]
    );
    // What stays is neither, also where its numbers are others: 48 to 1, then 24 to 1.
    assert!(said(&one.went, "ratio").is_empty() && said(&one.came, "ratio").is_empty());
    let copper = said(&one.went, "copper-length");
    assert!(
        copper.len() == 1 && copper[0].contains("150 m"),
        "{copper:?}"
    );
    let stops = one
        .went
        .iter()
        .filter(|found| found.severity() == Severity::Stop)
        .count();
    let counted = told.base.findings[0] - one.outlook.findings[0];
    assert_eq!(stops, counted);
    let all = |findings: [usize; 3]| findings.iter().sum::<usize>();
    assert_eq!(
        all(one.outlook.findings) + one.n_went,
        all(told.base.findings) + one.n_came
    );
}

#[test]
fn what_has_no_price_is_not_taken_for_free() {
    let text = HALL.replace("SR10,module,10GBASE-SR,,38,\n", "");
    let told = Desk::of_text(&text)
        .unwrap()
        .compare(&["second cable".to_owned()])
        .unwrap();
    let price = total(&told.proposals[0].outlook.totals, "price");
    assert_eq!((price.number, price.n_missing), (None, 1));
    assert_eq!(price.text, "not priced");
}

#[test]
fn what_is_open_is_compared_as_it_is_now_and_stays_open() {
    let mut desk = desk();
    desk.enter("nothing").unwrap();
    let sheet = desk.plan().sheet("links").unwrap();
    let row = desk.plan().find(sheet, "U1").unwrap();
    let column = desk.plan().def(sheet).column("length").unwrap();
    desk.set(sheet, row, column, "299 m").unwrap();
    let before = write(desk.plan());
    let told = desk.compare(&["nothing".to_owned()]).unwrap();
    assert_eq!(
        told.proposals[0].rows[0].cells[0].text(),
        "length 250 m -> 299 m"
    );
    assert_eq!(write(desk.plan()), before);
    assert_eq!(desk.within(), Some("nothing"));
    let problem = desk.compare(&["nothng".to_owned()]).unwrap_err();
    assert_eq!(problem.code, "proposal-unknown");
}

#[test]
fn following_the_changes_equals_computing_anew() {
    let many = prop::collection::vec(moves(), 1..40);
    let config = ProptestConfig {
        cases: 48,
        failure_persistence: None,
        ..ProptestConfig::default()
    };
    let checked = TestRunner::new(config).run(&many, |many| {
        let mut desk = Desk::of_plan(beginning(), Vec::new());
        make(&mut desk, &Move::Propose(0));
        make(&mut desk, &Move::Enter(0));
        for one in &many {
            make(&mut desk, one);
        }
        let before = write(desk.plan());
        let (Ok(told), Ok(anew)) = (
            compare(desk.plan(), desk.engine(), &[]),
            compare_anew(desk.plan(), &[]),
        ) else {
            return Ok(());
        };
        prop_assert_eq!(write(desk.plan()), before);
        prop_assert_eq!(&told.base, &anew.base);
        // A text that cannot be read is kept as text, so it is looked at as it is read again.
        if desk.within().is_some() {
            desk.leave().unwrap();
        }
        let proposals = told.proposals.iter().zip(&anew.proposals);
        for (told, anew) in proposals {
            prop_assert_eq!(&told.outlook, &anew.outlook);
            prop_assert_eq!((told.n_came, told.n_went), (anew.n_came, anew.n_went));
            prop_assert_eq!(&told.came, &anew.came);
            prop_assert_eq!(&told.went, &anew.went);
            prop_assert_eq!(&told.settings, &anew.settings);
            for row in &anew.rows {
                prop_assert!(told.rows.contains(row), "{:?}", row);
            }
            // And it is what a person sees who goes into it.
            if desk.enter(&told.name).is_ok() {
                let seen = outlook(desk.plan(), desk.engine(), desk.standing());
                prop_assert_eq!(&seen, &told.outlook);
            }
        }
        Ok(())
    });
    checked.unwrap();
}
