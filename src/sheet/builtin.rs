//! The built-in sheets, their reference rows and the assumptions a plan starts with.
//!
//! A list of files only; what stands in them is theirs.

use super::{AssumptionDef, SheetDef};
use serde::Deserialize;
use std::sync::OnceLock;

/// A file of `sheets/` as `ready.rs` left it.
macro_rules! ready {
    ($name:literal) => {
        include_str!(concat!(env!("OUT_DIR"), "/", $name, ".json"))
    };
}

/// A built-in sheet: its name, its definition, and its rows as CSV; empty where it has none.
struct File {
    name: &'static str,
    ready: &'static str,
    rows: &'static str,
}

const FILES: [File; 17] = [
    File {
        name: "links",
        ready: ready!("links"),
        rows: "",
    },
    File {
        name: "switches",
        ready: ready!("switches"),
        rows: "",
    },
    File {
        name: "paths",
        ready: ready!("paths"),
        rows: "",
    },
    File {
        name: "parts",
        ready: ready!("parts"),
        rows: "",
    },
    File {
        name: "modules",
        ready: ready!("modules"),
        rows: "",
    },
    File {
        name: "segments",
        ready: ready!("segments"),
        rows: "",
    },
    File {
        name: "readings",
        ready: ready!("readings"),
        rows: "",
    },
    File {
        name: "interfaces",
        ready: ready!("interfaces"),
        rows: include_str!("../../sheets/interfaces.csv"),
    },
    File {
        name: "media",
        ready: ready!("media"),
        rows: include_str!("../../sheets/media.csv"),
    },
    File {
        name: "channels",
        ready: ready!("channels"),
        rows: include_str!("../../sheets/channels.csv"),
    },
    File {
        name: "glass",
        ready: ready!("glass"),
        rows: include_str!("../../sheets/glass.csv"),
    },
    File {
        name: "optics",
        ready: ready!("optics"),
        rows: include_str!("../../sheets/optics.csv"),
    },
    File {
        name: "ratings",
        ready: ready!("ratings"),
        rows: include_str!("../../sheets/ratings.csv"),
    },
    File {
        name: "cautions",
        ready: ready!("cautions"),
        rows: include_str!("../../sheets/cautions.csv"),
    },
    File {
        name: "fits",
        ready: ready!("fits"),
        rows: include_str!("../../sheets/fits.csv"),
    },
    File {
        name: "assemblies",
        ready: ready!("assemblies"),
        rows: include_str!("../../sheets/assemblies.csv"),
    },
    File {
        name: "power_classes",
        ready: ready!("power_classes"),
        rows: include_str!("../../sheets/power_classes.csv"),
    },
];

const ASSUMPTIONS: &str = ready!("assume");

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Assumptions {
    assumption: Vec<AssumptionDef>,
}

/// The built-in sheets in the order in which a person meets them.
pub fn builtin() -> &'static [SheetDef] {
    static SHEETS: OnceLock<Vec<SheetDef>> = OnceLock::new();
    SHEETS.get_or_init(|| {
        // Rows are read beside the definitions. A thread of its own, since one of a pool may be given
        // work that waits for the sheets.
        let sheets = std::thread::scope(|scope| {
            scope.spawn(all_rows);
            let one = |file: &File| serde_json::from_str(file.ready);
            FILES.iter().map(one).collect::<Result<Vec<SheetDef>, _>>()
        });
        sheets.expect("a test holds the ready form to the files")
    })
}

/// The rows of a built-in reference sheet as CSV with a header; empty where it has none.
pub fn builtin_rows(sheet: &str) -> &'static str {
    let file = FILES.iter().find(|file| file.name == sheet);
    file.map_or("", |file| file.rows)
}

/// The cells of a built-in reference sheet, row by row, without the header.
pub fn rows_of(sheet: &str) -> &'static [Vec<String>] {
    let at = FILES.iter().position(|file| file.name == sheet);
    at.map_or(&[], |at| &all_rows()[at])
}

/// The rows of all files, each without its header.
///
/// One reader goes through all of them, as making one takes longer than reading most files.
fn all_rows() -> &'static [Vec<Vec<String>>] {
    static ROWS: OnceLock<Vec<Vec<Vec<String>>>> = OnceLock::new();
    ROWS.get_or_init(|| {
        let mut text = String::new();
        let ends = FILES.iter().map(|file| {
            text.push_str(file.rows);
            if !file.rows.is_empty() && !file.rows.ends_with('\n') {
                text.push('\n');
            }
            text.len()
        });
        let ends: Vec<usize> = ends.collect();
        let mut rows: Vec<Vec<Vec<String>>> = vec![Vec::new(); FILES.len()];
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes());
        for record in reader.records().filter_map(Result::ok) {
            let start = record.position().map_or(0, csv::Position::byte);
            let of = |end: &usize| start < *end as u64;
            if let Some(at) = ends.iter().position(of) {
                rows[at].push(record.iter().map(str::to_owned).collect());
            }
        }
        let headed = |rows: Vec<Vec<String>>| rows.into_iter().skip(1).collect();
        rows.into_iter().map(headed).collect()
    })
}

/// The assumptions that a plan starts with.
pub fn assumptions() -> &'static [AssumptionDef] {
    static ASSUMED: OnceLock<Vec<AssumptionDef>> = OnceLock::new();
    ASSUMED.get_or_init(|| {
        serde_json::from_str::<Assumptions>(ASSUMPTIONS)
            .expect("a test holds the ready form to the files")
            .assumption
    })
}

#[cfg(test)]
mod tests {
    use super::super::load::{load, parse};
    use super::super::{ColumnDef, ColumnKind};
    use super::*;
    use crate::units::{Units, read};
    use std::collections::{BTreeMap, BTreeSet};
    use std::path::Path;

    type Row = BTreeMap<String, String>;

    const RESERVED: [&str; 8] = ["this", "yes", "no", "missing", "and", "or", "not", "assume"];

    fn header(sheet: &str) -> Vec<String> {
        let mut reader = csv::Reader::from_reader(builtin_rows(sheet).as_bytes());
        reader
            .headers()
            .unwrap()
            .iter()
            .map(str::to_owned)
            .collect()
    }

    fn rows(sheet: &str) -> Vec<Row> {
        let mut reader = csv::Reader::from_reader(builtin_rows(sheet).as_bytes());
        reader.deserialize().map(Result::unwrap).collect()
    }

    fn references() -> impl Iterator<Item = &'static SheetDef> {
        builtin().iter().filter(|sheet| sheet.reference)
    }

    fn columns() -> impl Iterator<Item = (&'static SheetDef, &'static ColumnDef)> {
        let all = |sheet: &'static SheetDef| sheet.columns.iter().map(move |c| (sheet, c));
        builtin().iter().flat_map(all)
    }

    /// Ids in lower case with their rows.
    fn by_id(sheet: &str) -> BTreeMap<String, Row> {
        let keyed = rows(sheet)
            .into_iter()
            .map(|row| (row["id"].to_lowercase(), row));
        keyed.collect()
    }

    fn is_name(name: &str) -> bool {
        name.starts_with(|c: char| c.is_ascii_lowercase())
            && name
                .chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
    }

    #[test]
    fn the_ready_form_is_what_the_files_say() {
        let text = |name: &str| {
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sheets");
            std::fs::read_to_string(folder.join(name)).unwrap()
        };
        for (file, sheet) in FILES.iter().zip(builtin()) {
            let name = format!("{}.toml", file.name);
            assert_eq!(load(&text(&name), &name).as_ref(), Ok(sheet));
        }
        let name = "assume.toml";
        let assumed = parse::<Assumptions>(&text(name), name).map(|all| all.assumption);
        assert_eq!(assumed.as_deref(), Ok(assumptions()));
    }

    #[test]
    fn every_file_of_the_folder_is_built_in() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/sheets");
        let found: BTreeSet<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        let mut listed = BTreeSet::from(["assume.toml".to_owned(), "units.toml".to_owned()]);
        for (file, sheet) in FILES.iter().zip(builtin()) {
            assert_eq!(file.name, sheet.name);
            assert_eq!(sheet.reference, !file.rows.is_empty(), "{}", sheet.name);
            listed.insert(format!("{}.toml", file.name));
            if !file.rows.is_empty() {
                listed.insert(format!("{}.csv", file.name));
            }
        }
        assert_eq!(found, listed);
    }

    #[test]
    fn every_column_is_told_whole() {
        for (sheet, column) in columns() {
            let name = format!("{}.{}", sheet.name, column.name);
            assert!(column.title.starts_with(char::is_uppercase), "{name}");
            assert!(column.doc.ends_with('.'), "{name}");
            assert!(Units::builtin().unit(&column.unit).is_ok(), "{name}");
            assert!(
                column.unit.is_empty() || column.kind == ColumnKind::Number,
                "{name}"
            );
            if let Some(formula) = &column.formula {
                assert!(!formula.trim().is_empty(), "{name}");
                assert!(!column.source.is_empty(), "{name}");
            }
            if let Some(to) = &column.to {
                assert!(builtin().iter().any(|sheet| sheet.name == *to), "{name}");
            }
        }
    }

    #[test]
    fn the_first_column_names_the_rows() {
        for sheet in builtin() {
            let first = &sheet.columns[0];
            assert_eq!((first.name.as_str(), first.kind), ("id", ColumnKind::Text));
            assert!(first.entered(), "{}", sheet.name);
        }
    }

    #[test]
    fn no_name_means_anything_else_in_a_formula() {
        let assumed = assumptions().iter().map(|a| a.name.as_str());
        let names = columns()
            .map(|(_, column)| column.name.as_str())
            .chain(assumed);
        for name in names {
            assert!(is_name(name), "{name}");
            assert!(!RESERVED.contains(&name), "{name}");
            assert!(builtin().iter().all(|sheet| sheet.name != name), "{name}");
            let unit = Units::builtin().unit(name);
            assert!(unit.is_err() || unit.unwrap().symbol != name, "{name}");
        }
    }

    #[test]
    fn every_check_is_told_whole() {
        for sheet in builtin() {
            let names: BTreeSet<&str> = sheet.checks.iter().map(|c| c.name.as_str()).collect();
            assert_eq!(names.len(), sheet.checks.len(), "{}", sheet.name);
            for check in &sheet.checks {
                assert!(
                    !check.source.is_empty() && !check.cases.is_empty(),
                    "{}",
                    check.name
                );
                for case in &check.cases {
                    assert!(!case.when.is_empty(), "{}", check.name);
                    assert!(!case.say.ends_with('.'), "{}", case.say);
                    assert!(case.advise.ends_with('.'), "{}", case.advise);
                    for text in [&case.say, &case.advise] {
                        let of = |brace| text.matches(brace).count();
                        assert_eq!(of('{'), of('}'), "{text}");
                    }
                }
            }
        }
    }

    #[test]
    fn headers_are_the_entered_columns() {
        for sheet in references() {
            let entered = sheet.columns.iter().filter(|column| column.entered());
            let names: Vec<&str> = entered.map(|column| column.name.as_str()).collect();
            assert_eq!(header(&sheet.name), names, "{}", sheet.name);
        }
    }

    #[test]
    fn every_row_says_where_it_is_from() {
        for sheet in references() {
            for row in rows(&sheet.name) {
                assert!(!row["source"].is_empty(), "{row:?}");
                assert!(
                    ["seen", "memory"].contains(&row["confidence"].as_str()),
                    "{row:?}"
                );
            }
        }
    }

    #[test]
    fn ids_are_unique_in_any_case() {
        for sheet in references() {
            assert_eq!(
                by_id(&sheet.name).len(),
                rows(&sheet.name).len(),
                "{}",
                sheet.name
            );
        }
    }

    #[test]
    fn every_cell_fits_its_column() {
        for sheet in references() {
            for row in rows(&sheet.name) {
                for column in sheet.columns.iter().filter(|column| column.entered()) {
                    let cell = row[&column.name].as_str();
                    let is_right = cell.is_empty() || fits(cell, column);
                    assert!(is_right, "{} of {}: `{cell}`", column.name, row["id"]);
                }
            }
        }
    }

    fn fits(cell: &str, column: &ColumnDef) -> bool {
        match column.kind {
            ColumnKind::Number => {
                let unit = Units::builtin().unit(&column.unit).unwrap();
                cell.parse::<f64>().is_ok() && read(cell, &unit).is_ok()
            }
            ColumnKind::Text => cell.trim() == cell,
            ColumnKind::Choice => column.choices.iter().any(|word| word == cell),
            ColumnKind::Row => {
                let to = column.to.as_deref().unwrap();
                by_id(to).contains_key(&cell.to_lowercase())
            }
            ColumnKind::Flag => false,
        }
    }

    #[test]
    fn two_way_pairs_point_back() {
        let interfaces = by_id("interfaces");
        let pairs = interfaces.values().filter(|row| !row["pair"].is_empty());
        let mut n_pairs = 0;
        for row in pairs {
            let other = &interfaces[&row["pair"].to_lowercase()];
            assert_eq!(other["pair"], row["id"]);
            assert_ne!(other["id"], row["id"]);
            assert_eq!(row["fibres"], "1", "{}", row["id"]);
            n_pairs += 1;
        }
        assert!(n_pairs > 0);
    }

    #[test]
    fn interfaces_run_on_the_kinds_of_media_of_their_channels() {
        let (interfaces, media) = (by_id("interfaces"), by_id("media"));
        for channel in rows("channels") {
            let carriers = &interfaces[&channel["interface"].to_lowercase()]["carriers"];
            let kind = &media[&channel["medium"].to_lowercase()]["kind"];
            assert!(
                carriers.split(", ").any(|carrier| carrier == kind),
                "{}",
                channel["id"]
            );
            assert!(!channel["reach"].is_empty(), "{}", channel["id"]);
            let named = format!("{} on {}", channel["interface"], channel["medium"]);
            assert_eq!(channel["id"], named);
        }
    }

    #[test]
    fn every_form_factor_fits_itself() {
        let fits = by_id("fits");
        for interface in rows("interfaces") {
            for form in interface["forms"].split(' ') {
                let id = format!("{form} in {form}").to_lowercase();
                assert_eq!(fits[&id]["works"], "yes", "{id}");
            }
        }
    }

    #[test]
    fn known_figures_are_in_the_channels() {
        let channels = by_id("channels");
        let cases = [
            ("10GBASE-SR on OM1", "33", "1.6"),
            ("10GBASE-SR on OM2", "82", "1.8"),
            ("10GBASE-SR on OM3", "300", "2.6"),
            ("10GBASE-SR on OM4", "400", "2.9"),
            ("10GBASE-LRM on OM3", "220", "1.9"),
            ("10GBASE-ER on OS2", "40000", "10.9"),
            ("1000BASE-SX on OM2", "550", "3.56"),
            ("1000BASE-LX on OM1", "550", "2.35"),
            ("1000BASE-LX on OS1", "5000", "4.57"),
            ("40GBASE-SR4 on OM3", "100", "1.9"),
            ("40GBASE-SR4 on OM4", "150", "1.5"),
            ("10GBASE-T on Cat6", "37", ""),
            ("10GBASE-T on Cat6A", "100", ""),
        ];
        for (id, reach, limit) in cases {
            let row = &channels[&id.to_lowercase()];
            assert_eq!(
                (row["reach"].as_str(), row["loss_limit"].as_str()),
                (reach, limit),
                "{id}"
            );
        }
        assert!(!channels.contains_key("10gbase-t on cat5e"));
        assert!(!channels.contains_key("10gbase-lrm on om4"));
    }

    #[test]
    fn assumptions_are_readable() {
        let mut names = BTreeSet::new();
        for assumed in assumptions() {
            assert!(names.insert(&assumed.name), "{}", assumed.name);
            assert!(!assumed.source.is_empty(), "{}", assumed.name);
            assert!(
                ["seen", "memory"].contains(&assumed.confidence.as_str()),
                "{}",
                assumed.name
            );
            let unit = Units::builtin().unit(&assumed.unit).unwrap();
            let number = read(&assumed.value, &unit).is_ok();
            assert_eq!(number, !assumed.text, "{}", assumed.name);
        }
        let texts = assumptions().iter().filter(|a| a.text);
        assert_eq!(
            texts.map(|a| a.name.as_str()).collect::<Vec<_>>(),
            ["attenuation_basis", "stock_lengths", "currency"]
        );
    }

    #[test]
    fn a_sheet_without_rows_has_no_text() {
        assert_eq!(builtin_rows("links"), "");
        assert_eq!(builtin_rows("nothing"), "");
    }
}
