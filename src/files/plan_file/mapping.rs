//! What headings of tables mean, as the tables `[mapping.NAME]` of a plan file.
//!
//! Both ways. What is not understood is kept as it is and told, as everywhere in the file.

use super::extras::{self, TOP};
use super::read::{Opening, Value, text};
use super::toml_text::{key, quoted};
use super::write::table;
use crate::plan::Edit;
use crate::plan::Mapping;
use crate::plan::Plan;
use crate::problem::Problem;
use std::borrow::Cow;
use std::fmt::Write;
use toml::Spanned;
use toml::de::DeValue;

/// The table of mappings.
const MAPPING: &str = "mapping";

impl Opening<'_> {
    /// Reads all mappings.
    pub(super) fn mappings(
        &mut self,
        name: &Spanned<Cow<'_, str>>,
        value: &Value<'_>,
    ) -> Result<(), Problem> {
        let DeValue::Table(mappings) = value.get_ref() else {
            return self.unknown(TOP, name, value);
        };
        for (name, value) in mappings {
            match mapping(value) {
                Some(mapping) => {
                    self.plan.apply(Edit::SetMapping {
                        name: name.get_ref().clone().into_owned(),
                        mapping: Some(mapping),
                    })?;
                }
                None => self.unknown(MAPPING, name, value)?,
            }
        }
        Ok(())
    }
}

/// A mapping; `None` where any part of it is not understood.
fn mapping(value: &Value<'_>) -> Option<Mapping> {
    let DeValue::Table(parts) = value.get_ref() else {
        return None;
    };
    let mut mapping = Mapping::default();
    for (name, value) in parts {
        match (name.get_ref().as_ref(), value.get_ref()) {
            ("headings", DeValue::Array(headings)) => {
                let headings = headings
                    .iter()
                    .map(|heading| text(heading).map(str::to_owned));
                mapping.headings = headings.collect::<Option<_>>()?;
            }
            ("columns", DeValue::Table(columns)) => {
                for (heading, column) in columns {
                    let column = text(column)?.to_owned();
                    mapping
                        .columns
                        .push((heading.get_ref().clone().into_owned(), column));
                }
            }
            _ => return None,
        }
    }
    mapping.columns.sort();
    Some(mapping)
}

/// Writes all mappings.
pub(super) fn push(out: &mut String, plan: &Plan) {
    let unknown = extras::of_table(plan, MAPPING);
    let unknown = unknown.filter(|(name, _)| !plan.mappings.contains_key(*name));
    let unknown = unknown.fold(String::new(), |mut lines, (name, value)| {
        // Writing to a string cannot fail, here and below.
        let _ = writeln!(lines, "{} = {value}", key(name));
        lines
    });
    table(out, MAPPING, &unknown);
    for (name, mapping) in &plan.mappings {
        let headings: Vec<String> = mapping.headings.iter().map(|text| quoted(text)).collect();
        let columns = mapping.columns.iter();
        let columns: Vec<String> = columns
            .map(|(heading, column)| format!("{} = {}", key(heading), quoted(column)))
            .collect();
        let lines = format!(
            "headings = [{}]\ncolumns = {{ {} }}\n",
            headings.join(", "),
            columns.join(", ")
        );
        table(out, &format!("{MAPPING}.{}", key(name)), &lines);
    }
}
