//! All rows of a table, read in blocks on several threads and put together in their order.
//!
//! A row is read alone, but for two things: a device that is filled down comes from the rows above
//! it, so a table with such rows is read by one thread; and both ends of a link are looked for in
//! all rows, which is done here. Only here texts become codes of the plan.

use super::Codes;
use super::report::Report;
use super::row::{Link, Part, Places, Rows, added};
use super::stopped;
use crate::files::spreadsheet::Grid;
use crate::files::spreadsheet::RowView;
use crate::plan::Entry;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::sheet::ColumnDef;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::sync_channel;
use std::thread;

/// So many rows are read at once.
pub(super) const AT_ONCE: usize = 4096;

/// More threads than this wait for the one that puts together.
const MOST_THREADS: usize = 4;

/// The rows below the headings.
#[derive(Debug, Clone, Copy)]
pub(super) struct Body<'g> {
    pub(super) grid: &'g Grid,
    /// The position of the first row.
    pub(super) first: usize,
}

impl<'g> Body<'g> {
    /// How many rows there are.
    pub(super) fn n_rows(self) -> usize {
        self.grid.n_rows().saturating_sub(self.first)
    }

    /// Rows by their positions below the headings.
    pub(super) fn rows(self, range: Range<usize>) -> impl Iterator<Item = RowView<'g>> {
        let range = range.start + self.first..range.end + self.first;
        range.filter_map(move |at| self.grid.row(at))
    }

    /// The positions of a block.
    fn block(self, at: usize, at_once: usize) -> Range<usize> {
        let start = at * at_once;
        start..(start + at_once).min(self.n_rows())
    }
}

/// How many threads there is work for.
pub(super) fn n_threads() -> usize {
    thread::available_parallelism().map_or(1, |n| n.get().min(MOST_THREADS))
}

/// How a table is gone through.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pace {
    /// So many rows are read at once.
    pub(super) at_once: usize,
    /// So many threads read.
    pub(super) n_threads: usize,
}

/// Links that were read, and the columns that they need.
#[derive(Debug)]
pub(super) struct Whole {
    pub(super) links: Vec<Link>,
    pub(super) columns: Vec<ColumnDef>,
    pub(super) mapped: Vec<super::Mapped>,
}

/// Reads all rows. `progress` gets how many were read; where it gives `false`, reading is stopped.
pub(super) fn read<'p>(
    plan: &'p Plan,
    mut rows: Rows<'p>,
    body: Body<'p>,
    pace: Pace,
    report: &mut Report,
    progress: &mut dyn FnMut(usize) -> bool,
) -> Result<Whole, Problem> {
    let n_blocks = body.n_rows().div_ceil(pace.at_once);
    let mut gathered = Gathered::new(plan, rows.places);
    let mut take = |at: usize, part: Part<'p>, report: &mut Report| {
        if !progress(at * pace.at_once) {
            return Err(stopped());
        }
        gathered.take(part, report);
        Ok(())
    };
    if pace.n_threads < 2 || n_blocks < 2 {
        for at in 0..n_blocks {
            let part = rows.block(body.rows(body.block(at, pace.at_once)));
            take(at, part, report)?;
        }
    } else {
        let readers = on_threads(&rows, body, pace, |at, part| take(at, part, report))?;
        for reader in readers {
            rows.join(reader);
        }
    }
    let (mut links, ends) = (gathered.links, gathered.ends);
    ends.tell(report);
    let mapped = rows.mapped();
    let columns = without_unused(rows, &mut links, pace, report);
    Ok(Whole {
        links,
        columns,
        mapped,
    })
}

/// Reads blocks on threads and hands them over in order; gives back what read them.
fn on_threads<'p>(
    rows: &Rows<'p>,
    body: Body<'p>,
    pace: Pace,
    mut take: impl FnMut(usize, Part<'p>) -> Result<(), Problem>,
) -> Result<Vec<Rows<'p>>, Problem> {
    let n_blocks = body.n_rows().div_ceil(pace.at_once);
    let (next, is_over) = (AtomicUsize::new(0), AtomicBool::new(false));
    thread::scope(|scope| {
        let (send, parts) = sync_channel(2 * pace.n_threads);
        let readers: Vec<_> = (0..pace.n_threads)
            .map(|_| {
                let (mut rows, send) = (rows.clone(), send.clone());
                let (next, is_over) = (&next, &is_over);
                scope.spawn(move || {
                    loop {
                        let at = next.fetch_add(1, Ordering::Relaxed);
                        if at >= n_blocks || is_over.load(Ordering::Relaxed) {
                            return rows;
                        }
                        let part = rows.block(body.rows(body.block(at, pace.at_once)));
                        if send.send((at, part)).is_err() {
                            return rows;
                        }
                    }
                })
            })
            .collect();
        drop(send);
        let (mut waiting, mut wanted) = (BTreeMap::new(), 0);
        for (at, part) in parts {
            waiting.insert(at, part);
            while let Some(part) = waiting.remove(&wanted) {
                let taken = take(wanted, part);
                if taken.is_err() {
                    is_over.store(true, Ordering::Relaxed);
                }
                taken?;
                wanted += 1;
            }
        }
        let readers = readers.into_iter().map(thread::ScopedJoinHandle::join);
        readers.collect::<Result<Vec<_>, _>>().map_err(|_| broke())
    })
}

/// A thread that reads rows ended in a panic.
fn broke() -> Problem {
    Problem::new(
        "broke",
        "something in the program broke while it read the table",
    )
    .help("nothing was changed; try to import a part of the table")
}

/// What blocks gave, put together in their order.
struct Gathered<'p> {
    plan: &'p Plan,
    links: Vec<Link>,
    ends: BothEnds,
    /// The codes of the texts of a block.
    codes: Vec<u32>,
}

impl<'p> Gathered<'p> {
    fn new(plan: &'p Plan, places: Places) -> Self {
        Self {
            plan,
            links: Vec::new(),
            ends: BothEnds::new(places),
            codes: Vec::new(),
        }
    }

    /// Takes the next block.
    fn take(&mut self, mut part: Part<'p>, report: &mut Report) {
        let mut names = self.plan.names().writer();
        names.expect(part.texts.iter().map(|(_, hash)| *hash));
        let codes = part.texts.iter();
        self.codes.clear();
        self.codes
            .extend(codes.map(|(text, hash)| names.code_of(text, *hash)));
        drop(names);
        for link in &mut part.links {
            for (_, entry) in &mut link.cells {
                if let Entry::Text(code) = entry {
                    *code = self.codes[*code as usize];
                }
            }
            self.ends.add(link);
        }
        self.links.append(&mut part.links);
        report.append(part.report);
    }
}

/// Both ends of all rows, to find those that say the same from the other end.
struct BothEnds {
    columns: Option<[usize; 4]>,
    /// Device and port at the near end, then at the far end, and the row.
    all: Vec<([u32; 4], usize)>,
    /// Devices that stand at a near end, and those at a far one.
    near: Codes,
    far: Codes,
}

impl BothEnds {
    fn new(places: Places) -> Self {
        let Places {
            from,
            from_port,
            to,
            to_port,
            ..
        } = places;
        let columns = match (from, from_port, to, to_port) {
            (Some(a), Some(ap), Some(b), Some(bp)) => Some([a, ap, b, bp]),
            (_, _, _, _) => None,
        };
        Self {
            columns,
            all: Vec::new(),
            near: Codes::default(),
            far: Codes::default(),
        }
    }

    fn add(&mut self, link: &Link) {
        let Some(columns) = self.columns else { return };
        let codes = columns.map(|column| link.code(column));
        let [Some(a), Some(ap), Some(b), Some(bp)] = codes else {
            return;
        };
        self.near.add(a);
        self.far.add(b);
        self.all.push(([a, ap, b, bp], link.row));
    }

    /// Tells of rows that name the same two ends as another, the other way round.
    fn tell(&self, report: &mut Report) {
        let mut first: FxHashMap<[u32; 4], usize> = FxHashMap::default();
        for (ends, row) in &self.all {
            let [a, ap, b, bp] = *ends;
            // Most tables have the near device always at the near end.
            if !self.far.has(a) || !self.near.has(b) {
                continue;
            }
            if let Some(other) = first.get(&[b, bp, a, ap]) {
                let what = format!("the two ends of row {other} stand here the other way round");
                report.after(&what, *row);
            }
            first.entry(*ends).or_insert(*row);
        }
    }
}

/// Takes the cells of columns that stayed unused out of all links; gives the new columns that are
/// used.
fn without_unused(
    rows: Rows<'_>,
    links: &mut [Link],
    pace: Pace,
    report: &mut Report,
) -> Vec<ColumnDef> {
    let n_known = rows.n_known();
    let (mut moved, mut columns) = (Vec::new(), Vec::new());
    for (at, def) in rows.columns.def.columns.into_iter().enumerate() {
        if at < n_known {
            moved.push(Some(at));
        } else if rows.columns.used[at] {
            moved.push(Some(n_known + columns.len()));
            report.note(added(&def));
            columns.push(def);
        } else {
            moved.push(None);
        }
    }
    let stays = |(at, to): (usize, &Option<usize>)| *to == Some(at);
    if moved.iter().enumerate().all(stays) {
        return columns;
    }
    let move_all = |links: &mut [Link]| {
        for link in links {
            link.cells.retain_mut(|(at, _)| match moved[*at] {
                Some(to) => {
                    *at = to;
                    true
                }
                None => false,
            });
        }
    };
    let n_each = links.len().div_ceil(pace.n_threads.max(1)).max(AT_ONCE);
    thread::scope(|scope| {
        for links in links.chunks_mut(n_each) {
            scope.spawn(|| move_all(links));
        }
    });
    columns
}
