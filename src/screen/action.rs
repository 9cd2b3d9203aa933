//! Everything that can be done on the screen: one record each, with its keys.
//!
//! Keys, hints, help and the list of all actions are made from these records. How an action is
//! done is in `session`.

use crossterm::event::KeyCode;
use crossterm::event::KeyEvent;
use crossterm::event::KeyModifiers;

/// One thing a person can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// One cell or line up.
    Up,
    /// One cell or line down.
    Down,
    /// One cell to the left.
    Left,
    /// One cell to the right.
    Right,
    /// A screen up.
    PageUp,
    /// A screen down.
    PageDown,
    /// The first column.
    FirstColumn,
    /// The last column.
    LastColumn,
    /// The first row or line.
    First,
    /// The last row or line.
    Last,
    /// The next sheet.
    NextSheet,
    /// The sheet before.
    PreviousSheet,
    /// Change the cell, or follow the line.
    Enter,
    /// One level back.
    Back,
    /// Empty the cells.
    Clear,
    /// Write the first row of the block into the rows under it.
    FillDown,
    /// A new row under this one.
    AddRow,
    /// A copy of the row under it.
    CopyRow,
    /// Take the rows away.
    RemoveRow,
    /// The rows one up.
    RowUp,
    /// The rows one down.
    RowDown,
    /// Start or end a block of cells.
    Mark,
    /// Copy the block as a table.
    Copy,
    /// Copy the block into a file.
    CopyToFile,
    /// Put the copied table here.
    Paste,
    /// The proposals of the plan.
    Proposals,
    /// A new proposal.
    NewProposal,
    /// Out of the proposal, back to the base.
    LeaveProposal,
    /// The proposal into the base.
    Accept,
    /// The proposal away.
    DropProposal,
    /// Base and proposals side by side.
    Beside,
    /// Take the last step back.
    Undo,
    /// Make the step again.
    Redo,
    /// All steps.
    Steps,
    /// Look for a text.
    Find,
    /// The next place where the text stands.
    FindNext,
    /// Keep only rows where a formula says yes.
    Keep,
    /// Keep only rows of one verdict, the next with each press.
    KeepVerdict,
    /// Order by this column, then the other way, then as stored.
    Order,
    /// Order by this column within what is ordered already.
    OrderWithin,
    /// Shown and hidden columns, and their order.
    Columns,
    /// Hide this column.
    HideColumn,
    /// The column one to the left.
    ColumnLeft,
    /// The column one to the right.
    ColumnRight,
    /// A narrower column.
    Narrower,
    /// A wider column.
    Wider,
    /// Change the formula of this column.
    Formula,
    /// A column of one's own.
    AddColumn,
    /// The built-in formula again, or the own column away.
    DropFormula,
    /// Where the value comes from.
    Why,
    /// The pane with the reason, shown or hidden.
    WhyPane,
    /// What the checks found.
    Findings,
    /// The next row with a finding.
    NextFinding,
    /// What the last edit changed.
    Changes,
    /// What is to be known of the plan as a file.
    Remarks,
    /// A picture of this row.
    Picture,
    /// Ratios of all switches.
    Ratios,
    /// What breaks when something fails.
    Failures,
    /// What becomes of the row when this value is turned.
    Sweep,
    /// What else could carry the link.
    Options,
    /// When switches are full.
    Growth,
    /// What to buy.
    OrderList,
    /// Assumptions.
    Assumptions,
    /// What the functions do.
    Functions,
    /// Caution with light, glass, power and copper.
    Care,
    /// Read a table into the plan.
    Import,
    /// Bring back what was changed in a workbook.
    Merge,
    /// Save.
    Save,
    /// Save under another name.
    SaveAs,
    /// Write pages for people, such as a workbook.
    Export,
    /// Keys of this view.
    Help,
    /// All actions by name.
    Actions,
    /// Draw everything again.
    Redraw,
    /// Leave for the shell that started the program, and come back.
    Suspend,
    /// End.
    Quit,
}

/// Where the keys of an action work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// In the ledger alone.
    Ledger,
    /// In the ledger and in pages.
    All,
}

/// What kind of action it is, for help.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// Getting about.
    Move,
    /// Changing the plan.
    Change,
    /// Which rows and columns are seen.
    Arrange,
    /// Understanding.
    Look,
    /// The plan as a file, and the program.
    Plan,
}

/// A key with what is held down beside it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key(pub KeyCode, pub KeyModifiers);

/// What is known of an action.
#[derive(Debug)]
pub struct Record {
    /// The action.
    pub action: Action,
    /// Its name in the list of actions.
    pub name: &'static str,
    /// The one or two words in the line of hints.
    pub hint: &'static str,
    /// What it does.
    pub doc: &'static str,
    /// Its keys, the one to be shown first.
    pub keys: &'static [Key],
    /// Where they work.
    pub place: Place,
    /// Where it stands in help.
    pub family: Family,
}

const NONE: KeyModifiers = KeyModifiers::NONE;

const fn key(code: KeyCode) -> Key {
    Key(code, NONE)
}

const fn letter(letter: char) -> Key {
    Key(KeyCode::Char(letter), NONE)
}

const fn control(letter: char) -> Key {
    Key(KeyCode::Char(letter), KeyModifiers::CONTROL)
}

const fn with(modifiers: KeyModifiers, code: KeyCode) -> Key {
    Key(code, modifiers)
}

macro_rules! records {
    ($($action:ident, $family:ident, $place:ident, [$($key:expr),*], $name:literal, $hint:literal, $doc:literal;)*) => {
        &[$(Record {
            action: Action::$action,
            name: $name,
            hint: $hint,
            doc: $doc,
            keys: &[$($key),*],
            place: Place::$place,
            family: Family::$family,
        }),*]
    };
}

/// Every action, in the order of help.
#[rustfmt::skip]
pub const RECORDS: &[Record] = records![
    Up, Move, All, [key(KeyCode::Up)], "up", "up", "One cell or line up; with Shift a block grows.";
    Down, Move, All, [key(KeyCode::Down)], "down", "down", "One cell or line down; with Shift a block grows.";
    Left, Move, All, [key(KeyCode::Left)], "left", "left", "One cell to the left; in a page, back to where you came from.";
    Right, Move, All, [key(KeyCode::Right)], "right", "right", "One cell to the right; in a page, follow the line.";
    PageUp, Move, All, [key(KeyCode::PageUp)], "page up", "page up", "A screen of rows up.";
    PageDown, Move, All, [key(KeyCode::PageDown)], "page down", "page down", "A screen of rows down.";
    FirstColumn, Move, Ledger, [key(KeyCode::Home)], "first column", "first", "To the first column.";
    LastColumn, Move, Ledger, [key(KeyCode::End)], "last column", "last", "To the last column.";
    First, Move, All, [with(KeyModifiers::CONTROL, KeyCode::Home), letter('<')], "first row", "top", "To the first row or line.";
    Last, Move, All, [with(KeyModifiers::CONTROL, KeyCode::End), letter('>')], "last row", "bottom", "To the last row or line.";
    NextSheet, Move, All, [key(KeyCode::Tab)], "next sheet", "sheet", "To the next sheet.";
    PreviousSheet, Move, All, [key(KeyCode::BackTab)], "sheet before", "sheet", "To the sheet before.";
    Enter, Change, All, [key(KeyCode::Enter)], "change the cell", "change", "Change the cell; a number can be begun by typing it. In a page, follow the line.";
    Back, Move, All, [key(KeyCode::Esc)], "back", "back", "One level back: out of an entry, a page, a block, a search.";
    Clear, Change, Ledger, [key(KeyCode::Delete), key(KeyCode::Backspace)], "empty the cells", "empty", "Empty the cell, or all entered cells of the block.";
    FillDown, Change, Ledger, [letter('d')], "fill down", "fill", "Write the first row of the block into the rows under it; without a block, the cell above into this one.";
    AddRow, Change, Ledger, [letter('n')], "new row", "new row", "Add a row under this one and ask for its name.";
    CopyRow, Change, Ledger, [letter('N')], "row like this one", "like this", "Add a copy of this row under it and ask for its name.";
    RemoveRow, Change, Ledger, [letter('A')], "take rows away", "away", "Take the row, or the rows of the block, out of the plan.";
    RowUp, Change, Ledger, [with(KeyModifiers::ALT, KeyCode::Up), letter('[')], "row up", "row up", "Move the row, or the rows of the block, one up in the stored order.";
    RowDown, Change, Ledger, [with(KeyModifiers::ALT, KeyCode::Down), letter(']')], "row down", "row down", "Move the row, or the rows of the block, one down in the stored order.";
    Mark, Change, Ledger, [letter('m')], "mark a block", "mark", "Start a block at this cell; moving makes it larger, the same key ends it.";
    Copy, Change, Ledger, [letter('c')], "copy", "copy", "Copy the block as a table, for this program and for the clipboard of the terminal.";
    CopyToFile, Change, Ledger, [letter('C')], "copy into a file", "to file", "Write the block as a table into a file.";
    Paste, Change, Ledger, [letter('p'), control('v')], "paste here", "paste", "Paste what was copied, after a look at what it would do.";
    Proposals, Change, All, [letter('P')], "proposals", "propose", "The proposals over this plan; go into one, and edits belong to it.";
    NewProposal, Change, All, [letter('T')], "new proposal", "new", "Make a proposal and go into it; in a proposal the new one stands on that.";
    LeaveProposal, Change, All, [letter('R')], "out of the proposal", "out", "Back to the base; the proposal keeps what was changed in it.";
    Accept, Change, All, [letter('J')], "accept the proposal", "accept", "Write the proposal you are in into the base, as one step.";
    DropProposal, Change, All, [letter('Y')], "drop the proposal", "drop it", "Take the proposal you are in away with all its changes.";
    Beside, Look, All, [letter('B')], "side by side", "beside", "Base and proposals beside each other: findings, totals, rows that differ.";
    Undo, Change, All, [letter('u')], "undo", "undo", "Take the last step back.";
    Redo, Change, All, [letter('r')], "redo", "redo", "Make the step again that was taken back.";
    Steps, Look, All, [letter('s')], "steps", "steps", "All steps of this sitting; follow one to go back or forward to it.";
    Find, Arrange, Ledger, [control('f')], "find", "find", "Look for a text in the cells of this sheet.";
    FindNext, Arrange, Ledger, [letter(';')], "find next", "next", "To the next cell that holds the text.";
    Keep, Arrange, Ledger, [letter('k')], "keep rows", "keep", "Show only rows where a condition holds, such as `margin < 1 dB`; empty shows all.";
    KeepVerdict, Arrange, Ledger, [letter('v')], "keep a verdict", "verdict", "Show only rows that fail, then only tight, unknown and fitting ones, then all.";
    Order, Arrange, Ledger, [letter('o')], "order", "order", "Show rows ordered by this column: rising, falling, then as stored.";
    OrderWithin, Arrange, Ledger, [letter('O')], "order within", "within", "Order by this column where those before it are alike.";
    Columns, Arrange, Ledger, [letter('l')], "columns", "columns", "Which columns are shown and in which order; kept in the plan.";
    HideColumn, Arrange, Ledger, [letter('h')], "hide the column", "hide", "Hide this column; `columns` brings it back.";
    ColumnLeft, Arrange, Ledger, [with(KeyModifiers::ALT, KeyCode::Left), letter('{')], "column left", "left", "Move this column one to the left; kept in the plan.";
    ColumnRight, Arrange, Ledger, [with(KeyModifiers::ALT, KeyCode::Right), letter('}')], "column right", "right", "Move this column one to the right; kept in the plan.";
    Narrower, Arrange, Ledger, [letter('(')], "narrower", "narrower", "Make this column narrower.";
    Wider, Arrange, Ledger, [letter(')')], "wider", "wider", "Make this column wider.";
    Formula, Change, Ledger, [letter('e')], "formula", "formula", "Change the formula of this column, for all its rows.";
    AddColumn, Change, Ledger, [letter('E')], "own column", "column", "Add a column of your own: entered, or with a formula.";
    DropFormula, Change, Ledger, [letter('D')], "drop the formula", "drop", "Put the built-in formula back; takes away an own column that is the last.";
    Why, Look, All, [letter('w')], "why", "why", "Where the value of this cell comes from, step by step; follow a line to its cell's own reason.";
    WhyPane, Look, Ledger, [letter('W')], "pane with the reason", "pane", "Show or hide the short reason beside the ledger.";
    Findings, Look, All, [letter('f')], "findings", "findings", "What the checks found, worst first; follow one to its cell.";
    NextFinding, Look, Ledger, [letter('j')], "next finding", "next", "To the next row that has a finding.";
    Changes, Look, All, [letter('b')], "what changed", "changed", "Findings that came and went with the last step.";
    Remarks, Look, All, [key(KeyCode::F(4))], "remarks", "remarks", "What was not as expected when the plan was opened, and formulas that are wrong.";
    Picture, Look, All, [letter('i')], "picture", "picture", "A picture of this row: light of a link, front of a switch, trail of a path.";
    Ratios, Look, All, [letter('t')], "ratios", "ratios", "Ratios of all switches as bars, normal and with one uplink cable out.";
    Failures, Look, All, [letter('x')], "failures", "failures", "What breaks when a link, a member, a route or a switch is out, worst first.";
    Sweep, Look, All, [letter('z')], "sweep", "sweep", "Turn the number in this cell, or an assumption, over a range: curves of the row, and where its verdict turns.";
    Options, Look, All, [letter('y')], "options for the link", "options", "Every interface and medium that could carry this link, or those of the block, ranked; follow one to take it.";
    Growth, Look, All, [letter('g')], "growth", "growth", "When ports, cages, access and uplinks of each switch are full, and what the next step up gives.";
    OrderList, Look, All, [letter('L')], "order list", "order", "What to buy for the planned links, against stock; follow a line to the links behind it.";
    Assumptions, Look, All, [letter('a')], "assumptions", "assumed", "Values of the whole plan; follow one to change it.";
    Functions, Look, All, [key(KeyCode::F(2))], "functions", "functions", "What formulas may call.";
    Care, Look, All, [key(KeyCode::F(3))], "care", "care", "Caution with laser light, glass, power and copper between buildings.";
    Import, Plan, All, [letter('I')], "import", "import", "Read a cable list into the plan: xlsx, xlsb, xls, ods, csv or tsv, after a look at where each heading goes.";
    Merge, Plan, All, [letter('M')], "merge a returned workbook", "merge", "Bring back what others changed in an exported workbook: a list of changes to take or to leave.";
    Save, Plan, All, [control('s')], "save", "save", "Save the plan.";
    SaveAs, Plan, All, [letter('S')], "save as", "save as", "Save the plan under another name, which it keeps.";
    Export, Plan, All, [letter('X')], "export", "export", "Write pages for others: a workbook that calculates by itself, a page to print, a work list, lists.";
    Help, Plan, All, [letter('?'), key(KeyCode::F(1))], "keys", "keys", "The keys of this view.";
    Actions, Plan, All, [letter(' ')], "all actions", "all", "Every action by name; type a part of it.";
    Redraw, Plan, All, [control('l')], "draw again", "redraw", "Draw the whole screen again.";
    Suspend, Plan, All, [control('z')], "to the shell", "shell", "Leave the program waiting and go to the shell; `fg` comes back.";
    Quit, Plan, All, [letter('q'), control('c')], "quit", "quit", "End; asks where steps are not saved.";
];

impl Action {
    /// What is known of it.
    pub fn record(self) -> &'static Record {
        // The order of `RECORDS` is the order of help, so it is searched; a test finds every action.
        RECORDS
            .iter()
            .find(|record| record.action == self)
            .unwrap_or(&RECORDS[0])
    }
}

/// The action of a key, in the ledger or in a page.
pub fn of_key(event: KeyEvent, in_ledger: bool) -> Option<Action> {
    let key = pressed(event);
    let works = |record: &&Record| in_ledger || record.place == Place::All;
    let found = RECORDS
        .iter()
        .filter(works)
        .find(|record| record.keys.contains(&key));
    found.map(|record| record.action)
}

/// A key without what a terminal adds: Shift is in the letter already.
fn pressed(event: KeyEvent) -> Key {
    let modifiers = match event.code {
        KeyCode::Char(_) | KeyCode::BackTab => event.modifiers - KeyModifiers::SHIFT,
        _ => event.modifiers,
    };
    Key(event.code, modifiers)
}

impl Family {
    /// The heading in help.
    pub fn title(self) -> &'static str {
        match self {
            Self::Move => "Getting about",
            Self::Change => "Changing the plan",
            Self::Arrange => "What is shown",
            Self::Look => "Understanding",
            Self::Plan => "Plan and program",
        }
    }
}

impl std::fmt::Display for Key {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self(code, modifiers) = self;
        for (modifier, name) in [
            (KeyModifiers::CONTROL, "Ctrl-"),
            (KeyModifiers::ALT, "Alt-"),
            (KeyModifiers::SHIFT, "Shift-"),
        ] {
            if modifiers.contains(modifier) {
                f.write_str(name)?;
            }
        }
        match code {
            KeyCode::Char(' ') => f.write_str("Space"),
            KeyCode::Char(letter) => write!(f, "{letter}"),
            KeyCode::F(number) => write!(f, "F{number}"),
            KeyCode::Up => f.write_str("Up"),
            KeyCode::Down => f.write_str("Down"),
            KeyCode::Left => f.write_str("Left"),
            KeyCode::Right => f.write_str("Right"),
            KeyCode::Home => f.write_str("Home"),
            KeyCode::End => f.write_str("End"),
            KeyCode::PageUp => f.write_str("PgUp"),
            KeyCode::PageDown => f.write_str("PgDn"),
            KeyCode::Tab => f.write_str("Tab"),
            KeyCode::BackTab => f.write_str("Shift-Tab"),
            KeyCode::Enter => f.write_str("Enter"),
            KeyCode::Esc => f.write_str("Esc"),
            KeyCode::Delete => f.write_str("Del"),
            KeyCode::Backspace => f.write_str("Backspace"),
            _ => f.write_str("?"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn no_two_actions_share_a_key() {
        let mut seen = HashSet::new();
        for record in RECORDS {
            for key in record.keys {
                assert!(seen.insert(key.to_string()), "{key}");
            }
        }
    }

    #[test]
    fn every_action_has_its_record_and_a_key() {
        for record in RECORDS {
            assert_eq!(record.action.record().name, record.name);
            assert!(!record.keys.is_empty(), "{}", record.name);
            assert!(record.doc.ends_with('.'), "{}", record.name);
        }
    }

    #[test]
    fn no_key_that_begins_a_number_is_an_action() {
        for begun in "0123456789-+".chars() {
            let event = KeyEvent::new(KeyCode::Char(begun), NONE);
            assert_eq!(of_key(event, true), None, "{begun}");
        }
    }
}
