//! Functions of optical power: levels, amounts and attenuators.

use super::super::Ty;
use super::{Body, Function, More, param};
use crate::units::{Dim, Measure, Reference};

const LEVEL: Ty = Ty::Number(Measure::level(Reference::Milliwatt));
const LOSS: Ty = Ty::Number(Measure::amount(Dim::DECIBEL));
const POWER: Ty = Ty::Number(Measure::amount(Dim::POWER));
const RATIO: Ty = Ty::Number(Measure::NUMBER);

/// Decibels and decibels against one milliwatt are defined there.
const DEFINITION: &str = "IEC 60027-3 (definition of the decibel)";

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    vec![
        Function {
            name: "to_dbm",
            doc: "The level of a power, against one milliwatt",
            params: vec![param("power", "a power", POWER)],
            more: More::No,
            source: DEFINITION,
            example: ("to_dbm(2 mW)", "3.0103 dBm"),
            workbook: "(10*LOG10({1}*1000))",
            body: Body::Numbers {
                kernel: to_dbm,
                result: LEVEL,
            },
        },
        Function {
            name: "to_watt",
            doc: "The power of a level",
            params: vec![param("level", "a level", LEVEL)],
            more: More::No,
            source: DEFINITION,
            example: ("to_watt(30 dBm)", "1 W"),
            workbook: "(10^({1}/10)/1000)",
            body: Body::Numbers {
                kernel: to_watt,
                result: POWER,
            },
        },
        Function {
            name: "as_db",
            doc: "A ratio of two powers as decibels",
            params: vec![param("ratio", "the greater power over the smaller", RATIO)],
            more: More::No,
            source: DEFINITION,
            example: ("as_db(100)", "20 dB"),
            workbook: "(10*LOG10({1}))",
            body: Body::Numbers {
                kernel: as_db,
                result: LOSS,
            },
        },
        Function {
            name: "from_db",
            doc: "Decibels as a ratio of two powers",
            params: vec![param("loss", "a loss or gain", LOSS)],
            more: More::No,
            source: DEFINITION,
            example: ("from_db(3 dB)", "1.99526"),
            workbook: "(10^({1}/10))",
            body: Body::Numbers {
                kernel: from_db,
                result: RATIO,
            },
        },
        Function {
            name: "power_sum",
            doc: "The level of several powers together",
            params: vec![param("level", "a level", LEVEL)],
            more: More::Repeated,
            source: DEFINITION,
            example: ("power_sum(0 dBm, 0 dBm)", "3.0103 dBm"),
            workbook: "(10*LOG10(SUM(10^({1}/10),[10^({n}/10)])))",
            body: Body::Numbers {
                kernel: power_sum,
                result: LEVEL,
            },
        },
        Function {
            name: "pad_needed",
            doc: "The attenuation that keeps a receiver from too much light; 0 dB when none is",
            params: vec![
                param("tx_max", "the greatest launch level", LEVEL),
                param("rx_max", "the greatest level the receiver stands", LEVEL),
                param("loss", "the least loss between them", LOSS),
            ],
            more: More::No,
            source: "common practice, no source",
            example: ("pad_needed(4 dBm, -1 dBm, 2 dB)", "3 dB"),
            workbook: "MAX(0,{1}-{3}-{2})",
            body: Body::Formula("most(0 dB, tx_max - loss - rx_max)"),
        },
    ]
}

fn to_dbm(args: &[f64]) -> f64 {
    10.0 * (args[0] * 1e3).log10()
}

fn to_watt(args: &[f64]) -> f64 {
    from_db(args) / 1e3
}

fn as_db(args: &[f64]) -> f64 {
    10.0 * args[0].log10()
}

fn from_db(args: &[f64]) -> f64 {
    10f64.powf(args[0] / 10.0)
}

/// Measured from the greatest level, so that no power leaves the range of numbers.
fn power_sum(args: &[f64]) -> f64 {
    let most = args.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let parts: f64 = args.iter().map(|level| from_db(&[level - most])).sum();
    most + as_db(&[parts])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_and_levels_go_both_ways() {
        assert!((to_dbm(&[to_watt(&[-12.5])]) + 12.5).abs() < 1e-12);
        assert!((as_db(&[from_db(&[3.0])]) - 3.0).abs() < 1e-12);
        assert!((power_sum(&[-3.0, -3.0, -3.0, -3.0]) - 3.0206).abs() < 1e-4);
        assert!((power_sum(&[-4000.0, -4000.0]) + 3996.9897).abs() < 1e-4);
    }
}
