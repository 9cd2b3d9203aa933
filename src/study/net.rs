//! Which switches hang together through links, and which hang loose when some are out.
//!
//! Knows links that carry traffic or stand by for it, between switches of the plan; speeds and
//! paths are looked at elsewhere.

use super::Look;
use crate::table::RowId;
use rustc_hash::FxHashMap;
use rustc_hash::FxHashSet;

/// A way from a switch through a link.
#[derive(Debug, Clone, Copy)]
struct Way {
    link: RowId,
    to: RowId,
}

/// The switches of a plan and the links between them.
#[derive(Debug, Default)]
pub(super) struct Net {
    /// For each switch its ways, those upward first, so that a search finds the top soon.
    ways: FxHashMap<RowId, Vec<Way>>,
    /// Switches that others hang on and that hang on none.
    tops: FxHashSet<RowId>,
    /// Switches from which a top can be reached.
    joined: FxHashSet<RowId>,
    ends: FxHashMap<RowId, [RowId; 2]>,
}

impl Net {
    /// The net of a plan.
    pub fn new(links: Look<'_>) -> Self {
        let mut net = Self::default();
        let (mut upward, mut others) = (FxHashMap::default(), FxHashMap::default());
        let (mut lower, mut upper) = (FxHashSet::default(), FxHashSet::default());
        for link in links.rows() {
            let ends = ["from", "to"].map(|end| links.through(end, *link));
            let [Some(from), Some(to)] = ends else {
                continue;
            };
            let carries = links.is("forwards", *link) || links.is("is_redundant", *link);
            if from == to || !carries {
                continue;
            }
            net.ends.insert(*link, [from, to]);
            let is_up = links.text("role", *link).as_deref() == Some("uplink");
            let first = if is_up { &mut upward } else { &mut others };
            let way = |to| Way { link: *link, to };
            first.entry(from).or_insert_with(Vec::new).push(way(to));
            others.entry(to).or_insert_with(Vec::new).push(way(from));
            if is_up {
                lower.insert(from);
                upper.insert(to);
            }
        }
        net.tops = upper.difference(&lower).copied().collect();
        for (switch, ways) in others {
            upward.entry(switch).or_insert_with(Vec::new).extend(ways);
        }
        net.ways = upward;
        net.joined = net.below_tops();
        net
    }

    /// Whether a link joins two switches of the plan.
    pub fn joins(&self, link: RowId) -> bool {
        self.ends.contains_key(&link)
    }

    fn below_tops(&self) -> FxHashSet<RowId> {
        let mut seen = self.tops.clone();
        let mut open: Vec<RowId> = self.tops.iter().copied().collect();
        while let Some(switch) = open.pop() {
            for way in self.ways.get(&switch).into_iter().flatten() {
                if seen.insert(way.to) {
                    open.push(way.to);
                }
            }
        }
        seen
    }

    /// The switches that no longer reach a top with these links out, and this switch; by place in
    /// storage. The switch that is out itself is not among them.
    pub fn cut_off(&self, out: &[RowId], switch: Option<RowId>) -> Vec<RowId> {
        let is_out = |link: &RowId| match out {
            [one] => one == link,
            [one, two] => one == link || two == link,
            _ => false,
        };
        let many: FxHashSet<RowId> = match out.len() {
            0..=2 => FxHashSet::default(),
            _ => out.iter().copied().collect(),
        };
        let goes =
            |way: &Way| Some(way.to) != switch && !is_out(&way.link) && !many.contains(&way.link);
        let (mut safe, mut lost) = (FxHashSet::default(), FxHashSet::default());
        let seeds = out.iter().filter_map(|link| self.ends.get(link)).flatten();
        for seed in seeds {
            let asked = Some(*seed) != switch && self.joined.contains(seed);
            if asked && !safe.contains(seed) && !lost.contains(seed) {
                let (found, seen) = self.search(*seed, switch, &safe, &goes);
                if found { &mut safe } else { &mut lost }.extend(seen);
            }
        }
        let mut lost: Vec<RowId> = lost.into_iter().collect();
        lost.sort_unstable();
        lost
    }

    /// Looks for a top, or for a switch that is known to reach one; gives the switches seen.
    fn search(
        &self,
        from: RowId,
        out: Option<RowId>,
        safe: &FxHashSet<RowId>,
        goes: &dyn Fn(&Way) -> bool,
    ) -> (bool, Vec<RowId>) {
        let mut seen: FxHashSet<RowId> = FxHashSet::default();
        seen.insert(from);
        let mut open = vec![from];
        while let Some(switch) = open.pop() {
            let is_top = self.tops.contains(&switch) && Some(switch) != out;
            if is_top || safe.contains(&switch) {
                return (true, seen.into_iter().collect());
            }
            // The last one pushed is looked at first, so those upward are pushed last.
            for way in self.ways.get(&switch).into_iter().flatten().rev() {
                if goes(way) && seen.insert(way.to) {
                    open.push(way.to);
                }
            }
        }
        (false, seen.into_iter().collect())
    }
}
