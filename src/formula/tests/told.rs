//! What is said about wrong formulas: marks, message and next step, whole.

use super::*;
use crate::problem::Problem;

/// One problem as its marks under the text, then code, message and help.
fn told_one(text: &str, problem: &Problem) -> String {
    let place = problem.place.as_ref().expect("every problem has a place");
    assert_eq!(
        (place.origin.as_str(), place.source.as_str()),
        ("formula", text)
    );
    assert!(problem.message.chars().count() < 80, "{}", problem.message);
    let mut out = String::new();
    for label in &place.labels {
        let indent = " ".repeat(label.span.start);
        let carets = "^".repeat(text[label.span.clone()].chars().count());
        out += &format!(
            "{}\n",
            format!("{indent}{carets} {}", label.text).trim_end()
        );
    }
    out += &format!("{}: {}\n", problem.code, problem.message);
    for step in &problem.help {
        out += &format!("  {step}\n");
    }
    out
}

/// A fixture: the formula on the first line, everything that is told on the others.
#[track_caller]
fn check(sheet: &str, fixture: &str) {
    let (text, expected) = fixture.split_once('\n').unwrap();
    let book = book();
    let problems = compile(text, book.sheet(sheet), &book, &library()).unwrap_err();
    let told: Vec<String> = problems
        .iter()
        .map(|problem| told_one(text, problem))
        .collect();
    assert_eq!(told.concat().trim_end(), expected);
}

#[test]
fn slips_of_writing_are_told_at_once() {
    check(
        "links",
        r"1 < 2 < 3
^^^^^^^^^ this compares yes or no with a value
comparisons-chain: comparisons do not chain
  write `1 < 2 and 2 < 3`",
    );
    check(
        "switches",
        r"length = 3
       ^
single-equals: a single `=` does not compare
  use == to compare",
    );
    check(
        "switches",
        r"2 links
  ^^^^^
unit-unknown: unknown unit `links`
  if `links` is a name, put an operator between: `2 * links`",
    );
}

#[test]
fn an_unknown_name_gets_the_near_one() {
    check(
        "links",
        r"lenght + 1 m
^^^^^^
name-unknown: unknown name `lenght`
  did you mean `length`?",
    );
    check(
        "links",
        r"reserve + 1 dB
^^^^^^^
name-unknown: unknown name `reserve`
  for the assumption write `assume.reserve`",
    );
    check(
        "links",
        r"assume.reserv + 1 dB
       ^^^^^^
name-unknown: unknown assumption `reserv`
  did you mean `reserve`?",
    );
    check(
        "links",
        r"medium.atenuation * length
       ^^^^^^^^^^
name-unknown: no column `atenuation` in `media`
  did you mean `attenuation`?",
    );
    check(
        "links",
        r"role.attenuation
     ^^^^^^^^^^^
not-a-reference: `role` is a text, it has no `attenuation`
  a dot follows a column that points to a row of another sheet",
    );
    check(
        "links",
        r"links.speed
^^^^^
sheet-name: `links` is a sheet, not one row
  say which rows: total(links.speed, condition), tally, largest or smallest",
    );
    check(
        "links",
        r#"pick(yes, medium, "OM5")
                  ^^^^^
row-unknown: no row `OM5` in `media`
  did you mean `OM3`?"#,
    );
    check(
        "links",
        r#"attenuation_at("OM5", 850)
               ^^^^^
row-unknown: no row `OM5` in `media`
  did you mean `OM3`?
                      ^^^ this is a plain number
type-differs: `wavelength` of `attenuation_at` needs m
  give the number its unit: `850 m`"#,
    );
    check(
        "switches",
        r"links.speed + links.nope
^^^^^
sheet-name: `links` is a sheet, not one row
  say which rows: total(links.speed, condition), tally, largest or smallest
              ^^^^^
sheet-name: `links` is a sheet, not one row
  say which rows: total(links.nope, condition), tally, largest or smallest",
    );
}

#[test]
fn units_that_do_not_go_together_name_both_sides() {
    check(
        "links",
        r"tx_power - medium.attenuation
           ^^^^^^^^^^^^^^^^^^ this is dB/km
^^^^^^^^ this is dBm
units-differ: cannot subtract dB/km from dBm
  multiply `medium.attenuation` by a length, for example `medium.attenuation * length`",
    );
    check(
        "links",
        r"loss + length
       ^^^^^^ this is m
^^^^ this is dB
units-differ: cannot add m to dB
  both sides must measure the same thing",
    );
    check(
        "links",
        r"loss + 3
       ^ this is a plain number
^^^^ this is dB
units-differ: cannot add a plain number to dB
  give the number its unit: `3 dB`",
    );
    check(
        "links",
        r"tx_power + tx_power
           ^^^^^^^^ this is dBm
^^^^^^^^ this is dBm
level-plus-level: two levels cannot be added
  combine powers with power_sum(a, b), or subtract one from the other",
    );
    check(
        "links",
        r"loss - tx_power
       ^^^^^^^^ this is dBm
^^^^ this is dB
amount-minus-level: cannot subtract a level in dBm from an amount in dB
  turn it round: `tx_power - loss`",
    );
    check(
        "links",
        r"tx_power * 2
           ^ this is a plain number
^^^^^^^^ this is dBm
level-in-product: a level in dBm cannot be multiplied or divided
  convert with to_watt(x) first",
    );
    check(
        "links",
        r"-tx_power
 ^^^^^^^^ this is dBm
level-negated: a level in dBm has no minus
  subtract it from another level, or write the sign into the number",
    );
    check(
        "links",
        r"length ^ 0.5
         ^^^ this is not one
^^^^^^ this is m
exponent: m needs a whole number as exponent
  for a root use sqrt(x)",
    );
    check(
        "links",
        r"length ^ splices
         ^^^^^^^ this is not one
^^^^^^ this is m
exponent: m needs a whole number as exponent
  for a root use sqrt(x)",
    );
    check(
        "links",
        r"not length > 5 dB
             ^^^^ this is dB
    ^^^^^^ this is m
units-differ: cannot compare m with dB
  both sides must measure the same thing",
    );
}

#[test]
fn a_part_is_repeated_up_to_forty_letters() {
    let book = book();
    let help = |part: &str| {
        let text = format!("{part} < loss");
        let problems = compile(&text, book.sheet("links"), &book, &library()).unwrap_err();
        problems[0].help.join("\n")
    };
    let part = "medium.attenuation +  medium.attenuation";
    assert_eq!(part.len(), 40);
    let told = help(part);
    assert!(
        told.contains(&format!("multiply `({part})` by a length")),
        "{told}"
    );
    let told = help(&part.replace('+', " +"));
    assert!(told.contains("multiply it by a length"), "{told}");
}

#[test]
fn kinds_that_do_not_go_together_say_what_they_are() {
    check(
        "links",
        r"role + id
       ^^ this is a text
^^^^ this is a text
type-differs: `+` does not work on texts
  put texts together with joined(a, b)",
    );
    check(
        "links",
        r"role < id
^^^^ this is a text
type-differs: only numbers are less or greater
  compare texts and flags with == or !=",
    );
    check(
        "links",
        r"! length > 5 m
  ^^^^^^ this is m
type-differs: `not` needs yes or no
  compare it with something, for example `length > 5 m`",
    );
    check(
        "links",
        r"pick(length, 1 m, 2 dB)
     ^^^^^^ this is m
type-differs: the condition of `pick` needs yes or no
  compare it with something, for example `length > 5 m`
                  ^^^^ this is dB
             ^^^ this is m
type-differs: the values differ in kind: m and dB
  both sides must measure the same thing",
    );
    check(
        "links",
        r"pick(yes, 1 m, 2 dB)
               ^^^^ this is dB
          ^^^ this is m
type-differs: the values differ in kind: m and dB
  both sides must measure the same thing",
    );
    check(
        "links",
        r"medium == from
          ^^^^ this is a row of `switches`
^^^^^^ this is a row of `media`
type-differs: cannot compare a row of `media` with a row of `switches`",
    );
    check(
        "links",
        r"length < missing
         ^^^^^^^
compares-missing: a comparison with `missing` is itself missing
  ask with is_given(x), or with `not is_given(x)`",
    );
    check(
        "links",
        r"sqrt(tx_power)
     ^^^^^^^^ this is a level
level-in-product: `sqrt` needs an amount
  take the difference to another level first",
    );
    check(
        "links",
        r"length == missing
          ^^^^^^^
compares-missing: a comparison with `missing` is itself missing
  ask with is_given(x), or with `not is_given(x)`",
    );
}

#[test]
fn calls_say_what_they_need() {
    check(
        "links",
        r"least(1 dB)
^^^^^
argument-count: `least` takes at least 2 arguments, 1 given
  least(a, b, ...): The smallest of two or more values",
    );
    check(
        "links",
        r"leest(1 dB, 2 dB)
^^^^^
function-unknown: unknown function `leest`
  did you mean `least`?",
    );
    check(
        "links",
        r"propagation(loss, 1.4)
            ^^^^ this is dB
type-differs: `length` of `propagation` needs m
  `length` is the length of the fibre",
    );
    check(
        "links",
        r"sqrt(length)
     ^^^^^^ this is m
type-differs: `sqrt` needs an amount whose unit has a root
  divide it by a quantity of its unit first",
    );
    check(
        "links",
        r"to_dbm(tx_power)
       ^^^^^^^^ this is dBm
type-differs: `power` of `to_dbm` needs W
  `power` is a power",
    );
    check(
        "links",
        r"endless(1)
^^^^^^^^^^
function-broken: `endless` calls itself
  this is no fault of the formula; write the function's text out instead",
    );
    check(
        "links",
        r"power_sum(tx_power, loss) + speeed
                    ^^^^ this is dB
type-differs: `level` of `power_sum` needs dBm
  `level` is a level
                            ^^^^^^
name-unknown: unknown name `speeed`
  did you mean `speed`?",
    );
}

#[test]
fn aggregates_say_which_rows_and_which_key() {
    check(
        "switches",
        r"total(links.speed, links.from == this and links.to == this)
                                          ^^^^^^^^^^^^^^^^ this is the second one
key: `total` takes one key
  compare the others inside `links`, in a column of its own",
    );
    check(
        "switches",
        r"total(links.speed, ports > 3)
                   ^^^^^
not-of-sheet: `ports` is no column of `links`, whose rows `total` goes through
  the own row may stand only in one `links.key == this` or `== reference`",
    );
    check(
        "switches",
        r"total(speed, links.from == this)
      ^^^^^
not-of-sheet: `speed` is no column of `links`, whose rows `total` goes through
  for the column of each row write `links.speed`",
    );
    check(
        "switches",
        r"total(links.tx_power, links.from == this)
      ^^^^^^^^^^^^^^ this is dBm
level-plus-level: `total` cannot add levels
  add powers: to_watt(x) inside, to_dbm(x) around it",
    );
    check(
        "switches",
        r"total(links.short)
      ^^^^^^^^^^^ this is yes or no
type-differs: `total` needs a number
  count rows with tally(condition)",
    );
    check(
        "switches",
        r"tally(links.from.above == this)
      ^^^^^^^^^^^^^^^^ this is of another sheet, or computed here
key: the key must be a column of `links` itself
  put it into a column of `links` and name that",
    );
    check(
        "switches",
        r"tally(links.role == building)
      ^^^^^^^^^^ this is a text
key: the key must be a column that points to rows
  rows are joined to the own row by references only",
    );
    check(
        "switches",
        r"tally(links.medium == this)
                      ^^^^ this is a row of `switches`
type-differs: the key `links.medium` needs a row of `media`",
    );
    check(
        "switches",
        r"tally(ports > 3)
^^^^^^^^^^^^^^^^
sheet-missing: `tally` does not say through which sheet it goes
  begin a name with the sheet: `links.capacity`",
    );
    check(
        "switches",
        r"tally(links.short and media.attenuation > 1 dB/km)
                      ^^^^^^^^^^^^^^^^^ this is of `media`
      ^^^^^^^^^^^ this is of `links`
two-sheets: `tally` goes through one sheet, here are `links` and `media`
  put one of them into a column of `links` and name that",
    );
    check(
        "switches",
        r"total(links.speed * tally(links.short))
                    ^^^^^^^^^^^^^^^^^^
aggregate-nested: `tally` cannot stand inside `total`
  put the inner one into a column of its own and name that",
    );
    check(
        "switches",
        r"row_of(reach, reaches.medium == this)
       ^^^^^
sheet-missing: `reach` is no sheet
  did you mean `reaches`?",
    );
    check(
        "switches",
        r"row_of(reaches, reaches.reach > 3 m)
                ^^^^^^^^^^^^^^^^^^^ this is none
key: `row_of` takes keys only
  write `reaches.key == reference`",
    );
    check(
        "switches",
        r"total(links.nope, links.spead == 3)
            ^^^^
name-unknown: no column `nope` in `links`
                        ^^^^^
name-unknown: no column `spead` in `links`
  did you mean `speed`?",
    );
}
