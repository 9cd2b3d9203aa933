//! The path of least latency through a net, by way of links and devices in order.
//!
//! What a link costs depends on the one before it, as a cut-through switch sends on what still
//! comes in. So the search goes from link to link, not from device to device; a common shortest
//! path over devices would not find the least. It is Dijkstra's.

use super::net::Net;
use crate::table::RowId;
use rustc_hash::{FxHashMap, FxHashSet};
use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

/// What a path has to pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// A link of the net.
    Link(usize),
    /// A device of the net.
    Device(usize),
}

/// A link of a path and the switch before it: times in seconds, speeds in bit/s, a missing one
/// not a number.
#[derive(Debug, Clone)]
pub struct Hop {
    /// The link.
    pub row: RowId,
    /// Whether it is taken from its far end to its near end.
    pub backward: bool,
    /// The switch that passed the frame on to it; none at the first link.
    pub behind: Option<RowId>,
    /// Whether that switch sent the frame on while it still came in.
    pub flows_through: bool,
    /// The time along the cable.
    pub propagation: f64,
    /// The time in modules and PHYs.
    pub conversion: f64,
    /// The time of forward error correction.
    pub correction: f64,
    /// What putting the frame on this line adds.
    pub serialization: f64,
    /// The delay of the switch before it.
    pub forwarding: f64,
    /// What the link carries.
    pub capacity: f64,
    /// What one flow gets.
    pub flow_ceiling: f64,
}

/// A link just taken: which, towards which of its ends, and how many ways were passed by then.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct At {
    passed: usize,
    link: usize,
    towards: usize,
}

/// Fewest unknown times first, then the least time, then the fewest links.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cost {
    unknown: u32,
    time: f64,
    links: u32,
}

impl Eq for Cost {}

impl PartialOrd for Cost {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Cost {
    fn cmp(&self, other: &Self) -> Ordering {
        let times = || self.time.total_cmp(&other.time);
        let unknown = self.unknown.cmp(&other.unknown);
        unknown.then_with(times).then(self.links.cmp(&other.links))
    }
}

impl Cost {
    const NOTHING: Self = Self {
        unknown: 0,
        time: 0.0,
        links: 0,
    };

    fn with(self, hop: &Hop) -> Self {
        let time =
            hop.propagation + hop.conversion + hop.correction + hop.serialization + hop.forwarding;
        Self {
            unknown: self.unknown + u32::from(time.is_nan()),
            // A cable of negative length must not draw a path through it.
            time: self.time + time.max(0.0),
            links: self.links + 1,
        }
    }
}

/// The hops of the best path, or none where there is no path.
///
/// Which of several equal ones it is, the order of the links decides, always in the same way.
pub fn least(net: &Net, from: usize, to: usize, ways: &[Way]) -> Option<Vec<Hop>> {
    let mut open = BinaryHeap::new();
    let mut best: FxHashMap<At, (Cost, Option<At>)> = FxHashMap::default();
    let mut done = FxHashSet::default();
    let begun = passed(ways, 0, None, from);
    for (at, hop) in onward(net, ways, from, begun, None) {
        offer(at, Cost::NOTHING.with(&hop), None, &mut best, &mut open);
    }
    while let Some(Reverse((cost, at))) = open.pop() {
        if !done.insert(at) {
            continue;
        }
        let device = net.links[at.link].ends[at.towards];
        if device == to && at.passed == ways.len() {
            return Some(retraced(net, at, &best));
        }
        if net.devices[device].switch.is_none() {
            continue;
        }
        for (next, hop) in onward(net, ways, device, at.passed, Some(at)) {
            offer(next, cost.with(&hop), Some(at), &mut best, &mut open);
        }
    }
    None
}

type Open = BinaryHeap<Reverse<(Cost, At)>>;

fn offer(
    at: At,
    cost: Cost,
    before: Option<At>,
    best: &mut FxHashMap<At, (Cost, Option<At>)>,
    open: &mut Open,
) {
    if best.get(&at).is_none_or(|(known, _)| cost < *known) {
        best.insert(at, (cost, before));
        open.push(Reverse((cost, at)));
    }
}

/// The links that lead on from a device, never back along the one just taken.
fn onward<'a>(
    net: &'a Net,
    ways: &'a [Way],
    device: usize,
    n_passed: usize,
    before: Option<At>,
) -> impl Iterator<Item = (At, Hop)> + 'a {
    let links = net.devices[device].links.iter().copied();
    let links = links.filter(move |link| before.is_none_or(|at| at.link != *link));
    links.map(move |link| {
        let towards = usize::from(net.links[link].ends[0] == device);
        let next = net.links[link].ends[towards];
        let at = At {
            passed: passed(ways, n_passed, Some(link), next),
            link,
            towards,
        };
        (at, hop(net, at, before))
    })
}

/// How many ways are passed after a link was taken to a device.
fn passed(ways: &[Way], mut n_passed: usize, link: Option<usize>, device: usize) -> usize {
    if link.is_some_and(|link| ways.get(n_passed) == Some(&Way::Link(link))) {
        n_passed += 1;
    }
    while ways.get(n_passed) == Some(&Way::Device(device)) {
        n_passed += 1;
    }
    n_passed
}

/// What taking a link adds after the one before it.
fn hop(net: &Net, at: At, before: Option<At>) -> Hop {
    let link = &net.links[at.link];
    let switch = before.map(|before| &net.devices[net.links[before.link].ends[before.towards]]);
    let came = before.map(|before| net.links[before.link].serialization);
    // A switch can only send on what still comes in when the line out is no faster.
    let flows_through = switch.is_some_and(|switch| switch.cuts_through)
        && came.is_some_and(|came| link.serialization >= came);
    let serialization = match came {
        Some(came) if flows_through => link.serialization - came,
        Some(_) | None => link.serialization,
    };
    Hop {
        row: link.row,
        backward: at.towards == 0,
        behind: switch.and_then(|switch| switch.switch),
        flows_through,
        propagation: link.propagation,
        conversion: link.conversion,
        correction: link.correction,
        serialization,
        forwarding: switch.map_or(0.0, |switch| switch.delay),
        capacity: link.capacity,
        flow_ceiling: link.flow_ceiling,
    }
}

/// The hops that led to a link, first one first.
fn retraced(net: &Net, last: At, best: &FxHashMap<At, (Cost, Option<At>)>) -> Vec<Hop> {
    let mut hops = Vec::new();
    let mut at = Some(last);
    while let Some(here) = at {
        let before = best.get(&here).and_then(|(_, before)| *before);
        hops.push(hop(net, here, before));
        at = before;
    }
    hops.reverse();
    hops
}
