//! Values over many rows as workbook formulas, and the search for a row by its keys.
//!
//! The sheet that is gone through gets a column with the values that count. A sum is then one sum
//! with a condition; the greatest of a group is the value before which no other comes.

use super::book::{Place, Stored};
use super::express::{Binds, Flag, Number};
use super::translate::{Told, Translator, untold};
use crate::formula::Form;
use crate::formula::Gathered;
use crate::formula::Node;
use crate::formula::Ty;
use crate::formula::Typed;
use crate::formula::program::Gather;
use crate::table::{ColumnId, SheetId};

/// Up to so many rows are compared with each other in a workbook.
const MOST_COMPARED: usize = 5_000;

/// What stands for a value that counts and is missing.
pub const LOST: &str = "missing";

/// How far apart two values of a group have to be to count as different.
const APART: &str = "1E-12";

/// The column of values that count.
struct Counted {
    place: Place,
    scale: f64,
    /// Whether a value that counts may be missing.
    may_lack: bool,
}

impl Translator<'_> {
    /// A value over many rows.
    pub(super) fn aggregate(&mut self, gathered: &Gathered) -> Told<Number> {
        let here = self.here;
        let over = self.block(gathered.over);
        let key = match &gathered.key {
            Some((column, with)) => {
                self.here = over;
                let by = self.group(*column);
                self.here = here;
                let at = self.at(with)?;
                Some((by?, at, matches!(with.node, Node::This)))
            }
            None => None,
        };
        self.here = over;
        let counted = self.counted(gathered);
        self.here = here;
        let counted = counted?;
        let number = self.gathered(gathered.gather, over, &counted, key.as_ref())?;
        match key {
            Some((_, at, false)) => {
                let at = at.text(Binds::Join);
                let text = format!("IF({at}=\"\",1/0,{})", number.text(Binds::Compare));
                Ok(Number::of(text, Binds::Whole, number.scale))
            }
            Some((_, _, true)) | None => Ok(number),
        }
    }

    /// The column that says to which group a row belongs, by its position in the block.
    fn group(&mut self, column: ColumnId) -> Told<Place> {
        let nodes = &self.engine.graph().nodes[column.at()];
        let part = Typed {
            span: 0..0,
            ty: nodes.ty,
            node: Node::Column {
                id: column,
                entered: nodes.is_entered(),
            },
        };
        let at = self.at(&part)?;
        match place_of(&at) {
            Some(place) => Ok(place),
            None => untold("rows are joined by something that is no column"),
        }
    }

    fn counted(&mut self, gathered: &Gathered) -> Told<Counted> {
        let flags = gathered.conditions.iter().map(|one| self.flag(one));
        let flags = flags.collect::<Told<Vec<Flag>>>()?;
        let is_open = !flags.is_empty();
        let yes = Flag::And(flags).yes();
        let value = gathered.value.as_ref().map(|value| self.number(value));
        let value = value.transpose()?;
        let scale = value
            .as_ref()
            .map_or(1.0, |value| match value.is_constant() {
                true => 1.0,
                false => value.scale,
            });
        let (text, may_lack) = match &value {
            None => ("1".to_owned(), false),
            Some(value) if value.sure => {
                (value.clone().in_scale(scale).text(Binds::Compare), false)
            }
            Some(value) => match self.asks_for(gathered, value)? {
                true => (value.text(Binds::Compare), false),
                false => {
                    let hard = value.hard(Binds::Compare);
                    (format!("IFERROR({hard},\"{LOST}\")"), true)
                }
            },
        };
        let text = match is_open {
            true => format!("IF({yes},{text},\"\")"),
            false => text,
        };
        let stored = Stored::Counted {
            conditions: gathered.conditions.clone(),
            value: gathered.value.clone().map(Box::new),
            scale,
        };
        let place = self.helper(text, "counted", stored, scale)?;
        Ok(Counted {
            place,
            scale,
            may_lack,
        })
    }

    /// Whether only rows count that have the value.
    fn asks_for(&mut self, gathered: &Gathered, value: &Number) -> Told<bool> {
        for condition in &gathered.conditions {
            if let Node::Call {
                form: Form::IsGiven,
                args,
                ..
            } = &condition.node
                && matches!(args[0].ty, Ty::Number(_))
                && self.number(&args[0])? == *value
            {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn gathered(
        &mut self,
        gather: Gather,
        over: usize,
        counted: &Counted,
        key: Option<&(Place, Number, bool)>,
    ) -> Told<Number> {
        let values = counted.place.range();
        // The condition of the group, as it begins the conditions of a count and ends those of a sum.
        let (group, and_group) = match key {
            Some((by, at, _)) => {
                let condition = format!("{},{}", by.range(), at.text(Binds::Compare));
                (format!("{condition},"), format!(",{condition}"))
            }
            None => (String::new(), String::new()),
        };
        let lacks = format!("COUNTIFS({group}{values},\"{LOST}\")>0");
        let n_values = format!("COUNTIFS({group}{values},\">-1E+300\")");
        let sum = match and_group.is_empty() {
            true => format!("SUM({values})"),
            false => format!("SUMIFS({values}{and_group})"),
        };
        let text = match gather {
            Gather::Total => sum,
            Gather::Tally => format!("COUNTIFS({group}{values},1)"),
            Gather::Mean => format!("{sum}/{n_values}"),
            Gather::Largest | Gather::Smallest => match key {
                None => {
                    let name = if gather == Gather::Largest {
                        "MAX"
                    } else {
                        "MIN"
                    };
                    format!("IF({n_values}=0,1/0,{name}({values}))")
                }
                Some((by, _, _)) => {
                    let first = self
                        .first(over, counted, *by, gather == Gather::Largest)?
                        .range();
                    format!("SUMIFS({values}{and_group},{first},0)/COUNTIFS({group}{first},0)")
                }
            },
        };
        let always = matches!(gather, Gather::Total | Gather::Tally);
        let mut binds = Binds::Product;
        let mut text = text;
        if counted.may_lack {
            text = format!("IF({lacks},1/0,{text})");
            binds = Binds::Whole;
        }
        if let Some((_, at, true)) = key
            && self.blocks[self.here].is_nameless
        {
            // Nothing can name a row without an id, so its group is empty.
            let none = if always { "0" } else { "1/0" };
            text = format!("IF({}=\"\",{none},{text})", at.text(Binds::Join));
            binds = Binds::Whole;
        }
        let is_own = key.is_none_or(|(_, _, is_this)| *is_this);
        let number = Number::of(text, binds, counted.scale);
        Ok(number.sure_if(always && !counted.may_lack && is_own))
    }

    /// The column that says how many values of the same group come before one.
    fn first(&mut self, over: usize, counted: &Counted, by: Place, falling: bool) -> Told<Place> {
        if self.blocks[over].rows.len() > MOST_COMPARED {
            return untold("it compares more rows with each other than a workbook should");
        }
        let here = std::mem::replace(&mut self.here, over);
        let (value, group) = (counted.place.cell(), by.cell());
        let edge = match falling {
            true => format!("\">\"&({value}+ABS({value})*{APART})"),
            false => format!("\"<\"&({value}-ABS({value})*{APART})"),
        };
        let text = format!(
            "IF(OR({value}=\"\",{value}=\"{LOST}\",{group}=\"\"),\"\",COUNTIFS({},{group},{},{edge}))",
            by.range(),
            counted.place.range()
        );
        let stored = Stored::Rank {
            of: counted.place,
            by,
            falling,
        };
        let place = self.helper(text, "values before", stored, 1.0);
        self.here = here;
        place
    }

    /// The search for the row of a sheet by its keys, as a position in its block.
    pub(super) fn search(&mut self, sheet: SheetId, keys: &[(ColumnId, Typed)]) -> Told<String> {
        let here = self.here;
        let over = self.block(sheet);
        if self.blocks[over].is_nameless {
            // It may be found by its cells, but no formula could name it then.
            return untold("it searches among rows of which one has no id");
        }
        let mut wanted = Vec::new();
        for (_, with) in keys {
            wanted.push(self.at(with)?);
        }
        self.here = over;
        let places = keys.iter().map(|(column, _)| self.group(*column));
        let places = places.collect::<Told<Vec<Place>>>();
        self.here = here;
        match (places?.as_slice(), wanted.as_slice()) {
            ([one], [at]) if self.is_single(over, keys) => Ok(format!(
                "MATCH({},{},0)",
                at.hard(Binds::Compare),
                one.range()
            )),
            ([one], [at]) => self.last(over, *one, at),
            ([one, two], [first, second]) if self.is_single(over, keys) => {
                self.here = over;
                let (a, b) = (one.cell(), two.cell());
                let text = format!("IF(OR({a}=\"\",{b}=\"\"),\"\",{a}&\"|\"&{b})");
                let pair = self.helper(text, "key", Stored::Pair(*one, *two), 1.0);
                self.here = here;
                let (a, b) = (first.text(Binds::Sum), second.text(Binds::Sum));
                Ok(format!("MATCH({a}&\"|\"&{b},{},0)", pair?.range()))
            }
            _ => untold("it searches for one of several rows"),
        }
    }

    /// The last row of a group: the one with the greatest position.
    fn last(&mut self, over: usize, by: Place, at: &Number) -> Told<String> {
        let here = std::mem::replace(&mut self.here, over);
        let sheet = self.blocks[over].sheet;
        let part = Typed {
            span: 0..0,
            ty: Ty::Row(sheet),
            node: Node::This,
        };
        let own = self.at(&part).map(|own| place_of(&own));
        self.here = here;
        let Some(place) = own? else {
            return untold("a row has no place");
        };
        let counted = Counted {
            place,
            scale: 1.0,
            may_lack: false,
        };
        let first = self.first(over, &counted, by, true)?.range();
        let (values, by, at) = (place.range(), by.range(), at.hard(Binds::Compare));
        Ok(format!(
            "SUMIFS({values},{by},{at},{first},0)/COUNTIFS({by},{at},{first},0)"
        ))
    }

    /// Whether no two rows of a block have the same keys.
    fn is_single(&self, over: usize, keys: &[(ColumnId, Typed)]) -> bool {
        let block = &self.blocks[over];
        if self.plan.def(block.sheet).reference {
            return true;
        }
        let mut seen = rustc_hash::FxHashSet::default();
        let rows = block.rows.iter();
        rows.map(|row| {
            let key = keys
                .iter()
                .map(|(column, _)| self.engine.row_at(*column, *row));
            key.collect::<Vec<u32>>()
        })
        .filter(|key| !key.contains(&crate::table::ABSENT))
        .all(|key| seen.insert(key))
    }
}

/// The place of a number that is one cell.
fn place_of(number: &Number) -> Option<Place> {
    let text = number.text(Binds::Compare);
    match super::book::pieces(&text).as_slice() {
        [
            super::book::Piece::Plain(""),
            super::book::Piece::Cell(place),
            super::book::Piece::Plain(""),
        ] => Some(*place),
        _ => None,
    }
}
