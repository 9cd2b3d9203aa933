//! Functions that need tables of the trade: attenuation, copper loss, pads, cages.
//!
//! Each is one record; the general ones are in `formula/functions`.

use super::cages::Cages;
use crate::formula::Function;
use crate::formula::Ty;
use crate::formula::functions::{Body, More, Param, param};
use crate::formula::program::TextKernel;
use crate::plan::Plan;
use crate::units::{Dim, Measure, Reference};
use std::sync::Arc;

const LENGTH: Ty = Ty::Number(Measure::amount(Dim::LENGTH));
const LOSS: Ty = Ty::Number(Measure::amount(Dim::DECIBEL));
const FREQUENCY: Ty = Ty::Number(Measure::amount(Dim::FREQUENCY));
const PLAIN: Ty = Ty::Number(Measure::NUMBER);
const CELSIUS: Ty = Ty::Number(Measure::level(Reference::Celsius));

/// All functions of the trade for a plan.
pub fn all(plan: &Plan) -> Vec<Function> {
    let media = plan.sheet("media").map_or(Ty::Text, Ty::Row);
    let glass = plan.sheet("glass").map_or(Ty::Text, Ty::Row);
    let optics = plan.sheet("optics").map_or(Ty::Text, Ty::Row);
    vec![
        model_penalty(glass, optics),
        attenuation_at(media),
        pair_warmth(),
        pair_loss(media),
        pair_run(media),
        stock_pad(),
        cage_fit(plan),
    ]
}

/// Limits are given at 850, 1300, 1310, 1383 and 1550 nm; between two of them the greater holds.
fn attenuation_at(media: Ty) -> Function {
    Function {
        name: "attenuation_at",
        doc: "The greatest attenuation of a fibre at a wavelength; between two specified wavelengths the greater limit.",
        params: vec![
            param("medium", "a fibre of the sheet media", media),
            param("wavelength", "the wavelength", LENGTH),
        ],
        more: More::No,
        source: "ISO/IEC 11801-1 and TIA-568.3-D (limits), ITU-T G.652 (cabled fibre)",
        example: ("attenuation_at(\"OM3\", 850 nm)", "3.5 dB/km"),
        workbook: "",
        body: Body::Formula(
            "pick(medium.kind == \"multimode\", \
               pick(wavelength < 1200 nm, \
                 pick(assume.attenuation_basis == \"TIA\", \
                   first_given(medium.attenuation_850_tia, medium.attenuation_850), \
                   medium.attenuation_850), \
                 medium.attenuation_1300), \
               pick(wavelength <= 1360 nm, medium.attenuation_1310, \
                 pick(wavelength < 1460 nm, \
                   most(medium.attenuation_1310, medium.attenuation_1383, medium.attenuation_1550), \
                   pick(wavelength < 1530 nm, \
                     most(first_given(medium.attenuation_1383, medium.attenuation_1310), medium.attenuation_1550), \
                     medium.attenuation_1550))))",
        ),
    }
}

/// The estimate of the link model with all it takes from the tables.
fn model_penalty(glass: Ty, optics: Ty) -> Function {
    Function {
        name: "model_penalty",
        doc: "Simplified link-model estimate of what multimode fibre costs besides its loss, from the tables; it overrules no reach.",
        params: vec![
            param("length", "the length of the fibre", LENGTH),
            param("fibre", "a fibre of the sheet glass", glass),
            param("optic", "an interface of the sheet optics", optics),
        ],
        more: More::No,
        source: "link model of IEEE 802.3ae, from memory; the sheets glass and optics",
        example: (
            "model_penalty(300 m, \"OM3\", \"10GBASE-SR\")",
            "3.38028 dB",
        ),
        workbook: "",
        body: Body::Formula(
            "estimated_penalty(length, fibre.bandwidth_850, optic.model_zero, optic.model_slope, \
               optic.symbol_rate, optic.model_wavelength, optic.spectrum, optic.rise, \
               optic.receiver, optic.intensity_noise, optic.partition, optic.distortion, \
               optic.modal_noise)",
        ),
    }
}

/// The insertion loss of a twisted pair channel by the formula of its class.
fn pair_loss(media: Ty) -> Function {
    Function {
        name: "pair_loss",
        doc: "The insertion loss limit of a twisted pair channel of a length at a frequency, warmed as `pair_warmth` says.",
        params: vec![
            param("category", "a category of the sheet media", media),
            param("frequency", "the frequency", FREQUENCY),
            param("length", "the length of the channel", LENGTH),
            param(
                "temperature",
                "the mean temperature along the cable",
                CELSIUS,
            ),
        ],
        more: More::No,
        source: "ISO/IEC 11801 channel formula; TIA-568-C.2 clause 6.4.7 (temperature)",
        example: ("pair_loss(\"Cat6\", 100 MHz, 100 m, 20 °C)", "21.7052 dB"),
        workbook: "",
        body: Body::Formula(
            "(category.pair_k * (category.pair_a * sqrt(frequency / 1 MHz) \
               + category.pair_b * (frequency / 1 MHz) \
               + category.pair_c / sqrt(frequency / 1 MHz)) \
               * (length / 100 m) * pair_warmth(temperature, category.screened == \"yes\") \
             + category.pair_n * category.pair_d * sqrt(frequency / 1 MHz)) * 1 dB",
        ),
    }
}

/// What a run loses as it is built: its own length, cords and connections.
fn pair_run(media: Ty) -> Function {
    Function {
        name: "pair_run",
        doc: "The insertion loss of a twisted pair run: cable, cords by `assume.cord_factor`, and each connection.",
        params: vec![
            param("category", "a category of the sheet media", media),
            param("frequency", "the frequency", FREQUENCY),
            param("length", "the length of the run, cords included", LENGTH),
            param("cords", "the cords at both ends together", LENGTH),
            param("connections", "mated connections on the way", PLAIN),
            param(
                "temperature",
                "the mean temperature along the cable",
                CELSIUS,
            ),
        ],
        more: More::No,
        source: "ISO/IEC 11801 and TIA-568.2-D channel formula, its terms for the run at hand",
        example: (
            "pair_run(\"Cat5e\", 100 MHz, 100 m, 10 m, 4, 20 °C)",
            "24.0154 dB",
        ),
        workbook: "",
        body: Body::Formula(
            "((category.pair_a * sqrt(frequency / 1 MHz) \
               + category.pair_b * (frequency / 1 MHz) \
               + category.pair_c / sqrt(frequency / 1 MHz)) \
               * ((length + (assume.cord_factor - 1) * cords) / 100 m) \
               * pair_warmth(temperature, category.screened == \"yes\") \
             + connections * category.pair_d * sqrt(frequency / 1 MHz)) * 1 dB",
        ),
    }
}

/// Nothing is known above 60 °C, so nothing is said.
fn pair_warmth() -> Function {
    Function {
        name: "pair_warmth",
        doc: "How many times more warm cable loses than at 20 °C: unscreened 0.4 % a kelvin to 40 °C and 0.6 % above, screened 0.2 %; missing above 60 °C.",
        params: vec![
            param(
                "temperature",
                "the mean temperature along the cable",
                CELSIUS,
            ),
            param("screened", "whether the pairs have a screen", Ty::Flag),
        ],
        more: More::No,
        source: "TIA-568-C.2 clause 6.4.7",
        example: ("pair_warmth(50 °C, no)", "1.14"),
        workbook: "",
        body: Body::Formula(
            "pick(temperature > 60 °C, missing, \
               1 + pick(screened, 0.002, 0.004) * (least(most(temperature - 20 °C, 0 K), 20 K) / 1 K) \
                 + pick(screened, 0.002, 0.006) * (most(temperature - 40 °C, 0 K) / 1 K))",
        ),
    }
}

/// Attenuators that are kept in stock, in dB.
const STOCK: [f64; 8] = [1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0];

fn stock_pad() -> Function {
    Function {
        name: "stock_pad",
        doc: "The smallest attenuator of the usual stock values, 1 2 3 5 7 10 15 20 dB, that is at least so much; none above.",
        params: vec![param("needed", "the attenuation that is needed", LOSS)],
        more: More::No,
        source: "common practice, no source",
        example: ("stock_pad(4.2 dB)", "5 dB"),
        workbook: "IF({1}>20.000000001,\"\",IF({1}>15.000000001,20,IF({1}>10.000000001,15,IF({1}>7.000000001,10,IF({1}>5.000000001,7,IF({1}>3.000000001,5,IF({1}>2.000000001,3,IF({1}>1.000000001,2,1))))))))",
        body: Body::Numbers {
            kernel: |args| {
                let needed = args[0];
                STOCK
                    .into_iter()
                    .find(|pad| *pad >= needed - 1e-9)
                    .unwrap_or(f64::NAN)
            },
            result: LOSS,
        },
    }
}

fn cage_fit(plan: &Plan) -> Function {
    let cages = Cages::of(plan);
    let text = |name, doc| Param {
        name,
        doc,
        ty: Some(Ty::Text),
    };
    Function {
        name: "cage_fit",
        doc: "How the best of some module types goes into a cage: yes, adapter, depends or no; missing where the tables do not say.",
        params: vec![
            text("cage", "the cage, e.g. SFP28"),
            text("modules", "module types with spaces between, e.g. SFP+ XFP"),
        ],
        more: More::No,
        source: "form factor standards and vendor practice, by the sheet fits",
        example: ("cage_fit(\"QSFP28\", \"SFP28\")", "adapter"),
        workbook: "",
        body: Body::Texts {
            kernel: TextKernel::Text(Arc::new(move |args| {
                cages.fit(args[0], args[1]).map(|fit| fit.word().to_owned())
            })),
        },
    }
}
