//! The simplified link model of multimode fibre: what is left of the eye after a length.
//!
//! Closed forms only, worst case, without an equaliser. Whatever comes out is an estimate and
//! overrules no reach of a standard; duty cycle distortion aside, it knows no jitter, no
//! reflection noise and no baseline wander.

use super::super::Ty;
use super::{Body, Function, More, Param, param};
use crate::units::{Dim, Measure};

const PLAIN: Ty = Ty::Number(Measure::NUMBER);
const LOSS: Ty = Ty::Number(Measure::amount(Dim::DECIBEL));
const LENGTH: Ty = Ty::Number(Measure::amount(Dim::LENGTH));
const TIME: Ty = Ty::Number(Measure::amount(Dim::TIME));
const FREQUENCY: Ty = Ty::Number(Measure::amount(Dim::FREQUENCY));
const POWER: Ty = Ty::Number(Measure::amount(Dim::POWER));

/// Loss for one length, e.g. dB/km.
fn loss_by_length() -> Ty {
    by_length(Dim::DECIBEL, 1)
}

/// Bandwidth for one length, e.g. MHz km.
fn bandwidth_length() -> Ty {
    by_length(Dim::FREQUENCY, -1)
}

/// How dispersion grows with the wavelength, e.g. ps/(nm² km).
fn slope() -> Ty {
    by_length(Dim::TIME, 3)
}

/// A dimension over a power of length; these few are all in range.
fn by_length(dim: Dim, power: i8) -> Ty {
    let lengths = Dim::LENGTH.power(power);
    let dim = lengths.and_then(|lengths| dim.over(lengths));
    Ty::Number(Measure::amount(dim.unwrap_or(Dim::NONE)))
}

/// Half the eye over the noise at which one bit in 10^12 is wrong.
const Q: f64 = 7.034;

/// Rise from 10 to 90 % of a Gaussian step, in standard deviations.
const RISE: f64 = 2.563;

const MODEL: &str = "link model of IEEE 802.3ae, as its task force published it in parts";
const MEMORY: &str = "link model of IEEE 802.3ae, from memory";

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    let mut all = plain();
    all.extend(noise());
    all.push(estimated_penalty());
    all
}

fn plain() -> Vec<Function> {
    let formula = |name, doc, params, source, example, workbook, text| Function {
        name,
        doc,
        params,
        more: More::No,
        source,
        example,
        workbook,
        body: Body::Formula(text),
    };
    let wavelength = || param("wavelength", "the wavelength", LENGTH);
    vec![
        formula(
            "model_loss",
            "The attenuation of multimode fibre near 850 nm in the link model",
            vec![
                param(
                    "attenuation_850",
                    "the attenuation at 850 nm, for one length",
                    loss_by_length(),
                ),
                wavelength(),
            ],
            MODEL,
            ("model_loss(3.5 dB/km, 840 nm)", "3.6226 dB/km"),
            "({1}/3.5*(1.05+(1/(0.00094*{2}*1000000000))^4))",
            "attenuation_850 / 3.5 * (1.05 + (1 / (0.00094 * (wavelength / 1 nm)))^4)",
        ),
        formula(
            "chromatic_dispersion",
            "How much a pulse spreads for each width of its spectrum and each length; negative below the wavelength of zero dispersion",
            vec![
                wavelength(),
                param("zero", "the wavelength of zero dispersion", LENGTH),
                param("slope", "the slope of the dispersion there", slope()),
            ],
            "ITU-T G.652 (three-term Sellmeier form)",
            (
                "chromatic_dispersion(1550 nm, 1310 nm, 0.09 ps/nm^2/km)",
                "17.081 ps/nm/km",
            ),
            "({3}/4*({1}-{2}^4/{1}^3))",
            "slope / 4 * (wavelength - zero^4 / wavelength^3)",
        ),
        formula(
            "average_level",
            "The average level of a signal from its modulation amplitude and extinction ratio",
            vec![
                param("amplitude", "the optical modulation amplitude", POWER),
                param("extinction", "the extinction ratio", LOSS),
            ],
            "definition of the optical modulation amplitude, IEEE 802.3 clause 52",
            ("average_level(2 mW, 3 dB)", "4.78497 dBm"),
            "(10*LOG10({1}*(10^({2}/10)+1)/(2*(10^({2}/10)-1))*1000))",
            "to_dbm(amplitude * (from_db(extinction) + 1) / (2 * (from_db(extinction) - 1)))",
        ),
    ]
}

fn noise() -> Vec<Function> {
    let numbers = |name, doc, params, source, example, workbook, kernel, result| Function {
        name,
        doc,
        params,
        more: More::No,
        source,
        example,
        workbook,
        body: Body::Numbers { kernel, result },
    };
    vec![
        numbers(
            "error_chance",
            "The chance that a bit is wrong, for half the eye over the noise",
            vec![param("q", "half the eye over the noise", PLAIN)],
            "Gaussian noise: half the complementary error function of q over the root of 2",
            ("error_chance(0)", "0.5"),
            "(1-NORM.S.DIST({1},TRUE))",
            error_chance,
            PLAIN,
        ),
        numbers(
            "eye_opening",
            "What is left of the eye in the middle of a bit after a rise time, 1 for all; not below 0",
            vec![
                param("bit_time", "the time of one bit, less its distortion", TIME),
                param("rise", "the rise time from 10 to 90 %", TIME),
            ],
            MEMORY,
            ("eye_opening(100 ps, 100 ps)", "0.599964"),
            "MAX(0,2*(2*NORM.S.DIST(2.563*{1}/(2*{2}),TRUE)-1)-1)",
            |args| eye_opening(args[0], args[1]),
            PLAIN,
        ),
        numbers(
            "noise_penalty",
            "The loss that makes up for noise which grows with the signal; missing where none does",
            vec![
                param("noise", "the noise, as a part of the signal", PLAIN),
                param("eye", "what is left of the eye, 1 for all", PLAIN),
            ],
            MODEL,
            ("noise_penalty(0.052, 1)", "0.311875 dB"),
            "IF(7.034*{1}/{2}<1,-5*LOG10(1-(7.034*{1}/{2})^2),\"\")",
            |args| noise_penalty(args[0], args[1]),
            LOSS,
        ),
    ]
}

/// What the model takes, in the order of its arguments.
fn model_params() -> Vec<Param> {
    vec![
        param("length", "the length of the fibre", LENGTH),
        param(
            "bandwidth",
            "its modal bandwidth, for one length",
            bandwidth_length(),
        ),
        param("zero", "its wavelength of zero dispersion", LENGTH),
        param("slope", "the slope of the dispersion there", slope()),
        param("symbol_rate", "symbols in a time on the line", FREQUENCY),
        param("wavelength", "the worst wavelength", LENGTH),
        param("width", "the rms width of the spectrum", LENGTH),
        param("rise", "the rise time of the sender, 20 to 80 %", TIME),
        param("receiver", "the bandwidth of the receiver", FREQUENCY),
        param("intensity_noise", "the noise of the laser, for 1 Hz", LOSS),
        param(
            "partition",
            "how far the modes of the laser share its power by chance",
            PLAIN,
        ),
        param("distortion", "what a bit loses to uneven edges", TIME),
        param("modal_noise", "what is allowed for modal noise", LOSS),
    ]
}

fn estimated_penalty() -> Function {
    Function {
        name: "estimated_penalty",
        doc: "Simplified link-model estimate of what multimode fibre costs besides its loss; missing where the eye closes",
        params: model_params(),
        more: More::No,
        source: MEMORY,
        example: (
            "estimated_penalty(300 m, 2 GHz * 1 km, 1320 nm, 0.11 ps/nm^2/km, 10312.5 MHz, 840 nm, 0.29 nm, 35 ps, 7500 MHz, -128 dB, 0.3, 0 ps, 0 dB)",
            "3.08028 dB",
        ),
        workbook: "",
        body: Body::Numbers {
            kernel: |args| Model::of(args).map_or(f64::NAN, |model| model.penalty()),
            result: LOSS,
        },
    }
}

fn error_chance(args: &[f64]) -> f64 {
    libm::erfc(args[0] / std::f64::consts::SQRT_2) / 2.0
}

/// The middle of a lone bit that a Gaussian step of this rise time leaves.
fn eye_opening(bit_time: f64, rise: f64) -> f64 {
    let half_bit = RISE * bit_time / (2.0 * std::f64::consts::SQRT_2 * rise);
    (2.0 * libm::erf(half_bit) - 1.0).max(0.0)
}

/// The penalty of noise that is a part of the signal, measured against the eye that is left.
fn noise_penalty(noise: f64, eye: f64) -> f64 {
    let left = 1.0 - (Q * noise / eye).powi(2);
    if left > 0.0 {
        -5.0 * left.log10()
    } else {
        f64::NAN
    }
}

/// A fibre of a length with what is at its ends, in base units.
#[derive(Debug)]
struct Model {
    /// The modal bandwidth over the whole length, Hz.
    modal: f64,
    /// The chromatic bandwidth over the whole length, Hz.
    chromatic: f64,
    /// What a spectrum of its width spreads over the length, s.
    spread: f64,
    symbol_rate: f64,
    /// The rise time of the sender, 10 to 90 %, s.
    rise: f64,
    receiver: f64,
    intensity_noise: f64,
    partition: f64,
    distortion: f64,
    modal_noise: f64,
}

impl Model {
    /// `None` where the thirteen arguments are no link.
    fn of(args: &[f64]) -> Option<Self> {
        let [
            length,
            bandwidth,
            zero,
            slope,
            symbol_rate,
            wavelength,
            width,
            rise,
            receiver,
            intensity_noise,
            partition,
            distortion,
            modal_noise,
        ] = *args
        else {
            return None;
        };
        let from_slope = slope / 4.0 * wavelength * (1.0 - (zero / wavelength).powi(4));
        let spread = from_slope.hypot(0.7 * slope * width) * width * length;
        let positive = [bandwidth, symbol_rate, wavelength, receiver];
        (length >= 0.0 && positive.into_iter().all(|value| value > 0.0)).then(|| Self {
            modal: bandwidth / length,
            chromatic: 0.187 / spread,
            spread,
            symbol_rate,
            rise: 1.518 * rise,
            receiver,
            intensity_noise,
            partition,
            distortion,
            modal_noise,
        })
    }

    /// The eye after sender, fibre and receiver.
    fn eye(&self) -> f64 {
        let fibre = (0.48 / self.modal).hypot(0.48 / self.chromatic);
        let rise = fibre.hypot(self.rise).hypot(0.329 / self.receiver);
        eye_opening(1.0 / self.symbol_rate - self.distortion, rise)
    }

    /// The noise of power that moves between the modes of the laser, as a part of the signal.
    fn partition_noise(&self) -> f64 {
        let turn = (std::f64::consts::PI * self.symbol_rate * self.spread).powi(2);
        self.partition / std::f64::consts::SQRT_2 * -(-turn).exp_m1()
    }

    /// The intensity noise of the laser that passes fibre and receiver, squared.
    fn intensity_noise_squared(&self) -> f64 {
        let narrowed = self.modal.powi(-2) + self.chromatic.powi(-2);
        let bandwidth = 1.0 / (narrowed + 0.477 * self.receiver.powi(-2)).sqrt();
        0.7 * bandwidth * 10f64.powf(self.intensity_noise / 10.0)
    }

    fn penalty(&self) -> f64 {
        let eye = self.eye();
        let noise = (self.partition_noise().powi(2) + self.intensity_noise_squared()).sqrt();
        -10.0 * eye.log10() + noise_penalty(noise, eye) + self.modal_noise
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The model of 10GBASE-S on a fibre, with all that is fixed.
    fn short_wave(length: f64, bandwidth: f64) -> Model {
        let fixed = [1320e-9, 0.11e3, 10_312.5e6, 840e-9, 0.29e-9, 35e-12, 7500e6];
        let args = [
            &[length, bandwidth * 1e9][..],
            &fixed,
            &[-128.0, 0.3, 0.0, 0.0],
        ]
        .concat();
        Model::of(&args).unwrap()
    }

    // Worked out apart from this program, to three or four places: eye, partition noise alone,
    // intensity noise alone, both together against the eye; with a Q of 7.04.
    #[test]
    fn the_parts_are_those_of_the_equations() {
        let cases = [
            (300.0, 2000.0, 0.544, 0.053, 0.066, 0.44),
            (400.0, 4700.0, 0.689, 0.159, 0.084, 0.56),
            (550.0, 4700.0, 0.562, 0.522, 0.068, 3.23),
        ];
        for (length, bandwidth, eye, partition, intensity, both) in cases {
            let model = short_wave(length, bandwidth);
            let intensity_noise = model.intensity_noise_squared().sqrt();
            let joint = model.penalty() + 10.0 * model.eye().log10();
            for (got, printed, within) in [
                (model.eye(), eye, 6e-4),
                (noise_penalty(model.partition_noise(), 1.0), partition, 2e-3),
                (noise_penalty(intensity_noise, 1.0), intensity, 1e-3),
                (joint, both, 2e-2),
            ] {
                assert!(
                    (got - printed).abs() < within,
                    "{length} m: {got} {printed}"
                );
            }
        }
    }

    // Alcatel-Lucent 365-312-801R7.2 p. 10-5, which repeats IEEE 802.3 table 38-10: penalties of
    // 1000BASE-SX. Receiver, partition, distortion and modal noise are chosen, so this says that
    // the shape is right and no more.
    #[test]
    fn the_penalties_of_1000base_sx_have_the_printed_shape() {
        for (length, bandwidth, printed) in [
            (220.0, 160.0, 4.27),
            (275.0, 200.0, 4.29),
            (500.0, 400.0, 4.07),
            (550.0, 500.0, 3.57),
        ] {
            let args = [
                length,
                bandwidth * 1e9,
                1320e-9,
                0.11e3,
                1250e6,
                830e-9,
                0.85e-9,
                260e-12,
                1000e6,
                -117.0,
                0.7,
                70e-12,
                0.5,
            ];
            let got = Model::of(&args).unwrap().penalty();
            assert!((got - printed).abs() < 0.1, "{length} m: {got} {printed}");
        }
    }

    #[test]
    fn a_closed_eye_has_no_penalty() {
        assert_eq!(eye_opening(100e-12, 1.0), 0.0);
        assert!(short_wave(3000.0, 2000.0).penalty().is_nan());
        assert!(noise_penalty(0.2, 1.0).is_nan());
        assert!(short_wave(0.0, 2000.0).penalty() > 0.0);
    }

    #[test]
    fn the_error_function_is_the_tabled_one() {
        assert!((error_chance(&[7.034]) - 1e-12).abs() < 1e-14);
        assert!((eye_opening(1.0, 1.0) - 0.6).abs() < 1e-3);
    }
}
