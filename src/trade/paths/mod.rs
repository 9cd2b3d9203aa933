//! The columns of the sheet `paths`: what each path takes, and why, hop by hop.
//!
//! The search itself is in `search`, the links and devices that it goes through in `net`.

mod net;
mod search;

pub use search::Hop;

use crate::engine::Engine;
use crate::engine::MadeDef;
use crate::engine::Reason;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::table::{ABSENT, Cell, Column, ColumnId, MISSING, RowId, SheetId, stored};
use net::Net;
use search::{Way, least};

/// The columns of the sheet that are made here.
pub const MADE: MadeDef = MadeDef {
    sheet: "paths",
    columns: &[
        "taken",
        "trouble",
        "hops",
        "propagation",
        "conversion",
        "correction",
        "serialization",
        "forwarding",
        "capacity",
        "flow_ceiling",
    ],
    reads: &[
        ("paths", "from"),
        ("paths", "to"),
        ("paths", "via"),
        ("links", "id"),
        ("links", "from"),
        ("links", "to"),
        ("links", "forwards"),
        ("links", "propagation"),
        ("links", "conversion"),
        ("links", "correction"),
        ("links", "serialization"),
        ("links", "capacity"),
        ("links", "flow_ceiling"),
        ("switches", "forwarding"),
        ("switches", "own_delay"),
    ],
    make,
};

/// What a cell asks for.
struct Asked {
    row: RowId,
    from: u32,
    to: u32,
    /// Both as typed.
    said: [u32; 2],
    /// The parts of `via`, as typed.
    via: Vec<String>,
}

/// What a path comes to.
struct Path {
    taken: String,
    hops: Vec<Hop>,
    capacity: f64,
    flow_ceiling: f64,
}

fn make(plan: &Plan, engine: &Engine) -> Vec<Column> {
    let n_rows = plan
        .sheet(MADE.sheet)
        .map_or(0, |sheet| plan.rows(sheet).n_stored());
    let mut texts = [vec![ABSENT; n_rows], vec![ABSENT; n_rows]];
    let mut numbers: Vec<Vec<f64>> = vec![vec![MISSING; n_rows]; MADE.columns.len() - texts.len()];
    let asked = all_asked(plan);
    if let Some(net) = net_of(plan, engine, &asked) {
        for ask in &asked {
            let at = ask.row.at();
            match path(plan, &net, ask) {
                Ok(path) => {
                    texts[0][at] = plan.names().code(&path.taken);
                    for (column, value) in numbers.iter_mut().zip(figures(&path)) {
                        column[at] = stored(value);
                    }
                }
                Err(trouble) => texts[1][at] = plan.names().code(&trouble),
            }
        }
    }
    let numbers = numbers.into_iter().map(Column::of_numbers);
    texts
        .into_iter()
        .map(Column::of_codes)
        .chain(numbers)
        .collect()
}

/// The numbers of a path in the order of the columns; a missing part makes its sum missing.
fn figures(path: &Path) -> [f64; 8] {
    let sum = |part: fn(&Hop) -> f64| path.hops.iter().map(part).sum();
    [
        path.hops.len() as f64,
        sum(|hop| hop.propagation),
        sum(|hop| hop.conversion),
        sum(|hop| hop.correction),
        sum(|hop| hop.serialization),
        sum(|hop| hop.forwarding),
        path.capacity,
        path.flow_ceiling,
    ]
}

/// Every row of the sheet with both ends.
fn all_asked(plan: &Plan) -> Vec<Asked> {
    let Some(sheet) = plan.sheet(MADE.sheet) else {
        return Vec::new();
    };
    let position = |name| plan.def(sheet).column(name);
    let (Some(from), Some(to), Some(via)) = (position("from"), position("to"), position("via"))
    else {
        return Vec::new();
    };
    let text = |column, row| match plan.entry(sheet, column, row) {
        Entry::Text(code) => Some(code),
        Entry::Empty | Entry::Number(_) | Entry::Wrong(_) => None,
    };
    let ask = |row: &RowId| {
        let typed = text(via, *row).map_or_else(String::new, |code| plan.names().text(code));
        let parts = typed
            .split(',')
            .map(str::trim)
            .filter(|part| !part.is_empty());
        let said = [text(from, *row)?, text(to, *row)?];
        Some(Asked {
            row: *row,
            from: plan.names().folded(said[0]),
            to: plan.names().folded(said[1]),
            said,
            via: parts.map(str::to_owned).collect(),
        })
    };
    plan.rows(sheet).order().iter().filter_map(ask).collect()
}

/// The links that paths between these ends may take; none where nothing is asked.
fn net_of(plan: &Plan, engine: &Engine, asked: &[Asked]) -> Option<Net> {
    let ends = asked.iter().flat_map(|ask| [ask.from, ask.to]);
    let passed = asked.iter().flat_map(|ask| &ask.via);
    let passed = passed.map(|name| plan.names().folded(plan.names().code(name)));
    let wanted: Vec<u32> = ends.chain(passed).collect();
    (!asked.is_empty()).then(|| Net::of(plan, engine, &wanted))?
}

/// The path of a row, or why there is none.
fn path(plan: &Plan, net: &Net, ask: &Asked) -> Result<Path, String> {
    let name = |code: u32| plan.names().text(code);
    if ask.from == ask.to {
        return Err(format!("both ends are `{}`", name(ask.said[0])));
    }
    let end = |code: u32, said: u32| {
        net.device(code)
            .ok_or_else(|| format!("no link that carries traffic ends at `{}`", name(said)))
    };
    let (from, to) = (end(ask.from, ask.said[0])?, end(ask.to, ask.said[1])?);
    let way = |part: &String| {
        let code = plan.names().folded(plan.names().code(part));
        let link = net.link(code).map(Way::Link);
        link.or_else(|| net.device(code).map(Way::Device))
            .ok_or_else(|| format!("`{part}` is no link that carries traffic between switches, and no device at one"))
    };
    let ways = ask.via.iter().map(way).collect::<Result<Vec<_>, _>>()?;
    let hops = least(net, from, to, &ways).ok_or_else(|| {
        let by = if ways.is_empty() { "" } else { " by that way" };
        format!(
            "no link carries traffic from `{}` to `{}`{by}",
            name(ask.said[0]),
            name(ask.said[1])
        )
    })?;
    let links = plan.sheet("links").ok_or("there is no sheet of links")?;
    let ids: Vec<String> = hops.iter().map(|hop| plan.id(links, hop.row)).collect();
    let narrowest = |part: fn(&Hop) -> f64| {
        let all = hops.iter().map(part);
        // Unlike f64::min, a missing one stays missing.
        all.fold(f64::INFINITY, |a, b| {
            if a <= b {
                a
            } else if b < a {
                b
            } else {
                MISSING
            }
        })
    };
    Ok(Path {
        taken: ids.join(" > "),
        capacity: narrowest(|hop| hop.capacity),
        flow_ceiling: narrowest(|hop| hop.flow_ceiling),
        hops,
    })
}

/// A path of the plan and the hops that it takes, or why there is none.
#[derive(Debug, Clone)]
pub struct Trail {
    /// Its row.
    pub row: RowId,
    /// The hops from its beginning to its end.
    pub hops: Result<Vec<Hop>, String>,
}

/// All paths with both ends, hop by hop, in the order shown.
pub fn trails(plan: &Plan, engine: &Engine) -> Vec<Trail> {
    let asked = all_asked(plan);
    let Some(net) = net_of(plan, engine, &asked) else {
        return Vec::new();
    };
    let trail = |ask: &Asked| Trail {
        row: ask.row,
        hops: path(plan, &net, ask).map(|path| path.hops),
    };
    asked.iter().map(trail).collect()
}

/// Puts the hops of a path under every value in a reason that was made of them.
pub fn add_hops(plan: &Plan, engine: &Engine, reason: &mut Reason) {
    let Some(sheet) = plan.sheet(MADE.sheet) else {
        return;
    };
    let made: Vec<(ColumnId, &str)> = MADE
        .columns
        .iter()
        .filter_map(|name| Some((engine.find_column(sheet, name)?, *name)))
        .filter(|(column, _)| engine.formula(*column).is_none())
        .collect();
    add_below(plan, engine, &made, reason);
}

fn add_below(plan: &Plan, engine: &Engine, made: &[(ColumnId, &str)], reason: &mut Reason) {
    let found = reason.cell.and_then(|(column, row)| {
        let (_, name) = made.iter().find(|(known, _)| *known == column)?;
        Some((*name, row))
    });
    match found {
        Some((name, row)) => reason.inputs = hop_reasons(plan, engine, name, row),
        None => {
            let inputs = reason.inputs.iter_mut();
            inputs.for_each(|input| add_below(plan, engine, made, input));
        }
    }
}

/// The hops of one path, each with what it adds to a column.
fn hop_reasons(plan: &Plan, engine: &Engine, column: &str, row: RowId) -> Vec<Reason> {
    let asked = all_asked(plan);
    let ask = asked.iter().find(|ask| ask.row == row);
    let found = ask.and_then(|ask| {
        let net = net_of(plan, engine, &asked)?;
        path(plan, &net, ask).ok()
    });
    let (Some(links), Some(path)) = (plan.sheet("links"), found) else {
        return Vec::new();
    };
    let of_links = |hop: &Hop| link_reason(plan, engine, (links, column), hop);
    let reasons = path.hops.iter().filter_map(|hop| match column {
        "forwarding" => switch_reason(plan, engine, hop),
        _ => of_links(hop),
    });
    reasons.collect()
}

/// What a link adds: its own column of that name with the reason of it, or its two ends.
fn link_reason(
    plan: &Plan,
    engine: &Engine,
    (links, column): (SheetId, &str),
    hop: &Hop,
) -> Option<Reason> {
    let id = plan.id(links, hop.row);
    let end = |name| Some(engine.shown(plan, engine.find_column(links, name)?, hop.row));
    let Some(own) = engine.find_column(links, column) else {
        let (from, to) = (end("from")?, end("to")?);
        let (from, to) = if hop.backward { (to, from) } else { (from, to) };
        return Some(Reason {
            name: id,
            value: format!("{from} to {to}"),
            origin: String::new(),
            formula: None,
            numbers: None,
            assumption: None,
            cell: engine
                .find_column(links, "id")
                .map(|column| (column, hop.row)),
            inputs: Vec::new(),
        });
    };
    let mut reason = engine.reason(plan, own, hop.row);
    reason.name = format!("{id} {column}");
    if column == "serialization" && hop.flows_through {
        reason.value = engine.shown_cell(own, &Cell::Number(hop.serialization));
        reason.origin = "behind a cut-through switch: what a slower line adds".to_owned();
    }
    Some(reason)
}

/// What the switch before a link adds.
fn switch_reason(plan: &Plan, engine: &Engine, hop: &Hop) -> Option<Reason> {
    let switches = plan.sheet("switches")?;
    let delay = engine.find_column(switches, "own_delay")?;
    let switch = hop.behind?;
    let mut reason = engine.reason(plan, delay, switch);
    reason.name = format!("{} {}", plan.id(switches, switch), reason.name);
    Some(reason)
}
