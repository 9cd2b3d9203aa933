//! What the memory of the machine gives, and what a recalculation would take if reading what is
//! entered and writing what is computed, once, were all there is to do.
//!
//! A triad (`a = b + 3 c`) is counted as 24 bytes, as usual; that a plain store reads its line
//! first is not counted, neither there nor for a recalculation.

use crate::median;
use crate::report;
use crate::sheets::lean_engine;
use crate::sheets::lean_plan;
use crate::sheets::product_plan;
use crate::timed;
use portledger::engine::Engine;
use portledger::plan::Plan;
use portledger::table::Column;
use portledger::table::SheetId;
use portledger::table::Values;
use portledger::trade;
use rayon::ThreadPool;
use rayon::ThreadPoolBuilder;
use rayon::iter::IndexedParallelIterator;
use rayon::iter::ParallelIterator;
use rayon::slice::ParallelSlice;
use rayon::slice::ParallelSliceMut;
use std::hint::black_box;

/// Numbers in an array of 128 MB.
const N_NUMBERS: usize = 128 << 17;
/// Numbers in what one thread takes at once.
const PIECE: usize = 1 << 16;
/// Links in the plan that is recalculated.
const N_LINKS: usize = 1_000_000;

/// Prints bandwidths, and recalculations of two sheets beside them, on one thread and on two.
pub fn measure() {
    let threads = [1, 2].map(|n| {
        let pool = ThreadPoolBuilder::new().num_threads(n).build();
        (n, pool.expect("threads are made"))
    });
    let bandwidths = threads.each_ref().map(|(n, pool)| {
        let bandwidth = triad(pool);
        report(&format!(
            "triad over three arrays of 128 MB, {n} threads: {:.1} GB/s",
            bandwidth / 1e9
        ));
        bandwidth
    });
    type Sheet = (&'static str, fn(usize) -> Plan, fn(&Plan) -> Engine);
    let sheets: [Sheet; 2] = [
        ("lean", lean_plan, lean_engine),
        ("product", product_plan, trade::engine),
    ];
    for (name, plan, engine) in sheets {
        let plan = plan(N_LINKS);
        let mut engine = engine(&plan);
        let (n_read, n_written) = (entered_bytes(&plan), computed_bytes(&engine));
        for ((n, pool), bandwidth) in threads.iter().zip(bandwidths) {
            let took = pool.install(|| median((0..9).map(|_| timed(|| engine.recalculate(&plan)))));
            let bound = (n_read + n_written) as f64 / bandwidth;
            report(&format!(
                "{N_LINKS} links, {name} sheet, {n} threads: {took:.1?} for {:.0} MB entered and {:.0} MB computed, {:.1} times the {:.1} ms of moving those once",
                n_read as f64 / 1e6,
                n_written as f64 / 1e6,
                took.as_secs_f64() / bound,
                bound * 1e3,
            ));
        }
    }
}

/// Bytes a second, the median of nine.
fn triad(pool: &ThreadPool) -> f64 {
    let mut a = vec![0.5; N_NUMBERS];
    let b = vec![1.5; N_NUMBERS];
    let c = vec![2.5; N_NUMBERS];
    let mut once = || {
        timed(|| {
            pool.install(|| {
                a.par_chunks_mut(PIECE)
                    .zip(b.par_chunks(PIECE).zip(c.par_chunks(PIECE)))
                    .for_each(|(a, (b, c))| add(a, b, c));
            });
            black_box(&mut a);
        })
    };
    once();
    let took = median((0..9).map(|_| once()));
    (3 * 8 * N_NUMBERS) as f64 / took.as_secs_f64()
}

#[inline(never)]
fn add(a: &mut [f64], b: &[f64], c: &[f64]) {
    for ((a, b), c) in a.iter_mut().zip(b).zip(c) {
        *a = b + 3.0 * c;
    }
}

/// What the entered columns of all sheets hold, without those of one value.
fn entered_bytes(plan: &Plan) -> usize {
    let sheets = (0_u16..).map(SheetId).take(plan.schema().len());
    let columns = sheets.flat_map(|sheet| {
        let rows = plan.rows(sheet);
        plan.entered(sheet)
            .map(move |column| bytes(rows.column(column)))
    });
    columns.sum()
}

/// What the computed columns hold, without those of one value.
fn computed_bytes(engine: &Engine) -> usize {
    let steps = engine.trace().iter();
    steps.map(|step| bytes(engine.values(step.column))).sum()
}

fn bytes(column: &Column) -> usize {
    match column {
        Column::Numbers(values) => each(values),
        Column::Flags(values) => each(values),
        Column::Codes(values) => each(values),
    }
}

fn each<T>(values: &Values<T>) -> usize {
    match values {
        Values::Each(each) => std::mem::size_of_val(each.as_slice()),
        Values::Same { .. } => 0,
    }
}
