//! What names mean in formulas of a plan: its sheets, columns, rows and assumptions.

use super::node::{declared, first_columns};
use crate::formula::{ColumnInfo, ParamInfo, Scope, Ty};
use crate::plan::Plan;
use crate::sheet::SheetDef;
use crate::table::{ColumnId, Names, SheetId};
use crate::units::{Measure, Unit, Units};
use rustc_hash::FxHashMap;

/// The names of a plan under a schema.
#[derive(Debug)]
pub struct SchemaScope<'a> {
    plan: &'a Plan,
    schema: &'a [SheetDef],
    first: Vec<ColumnId>,
    /// Where the columns of each sheet stand by name, for whoever asks often.
    places: Option<Vec<FxHashMap<&'a str, usize>>>,
}

impl<'a> SchemaScope<'a> {
    /// The scope of a plan; the schema may have more columns than the plan.
    pub fn new(plan: &'a Plan, schema: &'a [SheetDef]) -> Self {
        Self {
            plan,
            schema,
            first: first_columns(schema),
            places: None,
        }
    }

    /// The same for compiling all formulas: every name is looked up once before.
    pub fn of_all(plan: &'a Plan, schema: &'a [SheetDef]) -> Self {
        let places = schema.iter().map(|sheet| {
            let columns = sheet.columns.iter().enumerate().rev();
            columns.map(|(at, def)| (def.name.as_str(), at)).collect()
        });
        Self {
            places: Some(places.collect()),
            ..Self::new(plan, schema)
        }
    }

    fn place(&self, sheet: SheetId, name: &str) -> Option<usize> {
        match &self.places {
            Some(places) => places[sheet.at()].get(name).copied(),
            None => self.schema[sheet.at()].column(name),
        }
    }
}

/// How many ids are offered as suggestions.
const MOST_SUGGESTED: usize = 2000;

impl Scope for SchemaScope<'_> {
    fn sheet(&self, name: &str) -> Option<SheetId> {
        let at = self.schema.iter().position(|sheet| sheet.name == name)?;
        u16::try_from(at).ok().map(SheetId)
    }

    fn sheet_name(&self, sheet: SheetId) -> &str {
        &self.schema[sheet.at()].name
    }

    fn sheet_names(&self) -> Vec<&str> {
        self.schema
            .iter()
            .map(|sheet| sheet.name.as_str())
            .collect()
    }

    fn column(&self, sheet: SheetId, name: &str) -> Option<ColumnInfo> {
        let position = self.place(sheet, name)?;
        let def = &self.schema[sheet.at()].columns[position];
        let ty = declared(def, |name| self.sheet(name)).unwrap_or(Ty::Number(Measure::NUMBER));
        Some(ColumnInfo {
            id: ColumnId(self.first[sheet.at()].0 + u32::try_from(position).ok()?),
            ty,
            entered: def.entered(),
            unit: Units::builtin()
                .unit(&def.unit)
                .unwrap_or_else(|_| Unit::none()),
        })
    }

    fn column_names(&self, sheet: SheetId) -> Vec<&str> {
        self.schema[sheet.at()]
            .columns
            .iter()
            .map(|column| column.name.as_str())
            .collect()
    }

    fn id_column(&self, sheet: SheetId) -> ColumnId {
        self.first[sheet.at()]
    }

    fn row(&self, sheet: SheetId, id: &str) -> Option<u32> {
        self.plan.find(sheet, id).map(|row| row.0)
    }

    fn row_names(&self, sheet: SheetId) -> Vec<String> {
        let rows = self.plan.rows(sheet).order().iter().take(MOST_SUGGESTED);
        rows.map(|row| self.plan.id(sheet, *row)).collect()
    }

    fn assumption(&self, name: &str) -> Option<ParamInfo> {
        let id = self.plan.assumption(name)?;
        let assumption = &self.plan.assumptions()[id.at()];
        let ty = if assumption.def.text {
            Ty::Text
        } else {
            Ty::Number(assumption.unit.measure)
        };
        Some(ParamInfo {
            id,
            ty,
            unit: assumption.unit.clone(),
        })
    }

    fn assumption_names(&self) -> Vec<&str> {
        self.plan
            .assumptions()
            .iter()
            .map(|known| known.def.name.as_str())
            .collect()
    }

    fn names(&self) -> &Names {
        self.plan.names()
    }
}
