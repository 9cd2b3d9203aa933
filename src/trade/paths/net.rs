//! The links that carry traffic, as a net of devices: only as much of it as paths may take.

use crate::engine::Engine;
use crate::plan::Plan;
use crate::table::{ABSENT, Column, RowId, SheetId, Values};
use rustc_hash::{FxHashMap, FxHashSet};

/// A link between two devices.
#[derive(Debug, Clone)]
pub struct Link {
    /// Its row.
    pub row: RowId,
    /// The devices at its ends, as places in [`Net::devices`].
    pub ends: [usize; 2],
    /// Times in seconds; missing ones are not numbers.
    pub propagation: f64,
    /// The time in modules and PHYs.
    pub conversion: f64,
    /// The time of forward error correction.
    pub correction: f64,
    /// The time of one frame on the line.
    pub serialization: f64,
    /// What it carries in bit/s.
    pub capacity: f64,
    /// What one flow gets in bit/s.
    pub flow_ceiling: f64,
}

/// A device at the end of links.
#[derive(Debug, Clone, Default)]
pub struct Device {
    /// Its row among the switches; others pass nothing on.
    pub switch: Option<RowId>,
    /// The delay of the switch in seconds.
    pub delay: f64,
    /// Whether it sends a frame on while the frame still comes in.
    pub cuts_through: bool,
    /// The links that end here, in the order the person sees.
    pub links: Vec<usize>,
}

/// Devices and links in the order in which a person sees the links, so that the same plan always
/// gives the same net.
#[derive(Debug, Default)]
pub struct Net {
    /// All devices.
    pub devices: Vec<Device>,
    /// All links.
    pub links: Vec<Link>,
    by_name: FxHashMap<u32, usize>,
    by_id: FxHashMap<u32, usize>,
}

impl Net {
    /// The links between switches, and those that end at a device among `wanted`: codes of names
    /// without regard to case.
    pub fn of(plan: &Plan, engine: &Engine, wanted: &[u32]) -> Option<Self> {
        let sheet = plan.sheet("links")?;
        let wanted: FxHashSet<u32> = wanted.iter().copied().collect();
        let columns = Columns::of(engine, sheet)?;
        let position = |name| plan.def(sheet).column(name);
        let codes = |name| Some(plan.rows(sheet).column(position(name)?).codes());
        let (ids, from, to) = (codes("id")?, codes("from")?, codes("to")?);
        let ends = [
            engine.find_column(sheet, "from")?,
            engine.find_column(sheet, "to")?,
        ];
        let mut net = Self::default();
        let view = plan.names().view();
        for row in plan.rows(sheet).order() {
            if columns.forwards.get(row.at()) != Some(&1) {
                continue;
            }
            let names = [view.folded(from[row.at()]), view.folded(to[row.at()])];
            let rows = ends.map(|column| engine.row_at(column, *row));
            let joins = |end: usize| rows[end] != ABSENT || wanted.contains(&names[end]);
            if names.contains(&ABSENT) || names[0] == names[1] || !joins(0) || !joins(1) {
                continue;
            }
            let devices = [0, 1].map(|end| net.enter(names[end], rows[end]));
            let link = columns.link(*row, devices);
            net.add(view.folded(ids[row.at()]), link);
        }
        drop(view);
        net.read_switches(plan, engine);
        Some(net)
    }

    /// The device of a name.
    pub fn device(&self, name: u32) -> Option<usize> {
        self.by_name.get(&name).copied()
    }

    /// The link of an id; of several the first.
    pub fn link(&self, id: u32) -> Option<usize> {
        self.by_id.get(&id).copied()
    }

    fn enter(&mut self, name: u32, row: u32) -> usize {
        let next = self.devices.len();
        let at = *self.by_name.entry(name).or_insert(next);
        if at == next {
            self.devices.push(Device {
                switch: (row != ABSENT).then_some(RowId(row)),
                ..Device::default()
            });
        }
        at
    }

    fn add(&mut self, id: u32, link: Link) {
        let at = self.links.len();
        if id != ABSENT {
            self.by_id.entry(id).or_insert(at);
        }
        link.ends
            .iter()
            .for_each(|end| self.devices[*end].links.push(at));
        self.links.push(link);
    }

    /// Reads how each switch forwards; one that does not say takes frames in whole.
    fn read_switches(&mut self, plan: &Plan, engine: &Engine) {
        let Some(sheet) = plan.sheet("switches") else {
            return;
        };
        let delay = engine.find_column(sheet, "own_delay");
        let delays = delay.map(|column| engine.values(column).numbers());
        let forwarding = plan.def(sheet).column("forwarding");
        let words = forwarding.map(|column| plan.rows(sheet).column(column).codes());
        let cut = plan.names().code("cut-through");
        for device in &mut self.devices {
            let Some(row) = device.switch else { continue };
            let delay = delays.and_then(|delays| delays.get(row.at()));
            device.delay = delay.copied().unwrap_or(f64::NAN);
            device.cuts_through = words.and_then(|words| words.get(row.at())) == Some(&cut);
        }
    }
}

/// The columns of links that a net is made of.
struct Columns<'a> {
    forwards: &'a Values<u8>,
    numbers: [&'a Values<f64>; 6],
}

impl<'a> Columns<'a> {
    fn of(engine: &'a Engine, sheet: SheetId) -> Option<Self> {
        let column = |name| Some(engine.values(engine.find_column(sheet, name)?));
        let forwards = column("forwards")?.flags();
        let numbers = |name| column(name).map(Column::numbers);
        Some(Self {
            forwards,
            numbers: [
                numbers("propagation")?,
                numbers("conversion")?,
                numbers("correction")?,
                numbers("serialization")?,
                numbers("capacity")?,
                numbers("flow_ceiling")?,
            ],
        })
    }

    fn link(&self, row: RowId, ends: [usize; 2]) -> Link {
        let at = |column: usize| {
            self.numbers[column]
                .get(row.at())
                .copied()
                .unwrap_or(f64::NAN)
        };
        Link {
            row,
            ends,
            propagation: at(0),
            conversion: at(1),
            correction: at(2),
            serialization: at(3),
            capacity: at(4),
            flow_ceiling: at(5),
        }
    }
}
