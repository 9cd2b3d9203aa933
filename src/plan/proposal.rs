//! Proposals: named lists of changes that stand over the base, as text and as edits of a plan.
//!
//! Changes are kept as text, by the name of their sheet, the id of their row and the name of their
//! column, so that they hold when rows are sorted or come and go. What differs while a proposal is
//! open is kept in `under.rs`. Files, steps and screens know nothing of how it is done.

use super::Edit;
use super::Entry;
use super::Plan;
use super::Under;
use super::under::is_same;
use crate::problem::Problem;
use crate::sheet::ColumnKind;
use crate::table::ParamId;
use crate::table::RowId;
use crate::table::SheetId;
use crate::units::Unit;
use crate::units::Units;
use serde::Deserialize;
use serde::Serialize;
use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::collections::HashMap;

/// The most proposals that can stand on each other.
pub const MAX_STACK: usize = 16;

/// A named list of changes over the base.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Proposal {
    /// What it is called; case does not tell proposals apart.
    pub name: String,
    /// What a person says of it.
    pub note: String,
    /// The proposal that it stands on; none for the base.
    pub on: Option<String>,
    /// The changes, made one after the other.
    pub changes: Vec<Alteration>,
}

/// One change of a proposal, as text; fields that its kind has no use for are empty.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Alteration {
    /// What it does: a word of [`KINDS`]; any other is kept and has no effect.
    pub kind: String,
    /// The name of the sheet.
    pub sheet: String,
    /// The id of the row, or the name of the assumption.
    pub row: String,
    /// The name of the column.
    pub column: String,
    /// The value in the unit of the column, or the formula.
    pub value: String,
    /// Where the value of an assumption comes from.
    pub source: String,
}

/// Writes a cell.
pub const CELL: &str = "cell";
/// Adds a row at the end of its sheet; the cells of it follow.
pub const ADD: &str = "add";
/// Takes a row away.
pub const REMOVE: &str = "remove";
/// Sets an assumption.
pub const ASSUME: &str = "assume";
/// Puts a formula in place of that of a column.
pub const FORMULA: &str = "formula";
/// Puts the built-in formula of a column, or the built-in value of an assumption, back.
pub const FORGET: &str = "forget";

/// The words for what a change does.
pub const KINDS: [&str; 6] = [CELL, ADD, REMOVE, ASSUME, FORMULA, FORGET];

/// A value of an assumption: content, source, and whether it is the person's.
pub(super) type Assumed = (Entry, String, bool);

/// A row that a proposal adds: its sheet and the cells that hold something.
type Added = (SheetId, Vec<(usize, Entry)>);

/// What the changes of a proposal come to, over what it stands on.
#[derive(Debug, Default)]
pub(super) struct Effect {
    pub(super) cells: BTreeMap<(SheetId, RowId, usize), Entry>,
    pub(super) removed: BTreeSet<(SheetId, RowId)>,
    pub(super) added: Vec<Added>,
    pub(super) assumptions: BTreeMap<ParamId, Assumed>,
    pub(super) formulas: BTreeMap<(SheetId, usize), Option<String>>,
    /// Changes that do not fit, by position, and why.
    pub(super) unfit: Vec<(usize, Problem)>,
}

impl Alteration {
    fn of_row(kind: &str, sheet: &str, row: &str) -> Self {
        Self {
            kind: kind.to_owned(),
            sheet: sheet.to_owned(),
            row: row.to_owned(),
            ..Self::default()
        }
    }

    fn of_column(kind: &str, sheet: &str, column: &str) -> Self {
        Self {
            kind: kind.to_owned(),
            sheet: sheet.to_owned(),
            column: column.to_owned(),
            ..Self::default()
        }
    }

    /// The change in one line.
    pub fn line(&self) -> String {
        let parts = [&self.kind, &self.sheet, &self.row, &self.column];
        let words: Vec<&str> = parts
            .into_iter()
            .map(String::as_str)
            .filter(|part| !part.is_empty())
            .collect();
        words.join(" ")
    }
}

impl Plan {
    /// The proposals of the plan, in the order in which they were made.
    pub fn proposals(&self) -> &[Proposal] {
        &self.proposals
    }

    /// The position of the proposal of a name, in any case.
    pub fn proposal(&self, name: &str) -> Option<usize> {
        let lower = name.trim().to_lowercase();
        let mut known = self.proposals.iter();
        known.position(|proposal| proposal.name.trim().to_lowercase() == lower)
    }

    /// The proposal of a name, in any case.
    ///
    /// # Errors
    /// A name that no proposal has.
    pub fn must_propose(&self, name: &str) -> Result<&Proposal, Problem> {
        let found = self.proposal(name).and_then(|at| self.proposals.get(at));
        found.ok_or_else(|| {
            let names = self.proposals.iter().map(|proposal| proposal.name.as_str());
            let problem = Problem::new(
                "proposal-unknown",
                format!("there is no proposal `{}`", name.trim()),
            )
            .did_you_mean(name, names.clone());
            match self.proposals.is_empty() {
                true => problem.help("this plan has none yet"),
                false => problem.help(format!(
                    "there are: {}",
                    names.collect::<Vec<_>>().join(", ")
                )),
            }
        })
    }

    /// The proposals that one stands on, lowest first, itself last.
    ///
    /// # Errors
    /// A name that no proposal has, proposals that stand on each other in a circle, or more than
    /// may stand on each other.
    pub fn stack(&self, name: &str) -> Result<Vec<&Proposal>, Problem> {
        let mut stack = vec![self.must_propose(name)?];
        while let Some(below) = stack.last().and_then(|top| top.on.as_deref()) {
            let below = self.must_propose(below)?;
            if stack.iter().any(|known| known.name == below.name) {
                return Err(Problem::new(
                    "proposals-in-circle",
                    format!("proposal `{}` stands on itself", below.name),
                )
                .help("change what it stands `on` in the plan file"));
            }
            stack.push(below);
            if stack.len() > MAX_STACK {
                return Err(Problem::new(
                    "proposals-too-deep",
                    format!("more than {MAX_STACK} proposals stand on each other"),
                )
                .help("accept the lowest of them first"));
            }
        }
        stack.reverse();
        Ok(stack)
    }

    /// The proposals that stand right on this one.
    pub fn standing_on(&self, name: &str) -> impl Iterator<Item = &Proposal> {
        let lower = name.trim().to_lowercase();
        let is_on = move |on: &String| on.trim().to_lowercase() == lower;
        let all = self.proposals.iter();
        all.filter(move |proposal| proposal.on.as_ref().is_some_and(&is_on))
    }

    /// The edit that brings a plan from the base into a proposal, with changes that do not fit.
    ///
    /// # Errors
    /// A name that no proposal has, a stack as in [`Plan::stack`], or a plan that is in a proposal
    /// already.
    pub fn enter_edit(&self, name: &str) -> Result<(Edit, Vec<Problem>), Problem> {
        self.must_be_base()?;
        let stack: Vec<String> = self
            .stack(name)?
            .iter()
            .map(|one| one.name.clone())
            .collect();
        let [.., top] = stack.as_slice() else {
            return self.layer_edit(name);
        };
        if stack.len() == 1 {
            return self.layer_edit(top);
        }
        // Each one is read over those below it, so they have to be there.
        let (mut copy, mut edits, mut problems) = (self.clone(), Vec::new(), Vec::new());
        for name in &stack {
            let (edit, unfit) = copy.layer_edit(name)?;
            copy.apply(edit.clone())?;
            edits.push(edit);
            problems.extend(unfit);
        }
        Ok((Edit::Group(edits), problems))
    }

    /// The edit that puts one proposal over the plan as it is, with changes that do not fit.
    ///
    /// # Errors
    /// A name that no proposal has.
    pub fn layer_edit(&self, name: &str) -> Result<(Edit, Vec<Problem>), Problem> {
        let proposal = self.must_propose(name)?;
        let effect = self.effect(proposal, None);
        let mut edits = vec![Edit::OpenProposal {
            name: proposal.name.clone(),
        }];
        edits.extend(effect.edits(|sheet| self.rows(sheet).order().len()));
        let problems = effect.unfit.into_iter();
        Ok((
            Edit::Group(edits),
            problems.map(|(_, problem)| problem).collect(),
        ))
    }

    /// Changes of a proposal that do not fit what it stands on, where that is the base.
    pub fn unfit(&self, proposal: &Proposal) -> Vec<Problem> {
        if proposal.on.is_some() {
            return Vec::new();
        }
        let unfit = self.effect(proposal, self.layers.first().map(|layer| &layer.under));
        unfit
            .unfit
            .into_iter()
            .map(|(_, problem)| problem)
            .collect()
    }

    /// The edit that leaves the open proposals for the base, the content of the uppermost one
    /// written down.
    ///
    /// # Errors
    /// A plan that is in no proposal.
    pub fn leave_edit(&self) -> Result<Edit, Problem> {
        let mut edits = self.back_edits();
        let (at, proposal) = self.open_proposal()?;
        if self.proposals.get(at) != Some(&proposal) {
            edits.push(put(at, proposal));
        }
        Ok(Edit::Group(edits))
    }

    /// The edit that makes a new proposal with no changes.
    ///
    /// # Errors
    /// A name that is empty or taken, or nothing to stand on.
    pub fn propose_edit(&self, name: &str, note: &str, on: Option<&str>) -> Result<Edit, Problem> {
        let name = name.trim();
        if name.is_empty() {
            return Err(Problem::new("no-name", "a proposal needs a name").help("type one"));
        }
        if self.proposal(name).is_some() {
            return Err(Problem::new(
                "proposal-there",
                format!("there is already a proposal `{name}`"),
            )
            .help("choose another name, or drop that one first"));
        }
        let on = match on {
            Some(on) => {
                let stack = self.stack(on)?;
                if stack.len() == MAX_STACK {
                    return Err(Problem::new(
                        "proposals-too-deep",
                        format!("more than {MAX_STACK} proposals stand on each other"),
                    )
                    .help("accept the lowest of them first"));
                }
                stack.last().map(|below| below.name.clone())
            }
            None => None,
        };
        Ok(Edit::SetProposal {
            name: name.to_owned(),
            proposal: Some((
                self.proposals.len(),
                Proposal {
                    name: name.to_owned(),
                    note: note.trim().to_owned(),
                    on,
                    changes: Vec::new(),
                },
            )),
        })
    }

    /// The edit that writes a proposal into the base and takes it away; changes that do not fit
    /// stay in it, and are given. What stood on it stands on the base then.
    ///
    /// # Errors
    /// A name that no proposal has, one that stands on another, or a plan that is in another
    /// proposal.
    pub fn accept_edit(&self, name: &str) -> Result<(Edit, Vec<Problem>), Problem> {
        let known = self.must_propose(name)?;
        if let Some(on) = &known.on {
            return Err(Problem::new(
                "stands-on-another",
                format!("`{}` stands on `{on}`", known.name),
            )
            .help(format!("accept `{on}` first")));
        }
        let mut edits = self.edits_out_of(&known.name)?;
        let under = self.layers.first().map(|layer| &layer.under);
        let (at, proposal) = match under {
            Some(_) => self.open_proposal()?,
            None => (self.proposal(name).unwrap_or(0), known.clone()),
        };
        let effect = self.effect(&proposal, under);
        edits.extend(effect.edits(|sheet| match under {
            Some(under) => under.n_rows(self, sheet),
            None => self.rows(sheet).order().len(),
        }));
        let kept = effect
            .unfit
            .iter()
            .map(|(at, _)| proposal.changes[*at].clone());
        let kept: Vec<Alteration> = kept.collect();
        let problems = effect.unfit.into_iter().map(|(_, problem)| problem);
        let problems: Vec<Problem> = problems.collect();
        edits.push(match kept.is_empty() {
            true => Edit::SetProposal {
                name: proposal.name.clone(),
                proposal: None,
            },
            false => put(
                at,
                Proposal {
                    changes: kept,
                    ..proposal.clone()
                },
            ),
        });
        if problems.is_empty() {
            for above in self.standing_on(&proposal.name) {
                let at = self.proposal(&above.name).unwrap_or(0);
                let above = Proposal {
                    on: None,
                    ..above.clone()
                };
                // One that is taken away makes those behind it move up.
                let gone = self.proposal(&proposal.name).is_some_and(|gone| gone < at);
                edits.push(put(at - usize::from(gone), above));
            }
        }
        Ok((Edit::Group(edits), problems))
    }

    /// The edit that takes a proposal away with all its changes.
    ///
    /// # Errors
    /// A name that no proposal has, one that others stand on, or a plan that is in another
    /// proposal.
    pub fn drop_edit(&self, name: &str) -> Result<Edit, Problem> {
        let known = self.must_propose(name)?;
        if let Some(above) = self.standing_on(&known.name).next() {
            return Err(Problem::new(
                "others-stand-on-it",
                format!("`{}` stands on `{}`", above.name, known.name),
            )
            .help(format!("drop `{}` first", above.name)));
        }
        let mut edits = self.edits_out_of(&known.name)?;
        edits.push(Edit::SetProposal {
            name: known.name.clone(),
            proposal: None,
        });
        Ok(Edit::Group(edits))
    }

    /// The edits that leave a proposal without writing it down; none where the plan is the base.
    fn edits_out_of(&self, name: &str) -> Result<Vec<Edit>, Problem> {
        match self.layers.last() {
            None => Ok(Vec::new()),
            Some(top) if top.name == name => Ok(self.back_edits()),
            Some(_) => {
                self.must_be_base()?;
                Ok(Vec::new())
            }
        }
    }

    /// The edits from where the plan is back to the base.
    fn back_edits(&self) -> Vec<Edit> {
        let layers = self.layers.iter().rev();
        layers
            .flat_map(|layer| {
                let mut edits = layer.under.back();
                edits.push(Edit::CloseProposal);
                edits
            })
            .collect()
    }

    /// The uppermost open proposal as it is now, with its position.
    ///
    /// # Errors
    /// A plan that is in no proposal.
    pub fn open_proposal(&self) -> Result<(usize, Proposal), Problem> {
        let layer = self.layers.last().ok_or_else(|| {
            Problem::new("in-no-proposal", "this is the base, no proposal is open")
                .help("choose a proposal first")
        })?;
        let at = self.proposal(&layer.name);
        let known = at.and_then(|at| self.proposals.get(at).map(|known| (at, known)));
        let (at, known) = known.ok_or_else(|| {
            Problem::new(
                "proposal-unknown",
                format!("there is no proposal `{}`", layer.name),
            )
        })?;
        let before = self.effect(known, Some(&layer.under));
        let now = self.changes_of(&layer.under.effect(self));
        if now == self.changes_of(&before) {
            return Ok((at, known.clone()));
        }
        let unfit = before
            .unfit
            .iter()
            .map(|(at, _)| known.changes[*at].clone());
        let changes = now.into_iter().chain(unfit).collect();
        Ok((
            at,
            Proposal {
                changes,
                ..known.clone()
            },
        ))
    }

    /// What an effect is as text: the same effect is always the same text.
    fn changes_of(&self, effect: &Effect) -> Vec<Alteration> {
        let mut out = Vec::new();
        for (param, (entry, source, own)) in &effect.assumptions {
            let known = &self.assumptions[param.at()];
            let mut change = Alteration::of_row(ASSUME, "", &known.def.name);
            match own {
                true => {
                    change.value = entry.text(&known.unit, &self.names);
                    change.source.clone_from(source);
                }
                false => FORGET.clone_into(&mut change.kind),
            }
            out.push(change);
        }
        for ((sheet, column), formula) in &effect.formulas {
            let def = self.def(*sheet);
            let mut change = Alteration::of_column(FORMULA, &def.name, &def.columns[*column].name);
            match formula {
                Some(formula) => change.value.clone_from(formula),
                None => FORGET.clone_into(&mut change.kind),
            }
            out.push(change);
        }
        let mut cells: Vec<_> = effect.cells.iter().collect();
        let rank = |sheet: &SheetId, row: &RowId| self.rows(*sheet).rank().get(row.at()).copied();
        cells.sort_by_key(|((sheet, row, column), _)| (*sheet, rank(sheet, row), *row, *column));
        for ((sheet, row, column), entry) in cells {
            let id = self.id_under(*sheet, *row);
            out.push(self.cell_change(*sheet, &id, *column, entry));
        }
        for (sheet, row) in self.in_order(&effect.removed) {
            let id = self.id_under(sheet, row);
            out.push(Alteration::of_row(REMOVE, &self.def(sheet).name, &id));
        }
        for (sheet, cells) in &effect.added {
            let id = cells.iter().find(|(column, _)| *column == 0);
            let id = id.map_or(String::new(), |(_, entry)| {
                entry.text(&Unit::none(), &self.names)
            });
            out.push(Alteration::of_row(ADD, &self.def(*sheet).name, &id));
            let rest = cells.iter().filter(|(column, _)| *column != 0);
            out.extend(rest.map(|(column, entry)| self.cell_change(*sheet, &id, *column, entry)));
        }
        out
    }

    fn cell_change(&self, sheet: SheetId, id: &str, column: usize, entry: &Entry) -> Alteration {
        let (sheet, def) = (&self.def(sheet).name, self.column(sheet, column));
        let unit = Units::builtin().unit(&def.unit);
        let unit = unit.unwrap_or_else(|_| Unit::none());
        Alteration {
            kind: CELL.to_owned(),
            sheet: sheet.clone(),
            row: id.to_owned(),
            column: def.name.clone(),
            value: entry.text(&unit, &self.names),
            source: String::new(),
        }
    }

    /// The id of a row in what the open proposal stands on.
    fn id_under(&self, sheet: SheetId, row: RowId) -> String {
        let under = self.layers.last().map(|layer| &layer.under);
        let entry = under.and_then(|under| under.cell(sheet, row, 0));
        match entry {
            Some(entry) => entry.text(&Unit::none(), &self.names),
            None => self.id(sheet, row),
        }
    }

    /// Rows in the order of what the open proposal stands on.
    fn in_order(&self, rows: &BTreeSet<(SheetId, RowId)>) -> Vec<(SheetId, RowId)> {
        let sheets: BTreeSet<SheetId> = rows.iter().map(|(sheet, _)| *sheet).collect();
        let under = self.layers.last().map(|layer| &layer.under);
        let order = |sheet: &SheetId| {
            let before = under.and_then(|under| under.order(*sheet));
            before.unwrap_or_else(|| self.rows(*sheet).order())
        };
        let all = sheets
            .iter()
            .flat_map(|sheet| order(sheet).iter().map(|row| (*sheet, *row)));
        all.filter(|place| rows.contains(place)).collect()
    }

    /// What the changes of a proposal come to over the plan as it is, or over what an open
    /// proposal stands on.
    pub(super) fn effect(&self, proposal: &Proposal, under: Option<&Under>) -> Effect {
        let mut reading = Reading {
            plan: self,
            rows: self.rows_named(proposal, under),
            named: HashMap::new(),
            effect: Effect::default(),
        };
        for (at, change) in proposal.changes.iter().enumerate() {
            if let Err(mut problem) = reading.change(change) {
                problem.message = format!(
                    "proposal `{}`: `{}` has no effect: {}",
                    proposal.name,
                    change.line(),
                    problem.message
                );
                problem
                    .help
                    .push("the change is kept; mend it in the plan file".to_owned());
                reading.effect.unfit.push((at, problem));
            }
        }
        let Reading { mut effect, .. } = reading;
        let removed = &effect.removed;
        effect.cells.retain(|(sheet, row, column), entry| {
            let base = under.and_then(|under| under.cell(*sheet, *row, *column));
            let base = base
                .cloned()
                .unwrap_or_else(|| self.entry(*sheet, *column, *row));
            !removed.contains(&(*sheet, *row)) && !is_same(&base, entry)
        });
        effect.assumptions.retain(|param, now| {
            let before = self.assumed_under(*param, under);
            !(is_same(&before.0, &now.0) && before.1 == now.1 && before.2 == now.2)
        });
        effect
            .formulas
            .retain(|(sheet, column), now| self.formula_under(*sheet, *column, under) != *now);
        effect
    }

    /// The rows of what a proposal stands on that its changes name, by sheet and folded id.
    fn rows_named(
        &self,
        proposal: &Proposal,
        under: Option<&Under>,
    ) -> HashMap<(SheetId, u32), Named> {
        let mut wanted: BTreeMap<SheetId, HashMap<u32, Option<Named>>> = BTreeMap::new();
        for change in &proposal.changes {
            if matches!(&*change.kind, CELL | REMOVE)
                && let Some(sheet) = self.sheet(&change.sheet)
            {
                let code = self.names.code(change.row.trim());
                let folded = self.names.folded(code);
                wanted.entry(sheet).or_default().insert(folded, None);
            }
        }
        let mut out = HashMap::new();
        for (sheet, mut wanted) in wanted {
            self.look_for(sheet, under, &mut wanted);
            let found = wanted
                .into_iter()
                .filter_map(|(folded, named)| Some(((sheet, folded), named?)));
            out.extend(found);
        }
        out
    }

    /// Notes for each wanted folded id the row that has it in what a proposal stands on.
    fn look_for(
        &self,
        sheet: SheetId,
        under: Option<&Under>,
        wanted: &mut HashMap<u32, Option<Named>>,
    ) {
        let (rows, view) = (self.rows(sheet), self.names.view());
        let ids = rows.column(0).codes();
        let own = under.filter(|under| !under.is_empty());
        let order = own.and_then(|under| under.order(sheet));
        for row in order.unwrap_or_else(|| rows.order()) {
            if own.is_some_and(|under| under.is_added(sheet, *row)) {
                continue;
            }
            let code = match own.and_then(|under| under.cell(sheet, *row, 0)) {
                Some(Entry::Text(code)) => *code,
                Some(Entry::Empty | Entry::Number(_) | Entry::Wrong(_)) => continue,
                None => match ids.get(row.at()) {
                    Some(code) => *code,
                    None => continue,
                },
            };
            let Some(named) = wanted.get_mut(&view.folded(code)) else {
                continue;
            };
            let is_builtin = rows.is_builtin(*row);
            *named = match named {
                // A person's row beats a built-in one of the same id.
                Some(Named::One(known)) if rows.is_builtin(*known) => Some(Named::One(*row)),
                Some(known) if is_builtin => Some(*known),
                Some(Named::One(_) | Named::Many) => Some(Named::Many),
                None => Some(Named::One(*row)),
            };
        }
    }

    /// Whether rows are told apart by their id in what the uppermost open proposal stands on.
    ///
    /// # Errors
    /// A row without an id, or with the id of another one.
    pub(super) fn must_be_named(&self, sheet: SheetId, rows: &[RowId]) -> Result<(), Problem> {
        if rows.is_empty() {
            return Ok(());
        }
        let (mut wanted, mut ids) = (HashMap::new(), Vec::with_capacity(rows.len()));
        for row in rows {
            let id = self.id_under(sheet, *row);
            if id.trim() != id || id.is_empty() {
                return Err(Problem::new(
                    "row-nameless",
                    "a proposal tells rows by their id, and this one has none",
                )
                .help("leave the proposal and give it one in the base"));
            }
            let folded = self.names.folded(self.names.code(&id));
            wanted.insert(folded, None);
            ids.push((folded, id));
        }
        let under = self.layers.last().map(|layer| &layer.under);
        self.look_for(sheet, under, &mut wanted);
        for (row, (folded, id)) in rows.iter().zip(ids) {
            if wanted.get(&folded) != Some(&Some(Named::One(*row))) {
                return Err(Problem::new(
                    "row-ambiguous",
                    format!(
                        "a proposal tells rows by their id, and more than one is called `{id}`"
                    ),
                )
                .help("leave the proposal and give each an id of its own in the base"));
            }
        }
        Ok(())
    }

    pub(super) fn assumed_under(&self, param: ParamId, under: Option<&Under>) -> Assumed {
        let before = under.and_then(|under| under.assumption(param));
        before.cloned().unwrap_or_else(|| {
            let known = &self.assumptions[param.at()];
            (known.entry.clone(), known.source.clone(), known.own)
        })
    }

    /// The formula that a person gave a column; of an own column its formula.
    pub(super) fn own_formula(&self, sheet: SheetId, column: usize) -> Option<String> {
        match self.is_own(sheet, column) {
            true => self.column(sheet, column).formula.clone(),
            false => self.overrides.get(&(sheet, column)).cloned(),
        }
    }

    fn formula_under(
        &self,
        sheet: SheetId,
        column: usize,
        under: Option<&Under>,
    ) -> Option<String> {
        let before = under.and_then(|under| under.formula(sheet, column));
        before.map_or_else(|| self.own_formula(sheet, column), Option::clone)
    }

    fn must_be_base(&self) -> Result<(), Problem> {
        match self.layers.last() {
            None => Ok(()),
            Some(layer) => Err(Problem::new(
                "in-proposal",
                format!("proposal `{}` is open", layer.name),
            )
            .help("leave the proposal first")),
        }
    }
}

impl Effect {
    /// The edits that bring it about over what it was read from; `n_rows` says how many rows a
    /// sheet has there.
    fn edits(&self, n_rows: impl Fn(SheetId) -> usize) -> Vec<Edit> {
        let mut edits = Vec::new();
        for (param, (entry, source, own)) in &self.assumptions {
            edits.push(Edit::SetAssumption {
                param: *param,
                entry: entry.clone(),
                source: source.clone(),
                own: *own,
            });
        }
        for ((sheet, column), formula) in &self.formulas {
            edits.push(Edit::SetFormula {
                sheet: *sheet,
                column: *column,
                formula: formula.clone(),
            });
        }
        let mut cells: BTreeMap<SheetId, Vec<_>> = BTreeMap::new();
        for ((sheet, row, column), entry) in &self.cells {
            let of_sheet = cells.entry(*sheet).or_default();
            of_sheet.push(((*column, *row), entry.clone()));
        }
        let cells = cells.into_iter();
        edits.extend(cells.map(|(sheet, cells)| Edit::SetCells { sheet, cells }));
        let mut added: BTreeMap<SheetId, Vec<_>> = BTreeMap::new();
        for (sheet, cells) in &self.added {
            added.entry(*sheet).or_default().push(cells.clone());
        }
        edits.extend(added.into_iter().map(|(sheet, rows)| Edit::AddRows {
            sheet,
            at: n_rows(sheet),
            rows,
        }));
        let mut removed: BTreeMap<SheetId, Vec<RowId>> = BTreeMap::new();
        for (sheet, row) in &self.removed {
            removed.entry(*sheet).or_default().push(*row);
        }
        let removed = removed.into_iter();
        edits.extend(removed.map(|(sheet, rows)| Edit::RemoveRows { sheet, rows }));
        edits
    }
}

/// What an id names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Named {
    One(RowId),
    Many,
}

/// A row that a change names.
#[derive(Debug, Clone, Copy)]
enum Meant {
    /// A row of what the proposal stands on.
    Under(RowId),
    /// A row that the proposal adds, by position.
    Added(usize),
}

/// Reads the changes of a proposal one after the other.
struct Reading<'p> {
    plan: &'p Plan,
    rows: HashMap<(SheetId, u32), Named>,
    /// Rows that were added, by sheet and folded id.
    named: HashMap<(SheetId, u32), usize>,
    effect: Effect,
}

impl Reading<'_> {
    fn change(&mut self, change: &Alteration) -> Result<(), Problem> {
        match &*change.kind {
            CELL => self.cell(change),
            ADD => self.add(change),
            REMOVE => self.remove(change),
            ASSUME => self.assume(change),
            FORMULA => self.formula(change, Some(change.value.clone())),
            FORGET if change.sheet.is_empty() => self.forget(change),
            FORGET => self.formula(change, None),
            other => Err(
                Problem::new("change-unknown", format!("no change is called `{other}`"))
                    .did_you_mean(other, KINDS),
            ),
        }
    }

    fn sheet(&self, change: &Alteration) -> Result<SheetId, Problem> {
        let plan = self.plan;
        plan.sheet(&change.sheet).ok_or_else(|| {
            Problem::new(
                "no-such-sheet",
                format!("there is no sheet `{}`", change.sheet),
            )
            .did_you_mean(
                &change.sheet,
                plan.schema().iter().map(|def| def.name.as_str()),
            )
        })
    }

    fn column(&self, sheet: SheetId, name: &str) -> Result<usize, Problem> {
        let def = self.plan.def(sheet);
        def.column(name).ok_or_else(|| {
            Problem::new(
                "no-such-column",
                format!("there is no column `{name}` in {}", def.name),
            )
            .did_you_mean(name, def.columns.iter().map(|column| column.name.as_str()))
        })
    }

    fn folded(&self, id: &str) -> u32 {
        let names = &self.plan.names;
        names.folded(names.code(id.trim()))
    }

    fn row(&self, sheet: SheetId, id: &str) -> Result<Meant, Problem> {
        let key = (sheet, self.folded(id));
        if let Some(at) = self.named.get(&key) {
            return Ok(Meant::Added(*at));
        }
        let name = &self.plan.def(sheet).name;
        match self.rows.get(&key) {
            Some(Named::One(row)) if self.effect.removed.contains(&(sheet, *row)) => Err(
                Problem::new("no-such-row", format!("row `{id}` is taken away before")),
            ),
            Some(Named::One(row)) => Ok(Meant::Under(*row)),
            Some(Named::Many) => Err(Problem::new(
                "row-ambiguous",
                format!("more than one row of {name} is called `{id}`"),
            )),
            None => Err(Problem::new(
                "no-such-row",
                format!("there is no row `{id}` in {name}"),
            )),
        }
    }

    /// A row that came with the program is the same in every plan.
    fn must_be_own(&self, sheet: SheetId, row: RowId) -> Result<(), Problem> {
        match self.plan.rows(sheet).is_builtin(row) {
            false => Ok(()),
            true => Err(
                Problem::new("row-builtin", "this row came with the program and stays")
                    .help("add a row with the same id; yours then counts"),
            ),
        }
    }

    fn cell(&mut self, change: &Alteration) -> Result<(), Problem> {
        let sheet = self.sheet(change)?;
        let column = self.column(sheet, &change.column)?;
        self.plan.must_be_entered(sheet, column)?;
        let meant = self.row(sheet, &change.row)?;
        // As in the rows of the plan file, what cannot be read is kept as it is.
        let entry = super::read_entry(self.plan, sheet, column, &change.value)
            .unwrap_or_else(|_| Entry::Wrong(change.value.clone()));
        match meant {
            Meant::Under(row) => {
                self.must_be_own(sheet, row)?;
                self.effect.cells.insert((sheet, row, column), entry);
            }
            Meant::Added(at) => {
                let (_, cells) = &mut self.effect.added[at];
                cells.retain(|(known, _)| *known != column);
                if entry != Entry::Empty {
                    let at = cells.partition_point(|(known, _)| *known < column);
                    cells.insert(at, (column, entry));
                }
            }
        }
        Ok(())
    }

    fn add(&mut self, change: &Alteration) -> Result<(), Problem> {
        let sheet = self.sheet(change)?;
        let entry = super::read_entry(self.plan, sheet, 0, &change.row)?;
        let cells = match entry {
            Entry::Empty => Vec::new(),
            entry => vec![(0, entry)],
        };
        let key = (sheet, self.folded(&change.row));
        self.named.insert(key, self.effect.added.len());
        self.effect.added.push((sheet, cells));
        Ok(())
    }

    fn remove(&mut self, change: &Alteration) -> Result<(), Problem> {
        let sheet = self.sheet(change)?;
        match self.row(sheet, &change.row)? {
            Meant::Under(row) => {
                self.must_be_own(sheet, row)?;
                self.effect.removed.insert((sheet, row));
                Ok(())
            }
            Meant::Added(_) => Err(Problem::new(
                "row-added-before",
                "it takes a row away that this proposal adds",
            )
            .help("leave both changes out")),
        }
    }

    fn param(&self, change: &Alteration) -> Result<ParamId, Problem> {
        let plan = self.plan;
        plan.assumption(&change.row).ok_or_else(|| {
            Problem::new(
                "no-such-assumption",
                format!("there is no assumption `{}`", change.row),
            )
            .did_you_mean(
                &change.row,
                plan.assumptions.iter().map(|known| known.def.name.as_str()),
            )
        })
    }

    fn assume(&mut self, change: &Alteration) -> Result<(), Problem> {
        let param = self.param(change)?;
        let known = &self.plan.assumptions[param.at()];
        let entry = match known.def.text && !change.value.is_empty() {
            true => Entry::Text(self.plan.names.code(&change.value)),
            false => self
                .plan
                .read_assumption(param, &change.value)
                .unwrap_or_else(|_| Entry::Wrong(change.value.clone())),
        };
        let value = (entry, change.source.clone(), true);
        self.effect.assumptions.insert(param, value);
        Ok(())
    }

    fn forget(&mut self, change: &Alteration) -> Result<(), Problem> {
        let param = self.param(change)?;
        let def = &self.plan.assumptions[param.at()].def;
        let kind = match def.text {
            true => ColumnKind::Text,
            false => ColumnKind::Number,
        };
        let unit = &self.plan.assumptions[param.at()].unit;
        let entry = super::entry::read_value(&def.value, kind, unit, &[], &self.plan.names)?;
        let value = (entry, def.source.clone(), false);
        self.effect.assumptions.insert(param, value);
        Ok(())
    }

    fn formula(&mut self, change: &Alteration, formula: Option<String>) -> Result<(), Problem> {
        let sheet = self.sheet(change)?;
        let column = self.column(sheet, &change.column)?;
        if self.plan.column(sheet, column).entered() {
            return Err(Problem::new(
                "column-entered",
                "an entered column has no formula",
            ));
        }
        if formula.is_none() && self.plan.is_own(sheet, column) {
            return Err(Problem::new(
                "no-built-in",
                format!("`{}` has no built-in formula to go back to", change.column),
            ));
        }
        self.effect.formulas.insert((sheet, column), formula);
        Ok(())
    }
}

/// The edit that puts a proposal in the place of the one of its name.
fn put(at: usize, proposal: Proposal) -> Edit {
    Edit::SetProposal {
        name: proposal.name.clone(),
        proposal: Some((at, proposal)),
    }
}
