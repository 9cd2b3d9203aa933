//! Functions of latency.

use super::super::Ty;
use super::{ARITHMETIC, Body, Function, More, param};
use crate::units::{Dim, Measure};

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    vec![
        Function {
            name: "propagation",
            doc: "The time light takes along a fibre",
            params: vec![
                param(
                    "length",
                    "the length of the fibre",
                    Ty::Number(Measure::amount(Dim::LENGTH)),
                ),
                param(
                    "group_index",
                    "the speed of light in vacuum over that in the fibre",
                    Ty::Number(Measure::NUMBER),
                ),
            ],
            more: More::No,
            source: "SI (speed of light in vacuum, 299792458 m/s, exact)",
            example: ("propagation(299792458 m, 1.5)", "1.5 s"),
            workbook: "({1}*{2}/299792458)",
            body: Body::Formula("length * group_index / 299792458 m/s"),
        },
        Function {
            name: "serialize",
            doc: "The time it takes to put data on a line",
            params: vec![
                param(
                    "size",
                    "an amount of data, e.g. one frame",
                    Ty::Number(Measure::amount(Dim::DATA)),
                ),
                param(
                    "speed",
                    "the speed of the line",
                    Ty::Number(Measure::amount(Dim::RATE)),
                ),
            ],
            more: More::No,
            source: ARITHMETIC,
            example: ("serialize(1250 MB, 10 Gb/s)", "1 s"),
            workbook: "({1}/{2})",
            body: Body::Formula("size / speed"),
        },
    ]
}
