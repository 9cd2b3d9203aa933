//! Functions of twisted pair.

use super::super::Ty;
use super::{Body, Function, More, param};
use crate::units::{Dim, Measure};

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    vec![Function {
        name: "pair_delay",
        doc: "The greatest propagation delay of a twisted pair at a frequency",
        params: vec![
            param(
                "frequency",
                "the frequency, from 1 MHz up",
                Ty::Number(Measure::amount(Dim::FREQUENCY)),
            ),
            param(
                "length",
                "the length of the pair",
                Ty::Number(Measure::amount(Dim::LENGTH)),
            ),
        ],
        more: More::No,
        source: "TIA-568.2-D and ISO/IEC 11801-1 (534 + 36/sqrt(f in MHz) ns per 100 m)",
        example: ("0 ns + pair_delay(100 MHz, 100 m)", "537.6 ns"),
        workbook: "((534+36/SQRT({1}/1000000))*0.000000001*{2}/100)",
        body: Body::Formula("(534 + 36 / sqrt(frequency / 1 MHz)) * 1 ns * (length / 100 m)"),
    }]
}
