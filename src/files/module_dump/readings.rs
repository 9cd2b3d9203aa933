//! What a module reads of itself: temperature, supply, bias and light, with thresholds and flags.
//!
//! Turns the numbers of the memory into units. Where they stand is in `sfp.rs` and `qsfp.rs`.

use super::page::Page;
use std::fmt;

/// Optical power.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Power {
    microwatts: f64,
}

impl Power {
    /// From the steps of the memory, 0.1 µW each (SFF-8472 bytes 102 to 105).
    pub fn of_steps(steps: f64) -> Self {
        Self {
            microwatts: steps.max(0.0) / 10.0,
        }
    }

    /// The power in µW.
    pub fn microwatts(self) -> f64 {
        self.microwatts
    }

    /// Whether there is none at all, which no level can say.
    pub fn is_dark(self) -> bool {
        self.microwatts <= 0.0
    }

    /// The level in dBm, to a thousandth; none without light.
    pub fn dbm(self) -> Option<f64> {
        let level = 10.0 * (self.microwatts / 1000.0).log10();
        (!self.is_dark()).then(|| (level * 1000.0).round() / 1000.0)
    }
}

impl fmt::Display for Power {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.dbm() {
            Some(level) => write!(f, "{level:.2} dBm"),
            None => f.write_str("no light"),
        }
    }
}

/// What is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Temperature inside the module, °C.
    Temperature,
    /// Supply voltage, V.
    Supply,
    /// Laser bias current, mA.
    Bias,
    /// Light that is sent.
    Sent,
    /// Light that is received.
    Received,
}

impl Quantity {
    /// The name in a list of alarms.
    pub fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Supply => "supply",
            Self::Bias => "bias",
            Self::Sent => "sent light",
            Self::Received => "received light",
        }
    }
}

/// Which of two thresholds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Above the high one.
    High,
    /// Below the low one.
    Low,
}

/// A threshold that was passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Alarm {
    /// By what.
    pub quantity: Quantity,
    /// On which side.
    pub side: Side,
    /// Whether only the warning threshold was passed.
    pub is_warning: bool,
    /// On which lane, from 1; none where there is but one.
    pub lane: Option<u8>,
    /// Whether a reading shows it; else the module latched a flag earlier.
    pub by_reading: bool,
}

impl fmt::Display for Alarm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let side = match self.side {
            Side::High => "high",
            Side::Low => "low",
        };
        write!(f, "{} {side}", self.quantity.name())?;
        if let Some(lane) = self.lane {
            write!(f, " on lane {lane}")?;
        }
        match self.by_reading {
            true => Ok(()),
            false => f.write_str(" (flag)"),
        }
    }
}

/// Four thresholds of one quantity; SFF-8472 table "Alarm and Warning Thresholds".
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits<T> {
    /// Above it is an alarm.
    pub high_alarm: T,
    /// Below it is an alarm.
    pub low_alarm: T,
    /// Above it is a warning.
    pub high_warning: T,
    /// Below it is a warning.
    pub low_warning: T,
}

impl<T> Limits<T> {
    /// From the four words of a quantity, in their order in memory.
    fn read(page: Page<'_>, at: usize, value: impl Fn(u16) -> T) -> Self {
        Self {
            high_alarm: value(page.word(at)),
            low_alarm: value(page.word(at + 2)),
            high_warning: value(page.word(at + 4)),
            low_warning: value(page.word(at + 6)),
        }
    }
}

impl<T: PartialOrd + Copy> Limits<T> {
    /// Which alarm threshold a value passes; none where the thresholds are not set.
    fn passed(&self, value: T) -> Option<Side> {
        match self.high_alarm > self.low_alarm {
            true if value > self.high_alarm => Some(Side::High),
            true if value < self.low_alarm => Some(Side::Low),
            true | false => None,
        }
    }
}

/// The thresholds that the maker set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// In °C.
    pub temperature: Limits<f64>,
    /// In V.
    pub supply: Limits<f64>,
    /// In mA.
    pub bias: Limits<f64>,
    /// Of light sent.
    pub sent: Limits<Power>,
    /// Of light received.
    pub received: Limits<Power>,
}

/// The readings of one lane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lane {
    /// Laser bias current in mA.
    pub bias: Option<f64>,
    /// Light sent.
    pub sent: Option<Power>,
    /// Light received.
    pub received: Option<Power>,
}

/// Everything that a module read of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// Whether the numbers in memory were finished ones.
    pub calibration: Calibration,
    /// Whether received light is an average; else it is optical modulation amplitude.
    pub is_average: bool,
    /// In °C.
    pub temperature: Option<f64>,
    /// In V.
    pub supply: Option<f64>,
    /// One or four lanes.
    pub lanes: Vec<Lane>,
    /// None where the dump has no such page.
    pub thresholds: Option<Thresholds>,
    /// Flags that the module had latched; alarms and warnings.
    pub flags: Vec<Alarm>,
}

impl Readings {
    /// The lane with the least light received.
    pub fn least_received(&self) -> Option<Power> {
        let powers = self.lanes.iter().filter_map(|lane| lane.received);
        powers.min_by(|a, b| a.microwatts.total_cmp(&b.microwatts))
    }

    /// The lane with the least light sent.
    pub fn least_sent(&self) -> Option<Power> {
        let powers = self.lanes.iter().filter_map(|lane| lane.sent);
        powers.min_by(|a, b| a.microwatts.total_cmp(&b.microwatts))
    }

    /// The lane with the greatest bias, in mA.
    pub fn greatest_bias(&self) -> Option<f64> {
        let biases = self.lanes.iter().filter_map(|lane| lane.bias);
        biases.max_by(f64::total_cmp)
    }

    /// Every alarm threshold that a reading passes, and every alarm flag of another one.
    pub fn alarms(&self) -> Vec<Alarm> {
        let mut found = self.passed();
        for flag in self.flags.iter().filter(|flag| !flag.is_warning) {
            let is_same = |alarm: &Alarm| {
                (alarm.quantity, alarm.side, alarm.lane) == (flag.quantity, flag.side, flag.lane)
            };
            if !found.iter().any(is_same) {
                found.push(*flag);
            }
        }
        found
    }

    fn passed(&self) -> Vec<Alarm> {
        let Some(limits) = &self.thresholds else {
            return Vec::new();
        };
        let mut found = Vec::new();
        let mut add = |quantity, side: Option<Side>, lane| {
            found.extend(side.map(|side| Alarm {
                quantity,
                side,
                is_warning: false,
                lane,
                by_reading: true,
            }));
        };
        let temperature = self.temperature.and_then(|t| limits.temperature.passed(t));
        add(Quantity::Temperature, temperature, None);
        let supply = self.supply.and_then(|supply| limits.supply.passed(supply));
        add(Quantity::Supply, supply, None);
        let one = self.lanes.len() == 1;
        for (lane, number) in self.lanes.iter().zip(1_u8..) {
            let number = (!one).then_some(number);
            let bias = lane.bias.and_then(|bias| limits.bias.passed(bias));
            add(Quantity::Bias, bias, number);
            let sent = lane.sent.and_then(|sent| limits.sent.passed(sent));
            add(Quantity::Sent, sent, number);
            let received = lane
                .received
                .and_then(|light| limits.received.passed(light));
            add(Quantity::Received, received, number);
        }
        found
    }
}

/// A straight line: slope times the number in memory, plus an offset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    slope: f64,
    offset: f64,
}

impl Slope {
    /// Slope as unsigned fixed point with eight bits after the point, offset as signed integer in
    /// the steps of the quantity; SFF-8472 table "Calibration Constants".
    fn read(page: Page<'_>, at: usize) -> Self {
        Self {
            slope: f64::from(page.word(at)) / 256.0,
            offset: f64::from(page.signed(at + 2)),
        }
    }

    fn of(self, raw: f64) -> f64 {
        self.slope * raw + self.offset
    }
}

/// How numbers in memory become quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Calibration {
    /// They are finished.
    Internal,
    /// They are those of the converter, and constants stand beside them (A2h bytes 56 to 91).
    External {
        /// Received light as a polynomial, the constant first.
        received: [f64; 5],
        /// Bias.
        bias: Slope,
        /// Light sent.
        sent: Slope,
        /// Temperature.
        temperature: Slope,
        /// Supply.
        supply: Slope,
    },
}

impl Calibration {
    /// The constants of A2h: Rx_PWR(4) to Rx_PWR(0) at 56 to 75, Tx_I at 76, Tx_PWR at 80, T at
    /// 84, V at 88.
    pub(super) fn external(page: Page<'_>) -> Self {
        Self::External {
            received: [72, 68, 64, 60, 56].map(|at| page.float(at)),
            bias: Slope::read(page, 76),
            sent: Slope::read(page, 80),
            temperature: Slope::read(page, 84),
            supply: Slope::read(page, 88),
        }
    }

    /// °C from signed steps of 1/256 °C.
    pub fn temperature(&self, raw: u16) -> f64 {
        let raw = f64::from(raw.cast_signed());
        let steps = match self {
            Self::Internal => raw,
            Self::External { temperature, .. } => temperature.of(raw),
        };
        steps / 256.0
    }

    /// V from steps of 100 µV.
    pub fn supply(&self, raw: u16) -> f64 {
        let raw = f64::from(raw);
        let steps = match self {
            Self::Internal => raw,
            Self::External { supply, .. } => supply.of(raw),
        };
        steps / 10_000.0
    }

    /// mA from steps of 2 µA.
    pub fn bias(&self, raw: u16) -> f64 {
        let raw = f64::from(raw);
        let steps = match self {
            Self::Internal => raw,
            Self::External { bias, .. } => bias.of(raw),
        };
        steps / 500.0
    }

    /// Light sent from steps of 0.1 µW.
    pub fn sent(&self, raw: u16) -> Power {
        let raw = f64::from(raw);
        Power::of_steps(match self {
            Self::Internal => raw,
            Self::External { sent, .. } => sent.of(raw),
        })
    }

    /// Light received from steps of 0.1 µW; none where the constants give no number.
    pub fn received(&self, raw: u16) -> Option<Power> {
        let raw = f64::from(raw);
        let steps = match self {
            Self::Internal => raw,
            Self::External { received, .. } => received
                .iter()
                .rev()
                .fold(0.0, |sum, factor| sum * raw + factor),
        };
        steps.is_finite().then(|| Power::of_steps(steps))
    }
}

/// Where the thresholds of the quantities stand in a page.
#[derive(Debug, Clone, Copy)]
pub(super) struct ThresholdsAt {
    pub(super) temperature: usize,
    pub(super) supply: usize,
    pub(super) bias: usize,
    pub(super) sent: usize,
    pub(super) received: usize,
}

/// The thresholds of a page. They are numbers of the same kind as the readings, so the same
/// calibration holds for them (from memory, for external calibration).
pub(super) fn thresholds(page: Page<'_>, at: ThresholdsAt, by: &Calibration) -> Thresholds {
    let received = |raw| by.received(raw).unwrap_or(Power::of_steps(0.0));
    Thresholds {
        temperature: Limits::read(page, at.temperature, |raw| by.temperature(raw)),
        supply: Limits::read(page, at.supply, |raw| by.supply(raw)),
        bias: Limits::read(page, at.bias, |raw| by.bias(raw)),
        sent: Limits::read(page, at.sent, |raw| by.sent(raw)),
        received: Limits::read(page, at.received, received),
    }
}

/// The four flags of a quantity in four bits, the highest first: high alarm, low alarm, high
/// warning, low warning.
pub(super) fn flags_of(bits: u8, quantity: Quantity, lane: Option<u8>) -> Vec<Alarm> {
    let alarm = |side, is_warning| Alarm {
        quantity,
        side,
        is_warning,
        lane,
        by_reading: false,
    };
    let all = [
        (8, alarm(Side::High, false)),
        (4, alarm(Side::Low, false)),
        (2, alarm(Side::High, true)),
        (1, alarm(Side::Low, true)),
    ];
    let set = all.into_iter().filter(|(bit, _)| bits & bit != 0);
    set.map(|(_, alarm)| alarm).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SFF-8472 table of temperature formats, as makers of modules print it.
    #[test]
    fn temperatures_are_those_of_the_published_table() {
        for (raw, celsius) in [
            (0x7fff, 127.996),
            (0x7d00, 125.0),
            (0x1900, 25.0),
            (0x0101, 1.004),
            (0x0100, 1.0),
            (0x00ff, 0.996),
            (0x0001, 0.004),
            (0x0000, 0.0),
            (0xffff, -0.004),
            (0xff00, -1.0),
            (0xe700, -25.0),
            (0xd800, -40.0),
            (0x8001, -127.996),
            (0x8000, -128.0),
        ] {
            let read: f64 = Calibration::Internal.temperature(raw);
            assert_eq!((read * 1000.0).round() / 1000.0, celsius, "{raw:04x}");
        }
    }

    /// SFF-8472, text on internal calibration: ranges of the 16 bits.
    #[test]
    fn the_ranges_are_those_of_the_standard() {
        let by = Calibration::Internal;
        assert_eq!(by.supply(0xffff), 6.5535);
        assert_eq!(by.bias(0xffff), 131.07);
        assert_eq!(by.sent(0xffff).microwatts(), 6553.5);
        // "0 to 6.5535 mW (about -40 to +8.2 dBm)"
        assert_eq!(by.sent(0xffff).dbm(), Some(8.165));
        assert_eq!(by.received(1).unwrap().dbm(), Some(-40.0));
        assert_eq!(by.received(10_000).unwrap().dbm(), Some(0.0));
        assert_eq!(by.received(0).unwrap().dbm(), None);
        assert_eq!(by.received(0).unwrap().to_string(), "no light");
    }

    /// SFF-8472 table of unsigned fixed-point slopes.
    #[test]
    fn slopes_are_those_of_the_published_table() {
        for (high, low, slope) in [
            (0x00, 0x00, 0.0),
            (0x00, 0x01, 0.0039),
            (0x01, 0x00, 1.0),
            (0x01, 0x08, 1.0313),
            (0x01, 0xff, 1.9961),
            (0x02, 0x00, 2.0),
            (0xff, 0xfe, 255.9922),
            (0xff, 0xff, 255.9961),
        ] {
            let bytes = [high, low, 0, 0];
            let read = Slope::read(Page(&bytes), 0).slope;
            assert!((read - slope).abs() < 0.00006, "{read} {slope}");
        }
        let bytes = [1, 0, 0x80, 0x01];
        assert_eq!(Slope::read(Page(&bytes), 0).offset, -32767.0);
    }

    /// A page of constants; those of "internally calibrated" devices change nothing (SFF-8472,
    /// table of calibration constants: slopes 1, offsets 0, Rx_PWR(1) 1, the other Rx_PWR 0).
    fn constants(received: [f32; 5], slope: [u8; 2], offset: [u8; 2]) -> Calibration {
        let mut page = [0; 256];
        for (at, factor) in [72, 68, 64, 60, 56].into_iter().zip(received) {
            page[at..at + 4].copy_from_slice(&factor.to_be_bytes());
        }
        for at in [76, 80, 84, 88] {
            page[at..at + 2].copy_from_slice(&slope);
            page[at + 2..at + 4].copy_from_slice(&offset);
        }
        Calibration::external(Page(&page))
    }

    #[test]
    fn constants_of_nothing_change_nothing() {
        let by = constants([0.0, 1.0, 0.0, 0.0, 0.0], [1, 0], [0, 0]);
        for raw in [0, 1, 255, 256, 4095, 0x7fff, 0x8000, 0xffff] {
            assert_eq!(by.temperature(raw), Calibration::Internal.temperature(raw));
            assert_eq!(by.supply(raw), Calibration::Internal.supply(raw));
            assert_eq!(by.bias(raw), Calibration::Internal.bias(raw));
            assert_eq!(by.sent(raw), Calibration::Internal.sent(raw));
            assert_eq!(by.received(raw), Calibration::Internal.received(raw));
        }
    }

    #[test]
    fn constants_are_applied_by_the_published_formulas() {
        // T = slope T_AD + offset, R = R4 A^4 + R3 A^3 + R2 A^2 + R1 A + R0.
        let by = constants([3.0, 0.5, 0.25, 0.125, 0.0625], [1, 0x80], [0xff, 0x00]);
        assert_eq!(by.temperature(0x1900), 1.5 * 25.0 - 1.0);
        assert_eq!(by.supply(33_000), (1.5 * 33_000.0 - 256.0) / 10_000.0);
        assert_eq!(by.bias(3000), (1.5 * 3000.0 - 256.0) * 0.002);
        assert_eq!(by.sent(5000).microwatts(), (1.5 * 5000.0 - 256.0) / 10.0);
        let steps = 3.0 + 0.5 * 8.0 + 0.25 * 64.0 + 0.125 * 512.0 + 0.0625 * 4096.0;
        assert_eq!(by.received(8).unwrap().microwatts(), steps / 10.0);
        // Below zero there is no light; without a number there is no reading.
        assert!(by.sent(0).is_dark());
        let none = constants([f32::NAN, 1.0, 0.0, 0.0, 0.0], [1, 0], [0, 0]);
        assert_eq!(none.received(8), None);
    }

    #[test]
    fn unset_thresholds_are_never_passed() {
        let unset = Limits {
            high_alarm: 0.0,
            low_alarm: 0.0,
            high_warning: 0.0,
            low_warning: 0.0,
        };
        assert_eq!(unset.passed(25.0), None);
        let set = Limits {
            high_alarm: 70.0,
            ..unset
        };
        assert_eq!(set.passed(70.0), None);
        assert_eq!(set.passed(70.1), Some(Side::High));
        assert_eq!(set.passed(-0.1), Some(Side::Low));
    }
}
