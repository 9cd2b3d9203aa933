//! A module that was read, as a row of the sheet `modules`.
//!
//! Gives one edit, so that an import can be taken back. A row of the same id is read again: what
//! the person said about it (link, end, notes, an interface that the dump leaves open) stays.

use super::Module;
use super::codes::Medium;
use super::interface::Found;
use super::readings::{Alarm, Power, Quantity, Readings};
use crate::plan::Edit;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::plan::read_entry;
use crate::problem::Problem;
use crate::table::{RowId, SheetId};

/// Where the person says that a module sits, and how it is called.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// The id of the link, and the word for its end: `near` or `far`.
    pub link: Option<(String, &'static str)>,
    /// A name for the row; without it the serial number.
    pub id: Option<String>,
}

/// A row to be.
#[derive(Debug)]
pub struct Placed {
    /// Adds the row or puts new values in it.
    pub edit: Edit,
    /// Its id.
    pub id: String,
    /// Whether the module was in the plan already.
    pub is_again: bool,
}

/// A cell by the name of its column, as it would be typed.
type Typed = (&'static str, String);

/// Puts a module into the sheet `modules` of a plan; `source` names the file.
///
/// # Errors
/// A plan without that sheet, a link that is not there, or an id that another part has.
pub fn place(plan: &Plan, module: &Module, place: &Place, source: &str) -> Result<Placed, Problem> {
    let sheet = plan.sheet("modules").ok_or_else(|| {
        Problem::new("no-such-sheet", "there is no sheet `modules`").help("use a plan with modules")
    })?;
    let id = id_of(plan, sheet, module, place);
    let old = plan.find(sheet, &id);
    if let Some(row) = old {
        same_part(plan, sheet, row, &id, module)?;
    }
    let mut typed = typed(module, source);
    // Where the module does not say it, what the person typed stays.
    typed.retain(|(name, text)| *name != "interface" || !text.is_empty());
    if let Some((link, end)) = &place.link {
        typed.push(("link", link_id(plan, link)?));
        typed.push(("end", (*end).to_owned()));
    }
    let cells = entries(plan, sheet, &typed)?;
    let edit = match old {
        Some(row) => Edit::SetCells {
            sheet,
            cells: cells
                .into_iter()
                .map(|(at, entry)| ((at, row), entry))
                .collect(),
        },
        None => Edit::AddRows {
            sheet,
            at: plan.rows(sheet).order().len(),
            rows: vec![with_id(plan, sheet, &id, cells)?],
        },
    };
    Ok(Placed {
        edit,
        id,
        is_again: old.is_some(),
    })
}

/// The cells of a new row: the empty ones are left out.
fn with_id(
    plan: &Plan,
    sheet: SheetId,
    id: &str,
    cells: Vec<(usize, Entry)>,
) -> Result<Vec<(usize, Entry)>, Problem> {
    let mut row = vec![(0, read_entry(plan, sheet, 0, id)?)];
    row.extend(
        cells
            .into_iter()
            .filter(|(_, entry)| *entry != Entry::Empty),
    );
    Ok(row)
}

/// The name given, else the serial number, else the next free `MOD1`, `MOD2`.
fn id_of(plan: &Plan, sheet: SheetId, module: &Module, place: &Place) -> String {
    let serial = module.identity.serial.as_str();
    let given = place
        .id
        .as_deref()
        .map(str::trim)
        .filter(|id| !id.is_empty());
    if let Some(id) = given.or(Some(serial).filter(|serial| !serial.is_empty())) {
        return id.to_owned();
    }
    let n_rows = plan.rows(sheet).order().len();
    let free = (1..=n_rows + 1).map(|n| format!("MOD{n}"));
    let mut free = free.filter(|id| plan.find(sheet, id).is_none());
    free.next().unwrap_or_else(|| "MOD".to_owned())
}

/// Refuses to write one module over another.
fn same_part(
    plan: &Plan,
    sheet: SheetId,
    row: RowId,
    id: &str,
    module: &Module,
) -> Result<(), Problem> {
    let column = plan.def(sheet).column("vendor_part");
    let known = column.map(|column| plan.entry(sheet, column, row));
    let Some(Entry::Text(code)) = known else {
        return Ok(());
    };
    let (old, new) = (plan.names().text(code), &module.identity.part);
    if new.is_empty() || old == *new {
        return Ok(());
    }
    Err(Problem::new(
        "module-id-taken",
        format!("`{id}` is part {old} in the plan, and part {new} in the dump"),
    )
    .help("give the row another name: --id NAME"))
}

/// The id of a link as it stands in the plan.
fn link_id(plan: &Plan, wanted: &str) -> Result<String, Problem> {
    let links = plan.sheet("links");
    let found = links.and_then(|links| Some(plan.id(links, plan.find(links, wanted)?)));
    found.ok_or_else(|| {
        let ids: Vec<String> = links.map_or(Vec::new(), |links| {
            let order = plan.rows(links).order().iter();
            order.map(|row| plan.id(links, *row)).collect()
        });
        Problem::new("row-unknown", format!("there is no link `{wanted}`"))
            .did_you_mean(wanted, ids.iter().map(String::as_str))
            .help("see the links with: portledger show PLAN links")
    })
}

/// The cells, read as a person would type them.
fn entries(plan: &Plan, sheet: SheetId, typed: &[Typed]) -> Result<Vec<(usize, Entry)>, Problem> {
    let cells = typed.iter().filter_map(|(name, text)| {
        let column = plan.def(sheet).column(name)?;
        Some(read_entry(plan, sheet, column, text).map(|entry| (column, entry)))
    });
    cells.collect()
}

/// Everything a row says of the module itself; what is not known is empty.
fn typed(module: &Module, source: &str) -> Vec<Typed> {
    let identity = &module.identity;
    let number = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
    let mut cells = Vec::from(found_cells(&module.found()));
    cells.extend([
        ("form", identity.form().to_owned()),
        ("connector", identity.connector.to_string()),
        ("wavelength", number(identity.wavelength)),
        ("bit_rate", number(identity.bit_rate)),
        ("vendor", identity.vendor.clone()),
        ("vendor_part", identity.part.clone()),
        ("revision", identity.revision.clone()),
        ("serial", identity.serial.clone()),
        ("made", identity.made.clone()),
        (
            "checksum",
            match identity.is_intact() {
                true => "matches".to_owned(),
                false => "differs".to_owned(),
            },
        ),
        ("source", source.to_owned()),
        ("remarks", module.notes.join("; ")),
    ]);
    for (name, medium) in [
        ("reach", Medium::SingleMode),
        ("reach_om1", Medium::Om1),
        ("reach_om2", Medium::Om2),
        ("reach_om3", Medium::Om3),
        ("reach_om4", Medium::Om4),
        ("cable_length", Medium::Cable),
    ] {
        cells.push((
            name,
            number(identity.length(medium).map(|length| length.metres)),
        ));
    }
    cells.extend(reading_cells(module.readings.as_ref()));
    cells
}

fn found_cells(found: &Found) -> [Typed; 3] {
    let (interface, could_be, basis) = match found {
        Found::One(name, basis) => ((*name).to_owned(), String::new(), basis.word()),
        Found::Several(names, basis) => (String::new(), names.join(", "), basis.word()),
        Found::Unknown(_) => (String::new(), String::new(), ""),
    };
    [
        ("interface", interface),
        ("could_be", could_be),
        ("basis", basis.to_owned()),
    ]
}

/// The readings, rounded to what their steps carry.
fn reading_cells(readings: Option<&Readings>) -> Vec<Typed> {
    let rounded = |value: Option<f64>, steps: f64| {
        let value = value.map(|value| (value * steps).round() / steps);
        value.map_or(String::new(), |value| value.to_string())
    };
    let level = |power: Option<Power>| rounded(power.and_then(Power::dbm), 1000.0);
    let received = readings.and_then(Readings::least_received);
    let limits = readings.and_then(|readings| readings.thresholds.as_ref());
    let limits = limits.map(|limits| limits.received);
    let limits = limits.filter(|limits| limits.high_alarm > limits.low_alarm);
    let state = match received {
        Some(power) if power.is_dark() => "no light",
        Some(_) => "light",
        None => "",
    };
    let alarms = readings.map_or(Vec::new(), other_alarms);
    let alarms: Vec<String> = alarms.iter().map(Alarm::to_string).collect();
    vec![
        (
            "temperature",
            rounded(readings.and_then(|one| one.temperature), 100.0),
        ),
        (
            "supply",
            rounded(readings.and_then(|one| one.supply), 10_000.0),
        ),
        (
            "bias",
            rounded(readings.and_then(Readings::greatest_bias), 1000.0),
        ),
        ("tx_power", level(readings.and_then(Readings::least_sent))),
        ("rx_power", level(received)),
        ("rx_state", state.to_owned()),
        ("rx_alarm_low", level(limits.map(|limits| limits.low_alarm))),
        (
            "rx_alarm_high",
            level(limits.map(|limits| limits.high_alarm)),
        ),
        ("alarms", alarms.join(", ")),
    ]
}

/// Alarms that the columns of received light do not show: those columns have the lane with the
/// least light.
fn other_alarms(readings: &Readings) -> Vec<Alarm> {
    let (least, limits) = (readings.least_received(), readings.thresholds.as_ref());
    let is_shown = |alarm: &Alarm| {
        let (Some(least), Some(limits)) = (least, limits) else {
            return false;
        };
        match alarm.side {
            _ if alarm.quantity != Quantity::Received || !alarm.by_reading => false,
            super::Side::Low => true,
            super::Side::High => least > limits.received.high_alarm,
        }
    };
    let mut alarms = readings.alarms();
    alarms.retain(|alarm| !is_shown(alarm));
    alarms
}
