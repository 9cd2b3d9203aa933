//! Whole dumps: made by a small builder, read back; short ones, damaged ones and any bytes.

use super::*;
use crate::sheet::rows_of;
use crate::trade::empty_plan;
use proptest::prelude::*;

/// The dump that comes with the program.
const EXAMPLE: &str = include_str!("../../../examples/p103-near.hex");

/// Some memory that is filled field by field.
#[derive(Debug, Clone)]
struct Dump(Vec<u8>);

impl Dump {
    /// A0h and A2h of an SFP+ for 10GBASE-LR, with finished readings.
    fn sfp() -> Self {
        Self(vec![0; 512])
            .bytes(0, &[0x03, 0x04, 0x07, 0x20])
            .bytes(11, &[0x06, 103, 0, 10, 100])
            .text(20, 16, "REEF OPTICS")
            .text(40, 16, "RO-10LR-10")
            .text(56, 4, "A1")
            .word(60, 1310)
            .text(68, 16, "RX240117")
            .text(84, 8, "240305")
            .bytes(92, &[0x68, 0x80, 0x08])
            .limits(256, [75.0, -5.0, 70.0, 0.0].map(|celsius| celsius * 256.0))
            .limits(264, [36_000.0, 30_000.0, 35_000.0, 31_000.0])
            .limits(272, [35_000.0, 5_000.0, 30_000.0, 7_500.0])
            .limits(280, [14_125.0, 1_122.0, 11_220.0, 1_413.0])
            .limits(288, [14_125.0, 257.0, 11_220.0, 363.0])
            .word(352, 0x1f80)
            .word(354, 32_984)
            .word(356, 18_250)
            .word(358, 6_166)
            .word(360, 3_548)
            .summed()
    }

    /// Lower page, upper page 00h and upper page 03h of a QSFP28 for 100GBASE-SR4.
    fn qsfp() -> Self {
        Self(vec![0; 640])
            .bytes(0, &[0x11, 0x07, 0x00])
            .word(22, 0x2080)
            .word(26, 33_010)
            .words(34, [7_943, 8_000, 7_500, 7_000])
            .words(42, [3_500, 3_600, 3_700, 3_400])
            .words(50, [9_000, 9_100, 9_200, 8_900])
            .bytes(128, &[0x11, 0xcc, 0x0c, 0x80])
            .bytes(140, &[0xff, 0, 0, 35, 0, 0, 50, 0])
            .text(148, 16, "REEF OPTICS")
            .text(168, 16, "RO-100SR4")
            .text(184, 2, "B")
            .word(186, 17_000)
            .bytes(192, &[0x02])
            .text(196, 16, "RQ240009")
            .text(212, 8, "24113001")
            .bytes(220, &[0x0c, 0, 103])
            .limits(512, [75.0, -5.0, 70.0, 0.0].map(|celsius| celsius * 256.0))
            .limits(528, [36_300.0, 29_700.0, 34_650.0, 31_350.0])
            .limits(560, [22_000.0, 300.0, 17_000.0, 900.0])
            .limits(568, [5_000.0, 1_000.0, 4_500.0, 1_500.0])
            .limits(576, [22_000.0, 700.0, 17_000.0, 1_400.0])
            .summed()
    }

    fn bytes(mut self, at: usize, bytes: &[u8]) -> Self {
        self.0[at..at + bytes.len()].copy_from_slice(bytes);
        self
    }

    fn text(self, at: usize, n: usize, text: &str) -> Self {
        self.bytes(at, format!("{text:n$}").as_bytes())
    }

    fn word(self, at: usize, word: u16) -> Self {
        self.bytes(at, &word.to_be_bytes())
    }

    fn words(self, at: usize, words: [u16; 4]) -> Self {
        let at_each = words.into_iter().zip((at..).step_by(2));
        at_each.fold(self, |dump, (word, at)| dump.word(at, word))
    }

    /// High alarm, low alarm, high warning, low warning; negative ones as two's complement.
    fn limits(self, at: usize, steps: [f64; 4]) -> Self {
        self.words(at, steps.map(|step| (step as i32 & 0xffff) as u16))
    }

    /// With the check codes that belong to it.
    fn summed(mut self) -> Self {
        let sum = |bytes: &[u8]| bytes.iter().copied().fold(0, u8::wrapping_add);
        let ranges: &[(usize, usize)] = match self.0[0] {
            3 => &[(0, 63), (64, 95), (256, 351)],
            _ => &[(128, 191), (192, 223)],
        };
        for (from, at) in ranges {
            if *at < self.0.len() {
                self.0[*at] = sum(&self.0[*from..*at]);
            }
        }
        self
    }

    fn read(&self) -> Module {
        read(&self.0).unwrap()
    }

    fn found(self) -> Found {
        self.summed().read().found()
    }

    /// An SFP without any code, by these figures: bit rate, wavelength, km, connector.
    fn figures(rate: u8, wavelength: u16, kilometres: u8) -> Self {
        Self::sfp()
            .bytes(3, &[0])
            .bytes(12, &[rate, 0, kilometres, 0])
            .word(60, wavelength)
    }
}

fn one(name: &'static str) -> Found {
    Found::One(name, Basis::Codes)
}

fn several(names: &[&'static str]) -> Found {
    Found::Several(names.to_vec(), Basis::Codes)
}

#[test]
fn an_sfp_is_read_field_by_field() {
    let module = Dump::sfp().read();
    let identity = &module.identity;
    assert_eq!(identity.identifier, Identifier::Sfp);
    assert_eq!(identity.form(), "SFP+");
    assert_eq!(identity.connector, Connector::Lc);
    assert_eq!(identity.codes, [Code::Named("10GBASE-LR")]);
    assert_eq!(identity.bit_rate, Some(10.3));
    assert_eq!(identity.wavelength, Some(1310.0));
    let length = identity.length(Medium::SingleMode).unwrap();
    assert_eq!((length.metres, length.or_more), (10_000.0, false));
    assert_eq!(identity.vendor, "REEF OPTICS");
    assert_eq!(identity.part, "RO-10LR-10");
    assert_eq!(identity.revision, "A1");
    assert_eq!(identity.serial, "RX240117");
    assert_eq!(identity.made, "2024-03-05");
    assert!(identity.is_intact());
    assert_eq!(module.found(), one("10GBASE-LR"));
    assert_eq!(module.notes, [""; 0]);

    let readings = module.readings.unwrap();
    assert_eq!(readings.calibration, Calibration::Internal);
    assert!(readings.is_average);
    assert_eq!(readings.temperature, Some(31.5));
    assert_eq!(readings.supply, Some(3.2984));
    assert_eq!(readings.greatest_bias(), Some(36.5));
    assert_eq!(readings.least_sent().unwrap().dbm(), Some(-2.1));
    assert_eq!(readings.least_received().unwrap().dbm(), Some(-4.5));
    let limits = readings.thresholds.unwrap();
    assert_eq!(limits.temperature.low_alarm, -5.0);
    assert_eq!(limits.temperature.high_warning, 70.0);
    assert_eq!(limits.supply.high_alarm, 3.6);
    assert_eq!(limits.bias.low_warning, 15.0);
    assert_eq!(limits.sent.high_alarm.dbm(), Some(1.5));
    assert_eq!(limits.received.low_alarm.dbm(), Some(-15.901));
    assert_eq!(readings.alarms(), []);
}

#[test]
fn a_qsfp_is_read_field_by_field() {
    let module = Dump::qsfp().read();
    let identity = &module.identity;
    assert_eq!(identity.identifier, Identifier::Qsfp28);
    assert_eq!(identity.form(), "QSFP28");
    assert_eq!(identity.connector, Connector::Mpo);
    // FFh in byte 140: 103 units of 250 MBd.
    assert_eq!(identity.bit_rate, Some(25.75));
    assert_eq!(identity.wavelength, Some(850.0));
    assert_eq!(identity.length(Medium::Om3).unwrap().metres, 70.0);
    assert_eq!(identity.length(Medium::Om4).unwrap().metres, 100.0);
    assert_eq!(identity.length(Medium::Cable), None);
    assert_eq!(identity.serial, "RQ240009");
    assert_eq!(identity.made, "2024-11-30");
    assert_eq!(module.found(), one("100GBASE-SR4"));
    assert_eq!(module.notes, [""; 0]);

    let readings = module.readings.unwrap();
    assert_eq!(readings.temperature, Some(32.5));
    assert_eq!(readings.supply, Some(3.301));
    assert_eq!(readings.lanes.len(), 4);
    assert_eq!(readings.lanes[1].bias, Some(7.2));
    assert_eq!(readings.least_received().unwrap().microwatts(), 700.0);
    assert_eq!(readings.least_sent().unwrap().microwatts(), 890.0);
    let limits = readings.thresholds.unwrap();
    assert_eq!(limits.received.low_alarm.microwatts(), 30.0);
    assert_eq!(limits.bias.high_alarm, 10.0);
    assert_eq!(limits.sent.low_warning.microwatts(), 140.0);
    assert_eq!(limits.temperature.low_alarm, -5.0);
}

#[test]
fn the_identity_is_the_same_with_and_without_readings() {
    let (sfp, qsfp) = (Dump::sfp(), Dump::qsfp());
    for (whole, shorter) in [(&sfp, 128), (&sfp, 256), (&qsfp, 256)] {
        let short = Dump(whole.0[..shorter].to_vec()).read();
        assert_eq!(short.identity, whole.read().identity);
        assert_eq!(short.n_bytes, shorter);
    }
    assert_eq!(Dump(sfp.0[..128].to_vec()).read().readings, None);
    let short = Dump(qsfp.0[..256].to_vec()).read().readings.unwrap();
    assert_eq!(short.thresholds, None);
    assert!(short.temperature.is_some());
}

/// The dump as text with offsets and a text column, sixteen bytes a line.
fn as_text(bytes: &[u8]) -> String {
    let lines = bytes.chunks(16).enumerate().map(|(at, line)| {
        let pairs: Vec<String> = line.iter().map(|byte| format!("{byte:02x}")).collect();
        let plain = |byte: &u8| match byte {
            b' '..=b'~' => char::from(*byte),
            _ => '.',
        };
        let text: String = line.iter().map(plain).collect();
        format!("{:04x}: {}  {text}\n", at * 16, pairs.join(" "))
    });
    lines.collect()
}

#[test]
fn text_and_binary_say_the_same() {
    for dump in [Dump::sfp(), Dump::qsfp()] {
        let text = as_text(&dump.0);
        assert!(is_dump(&dump.0) && is_dump(text.as_bytes()));
        assert_eq!(read(text.as_bytes()).unwrap(), dump.read());
        let commented = format!("# read at noon\n\n{text}");
        assert_eq!(read(commented.as_bytes()).unwrap(), dump.read());
        let plain: Vec<String> = dump.0.iter().map(|byte| format!("{byte:02X}")).collect();
        assert_eq!(read(plain.join(" ").as_bytes()).unwrap(), dump.read());
    }
}

#[test]
fn the_example_is_an_lr_with_light() {
    let module = read(EXAMPLE.as_bytes()).unwrap();
    assert_eq!(module, Dump::sfp().read());
}

#[test]
fn one_code_means_one_lane_in_an_sfp_and_four_in_a_qsfp() {
    for (code, sfp, qsfp) in [
        (0x02, "25GBASE-SR", "100GBASE-SR4"),
        (0x03, "25GBASE-LR", "100GBASE-LR4"),
        (0x04, "25GBASE-ER", "100GBASE-ER4"),
        (0x0b, "25GBASE-CR", "100GBASE-CR4"),
        (0x18, "25G AOC", "100G AOC"),
    ] {
        let small = Dump::sfp().bytes(3, &[0]).bytes(36, &[code]);
        assert_eq!(small.found(), one(sfp), "{code:02x}");
        assert_eq!(Dump::qsfp().bytes(192, &[code]).found(), one(qsfp));
    }
    // Without the bit that says so, the code does not count.
    let unused = Dump::qsfp().bytes(131, &[0x00]);
    assert_eq!(unused.found(), Found::Unknown(Vec::new()));
}

#[test]
fn codes_tell_the_interface() {
    for (at, byte, found) in [
        (3, 0x10, one("10GBASE-SR")),
        (3, 0x20, one("10GBASE-LR")),
        (3, 0x40, one("10GBASE-LRM")),
        (3, 0x80, one("10GBASE-ER")),
        (6, 0x01, several(&["10GBASE-LR", "1000BASE-SX"])),
    ] {
        assert_eq!(
            Dump::sfp().bytes(at, &[byte]).found(),
            found,
            "{at} {byte:02x}"
        );
    }
    let gigabit = |byte| Dump::figures(13, 1310, 10).bytes(6, &[byte]);
    assert_eq!(gigabit(0x01).found(), one("1000BASE-SX"));
    assert_eq!(gigabit(0x08).found(), one("1000BASE-T"));
    assert_eq!(gigabit(0x40).found(), one("1000BASE-BX10-U"));
    assert_eq!(gigabit(0x40).word(60, 1490).found(), one("1000BASE-BX10-D"));
    // There is no code for LX10.
    let either = several(&["1000BASE-LX", "1000BASE-LX10"]);
    assert_eq!(gigabit(0x02).found(), either);
    assert_eq!(gigabit(0x02).bytes(14, &[5]).found(), one("1000BASE-LX"));
    // No interface of the sheet goes with these.
    for (byte, name) in [(0x04, "1000BASE-CX"), (0x80, "BASE-PX")] {
        assert_eq!(gigabit(byte).found(), Found::Unknown(vec![name.to_owned()]));
    }
    let cable = |byte| Dump::figures(103, 0, 0).bytes(8, &[byte]);
    assert_eq!(cable(0x04).found(), one("10GSFP+Cu"));
    assert_eq!(cable(0x08).found(), several(&["10GSFP+Cu", "10G AOC"]));
    assert_eq!(cable(0x08).bytes(2, &[0x21]).found(), one("10GSFP+Cu"));
    let forty = |byte| Dump::qsfp().bytes(131, &[byte]).found();
    assert_eq!(forty(0x02), one("40GBASE-LR4"));
    assert_eq!(forty(0x04), one("40GBASE-SR4"));
    assert_eq!(forty(0x08), one("40GBASE-CR4"));
    // A laser behind a separable connector is no cable.
    assert_eq!(
        forty(0x01),
        Found::Unknown(vec!["a 40G active cable".to_owned()])
    );
    let fixed = Dump::qsfp().bytes(131, &[0x01]).bytes(130, &[0x23]);
    assert_eq!(fixed.found(), one("40G AOC"));
}

#[test]
fn without_codes_the_figures_tell_as_far_as_they_can() {
    let one = |name| Found::One(name, Basis::Figures);
    for (rate, wavelength, kilometres, found) in [
        (103, 850, 0, one("10GBASE-SR")),
        (103, 1310, 10, one("10GBASE-LR")),
        (103, 1550, 40, one("10GBASE-ER")),
        (103, 1550, 80, one("10GBASE-ZR")),
        (103, 1270, 10, one("10GBASE-BR10-U")),
        (103, 1330, 40, one("10GBASE-BR40-D")),
        (13, 850, 0, one("1000BASE-SX")),
        (
            103,
            1310,
            0,
            Found::Several(vec!["10GBASE-LR", "10GBASE-LRM"], Basis::Figures),
        ),
        (
            103,
            1550,
            0,
            Found::Several(vec!["10GBASE-ER", "10GBASE-ZR"], Basis::Figures),
        ),
        (13, 1550, 80, Found::Unknown(Vec::new())),
        (42, 1310, 10, Found::Unknown(Vec::new())),
        (0, 850, 0, Found::Unknown(Vec::new())),
        (103, 0, 0, Found::Unknown(Vec::new())),
    ] {
        let dump = Dump::figures(rate, wavelength, kilometres);
        assert_eq!(dump.found(), found, "{rate} {wavelength} {kilometres}");
    }
    // An extended code that is not listed is no reason to go by the figures.
    let unlisted = Dump::figures(103, 850, 0).bytes(36, &[0x1a]);
    assert_eq!(
        unlisted.found(),
        Found::Unknown(vec!["the extended code 1Ah".to_owned()])
    );
}

#[test]
fn every_interface_that_can_be_found_is_in_the_sheet() {
    let known: Vec<String> = rows_of("interfaces")
        .iter()
        .map(|row| row[0].clone())
        .collect();
    let mut n_found = 0;
    let mut check = |found: Found| {
        let names = match found {
            Found::One(name, _) => vec![name],
            Found::Several(names, _) => names,
            Found::Unknown(_) => Vec::new(),
        };
        for name in names {
            assert!(known.iter().any(|row| row == name), "{name}");
            n_found += 1;
        }
    };
    for byte in 0..=255 {
        check(Dump::sfp().bytes(36, &[byte]).found());
        check(Dump::qsfp().bytes(192, &[byte]).found());
        check(Dump::qsfp().bytes(131, &[byte]).found());
        for at in [2, 3, 6, 8] {
            check(Dump::sfp().bytes(at, &[byte]).found());
            check(Dump::figures(103, 0, 10).bytes(at, &[byte]).found());
        }
        for rate in [13, 103, 255] {
            let dump = Dump::figures(rate, 1200 + 2 * u16::from(byte), 0).bytes(66, &[103]);
            check(dump.clone().found());
            check(dump.bytes(36, &[0x37]).found());
            check(Dump::figures(rate, 1330, byte).bytes(66, &[103]).found());
        }
    }
    assert!(n_found > 500, "{n_found}");
}

#[test]
fn a_code_that_the_wavelength_speaks_against_is_told() {
    let module = Dump::sfp().bytes(3, &[0x10]).summed().read();
    assert_eq!(module.found(), one("10GBASE-SR"));
    assert_eq!(
        module.notes,
        ["it says 10GBASE-SR but states 1310 nm, so one of the two is wrong"]
    );
}

#[test]
fn a_wrong_check_code_is_told_and_the_rest_is_shown() {
    for (dump, changed) in [(Dump::sfp(), 41), (Dump::sfp(), 70), (Dump::qsfp(), 197)] {
        let module = dump.bytes(changed, b"!").read();
        assert!(!module.identity.is_intact());
        assert_eq!(module.notes.len(), 1);
        assert!(module.notes[0].contains("dump damaged or module rewritten"));
        assert!(module.readings.is_some());
    }
}

#[test]
fn readings_and_flags_beyond_thresholds_are_alarms() {
    let told = |dump: Dump| {
        let alarms = dump.read().readings.unwrap().alarms();
        let told: Vec<String> = alarms.iter().map(Alarm::to_string).collect();
        told.join(", ")
    };
    assert_eq!(told(Dump::sfp().word(360, 256)), "received light low");
    assert_eq!(told(Dump::sfp().word(360, 257)), "");
    assert_eq!(told(Dump::sfp().word(352, 0x4b01)), "temperature high");
    assert_eq!(told(Dump::sfp().word(352, 0xfaff)), "temperature low");
    // Byte 112 bit 3 and byte 113 bit 6: bias high, received light low.
    let flagged = Dump::sfp().bytes(368, &[0x08, 0x40]);
    assert_eq!(
        told(flagged.clone()),
        "bias high (flag), received light low (flag)"
    );
    assert_eq!(
        told(flagged.word(360, 10)),
        "received light low, bias high (flag)"
    );
    // Warnings, byte 116 and 117, are no alarms.
    let warned = Dump::sfp().bytes(372, &[0xff, 0xc0]);
    assert_eq!(told(warned.clone()), "");
    assert_eq!(warned.read().readings.unwrap().flags.len(), 10);
    assert_eq!(
        told(Dump::qsfp().word(38, 299)),
        "received light low on lane 3"
    );
    // Byte 10 bit 2: received light low on lane 4. Byte 11 bit 7: bias high on lane 1.
    let flagged = Dump::qsfp().bytes(10, &[0x04, 0x80]);
    let expected = "received light low on lane 4 (flag), bias high on lane 1 (flag)";
    assert_eq!(told(flagged), expected);
}

#[test]
fn external_constants_are_taken_where_the_module_says_so() {
    // Byte 92: monitoring, externally calibrated, average power.
    let dump = Dump::sfp()
        .bytes(92, &[0x58])
        .bytes(256 + 68, &0.5_f32.to_be_bytes())
        .words(256 + 76, [0x0100, 0, 0x0200, 0])
        .words(256 + 84, [0x0100, 0x0080, 0x0080, 0])
        .summed();
    let readings = dump.read().readings.unwrap();
    assert_eq!(readings.temperature, Some(32.0));
    assert_eq!(readings.supply, Some(1.6492));
    assert_eq!(readings.greatest_bias(), Some(36.5));
    assert_eq!(readings.least_sent().unwrap().microwatts(), 1233.2);
    assert_eq!(readings.least_received().unwrap().microwatts(), 177.4);
    // Thresholds are numbers of the same kind.
    let limits = readings.thresholds.unwrap();
    assert_eq!(limits.received.high_alarm.microwatts(), 706.25);
}

#[test]
fn a_module_that_does_not_monitor_has_no_readings() {
    for (byte, n_notes) in [(0x00, 1), (0x48, 1), (0x6c, 1), (0x68, 0)] {
        let module = Dump::sfp().bytes(92, &[byte]).summed().read();
        assert_eq!(module.readings.is_some(), byte == 0x68, "{byte:02x}");
        assert_eq!(module.notes.len(), n_notes, "{byte:02x} {:?}", module.notes);
    }
    let early = Dump::qsfp().bytes(2, &[0x01]).read();
    assert_eq!((early.readings, early.notes.len()), (None, 1));
    let flat = Dump::qsfp().bytes(2, &[0x04]).read();
    assert_eq!(flat.readings.unwrap().thresholds, None);
    let copper = Dump::qsfp().bytes(147, &[0xa0]).summed().read();
    assert_eq!((copper.readings, copper.identity.wavelength), (None, None));
}

#[test]
fn lengths_may_be_open_and_in_two_units() {
    let far = Dump::sfp().bytes(14, &[0xff, 0xff]).summed().read();
    let length = far.identity.length(Medium::SingleMode).unwrap();
    assert_eq!((length.metres, length.or_more), (254_000.0, true));
    assert_eq!(far.notes.len(), 1);
    let short = Dump::sfp().bytes(14, &[1, 14]).summed().read();
    assert_eq!(
        short.identity.length(Medium::SingleMode).unwrap().metres,
        1400.0
    );
    let multimode = Dump::sfp().bytes(14, &[0, 0, 8, 3, 40, 30]).summed().read();
    let metres = [Medium::Om1, Medium::Om2, Medium::Om3, Medium::Om4]
        .map(|medium| multimode.identity.length(medium).unwrap().metres);
    assert_eq!(metres, [30.0, 80.0, 300.0, 400.0]);
    let cable = Dump::sfp()
        .bytes(8, &[0x04])
        .bytes(18, &[3])
        .summed()
        .read();
    assert_eq!(cable.identity.length(Medium::Cable).unwrap().metres, 3.0);
}

#[test]
fn other_modules_and_other_bytes_are_refused_with_a_next_step() {
    let refused = |bytes: &[u8], code: &str, part: &str| {
        let problem = read(bytes).unwrap_err();
        assert_eq!(problem.code, code);
        assert!(problem.message.contains(part), "{}", problem.message);
        assert!(!problem.help.is_empty());
    };
    let of = |first: u8| Dump(vec![0; 256]).bytes(0, &[first]).0;
    refused(
        &of(0x18),
        "dump-kind",
        "18h is QSFP-DD (CMIS), which is not read yet",
    );
    refused(
        &of(0x1e),
        "dump-kind",
        "1Eh is QSFP with CMIS, which is not read yet",
    );
    for first in [0x18, 0x19, 0x1b, 0x1e, 0x1f, 0x20] {
        let help = read(&of(first)).unwrap_err().help.join(" ");
        assert!(
            help.contains("Common Management Interface Specification"),
            "{help}"
        );
    }
    let help = read(&of(0x06)).unwrap_err().help.join(" ");
    assert!(
        help.contains("SFF-8472") && !help.contains("CMIS"),
        "{help}"
    );
    refused(&of(0x06), "dump-kind", "XFP");
    refused(&of(0x00), "dump-kind", "00h, is no identifier");
    refused(&of(0xee), "dump-kind", "EEh, is no identifier");
    refused(&vec![3; MAX_BYTES + 1], "dump-too-large", "64 KiB");
    refused(b"", "dump-no-bytes", "neither");
    refused(b"03 04 07", "dump-length", "3 bytes");
    let mut text = as_text(&Dump::sfp().0);
    text.insert(100, '?');
    let problem = read(text.as_bytes()).unwrap_err();
    assert_eq!(problem.code, "dump-gap", "{problem:?}");
}

#[test]
fn only_whole_dumps_are_read_at_every_length() {
    for (dump, whole) in [
        (Dump::sfp(), &[128, 256, 512][..]),
        (Dump::qsfp(), &[256, 640]),
    ] {
        let mut bytes = dump.0.clone();
        bytes.resize(700, 0);
        for n in 0..=700 {
            let read = read(&bytes[..n]);
            assert_eq!(read.is_ok(), whole.contains(&n), "{n}");
            let text = as_text(&bytes[..n]);
            assert_eq!(
                super::read(text.as_bytes()).is_ok(),
                whole.contains(&n),
                "{n}"
            );
            if let Err(problem) = read {
                assert!(!problem.help.is_empty() && problem.message.len() < 120);
            }
        }
    }
}

/// Whatever is read can be put into a plan, and again.
fn goes_into_a_plan(module: &Module) {
    let mut plan = empty_plan().unwrap();
    for is_again in [false, true] {
        let placed = place(&plan, module, &Place::default(), "any.bin").unwrap();
        let is_named = !module.identity.serial.is_empty();
        assert_eq!(placed.is_again, is_again && is_named);
        plan.apply(placed.edit).unwrap();
    }
    let sheet = plan.sheet("modules").unwrap();
    assert!(plan.rows(sheet).wrong().is_empty());
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..700)) {
        is_dump(&bytes);
        if let Ok(module) = read(&bytes) {
            goes_into_a_plan(&module);
        }
    }

    #[test]
    fn any_memory_of_a_known_kind_is_read(
        mut bytes in prop::collection::vec(any::<u8>(), 640),
        (first, n) in prop::sample::select(vec![
            (3, 128), (3, 256), (3, 512), (0x0c, 256), (0x0d, 640), (0x11, 256), (0x11, 640),
        ]),
    ) {
        bytes.truncate(n);
        bytes[0] = first;
        bytes[1] = 0;
        let module = read(&bytes).unwrap();
        goes_into_a_plan(&module);
    }

    #[test]
    fn damaged_dumps_are_read_or_refused(
        changes in prop::collection::vec((0..640_usize, any::<u8>()), 1..12),
        is_sfp in any::<bool>(),
    ) {
        let mut dump = if is_sfp { Dump::sfp() } else { Dump::qsfp() };
        for (at, byte) in changes {
            let at = at % dump.0.len();
            dump.0[at] = byte;
        }
        if let Ok(module) = read(&dump.0) {
            goes_into_a_plan(&module);
        }
    }

    #[test]
    fn damaged_text_is_read_or_refused(
        cuts in prop::collection::vec((0..9000_usize, ".{0,3}"), 1..6),
        is_sfp in any::<bool>(),
    ) {
        let dump = if is_sfp { Dump::sfp() } else { Dump::qsfp() };
        let mut text = as_text(&dump.0);
        for (at, put) in cuts {
            let at = (at % text.len()..).find(|at| text.is_char_boundary(*at)).unwrap();
            let end = (at + 1..=text.len()).find(|at| text.is_char_boundary(*at));
            text.replace_range(at..end.unwrap_or(at), &put);
        }
        if let Ok(module) = read(text.as_bytes()) {
            goes_into_a_plan(&module);
        }
    }

    #[test]
    fn any_text_is_a_dump_or_not(text in "(0x)?[0-9a-fA-F:*#|., \t\n\r]{0,400}") {
        is_dump(text.as_bytes());
        if let Err(problem) = read(text.as_bytes()) {
            prop_assert!(!problem.help.is_empty());
        }
    }
}

#[test]
fn a_row_keeps_what_the_person_said_of_it() {
    let mut plan = empty_plan().unwrap();
    let sheet = plan.sheet("modules").unwrap();
    let cell = |plan: &crate::plan::Plan, id: &str, name: &str| {
        let row = plan.find(sheet, id).unwrap();
        let column = plan.def(sheet).column(name).unwrap();
        let unit = plan.column(sheet, column).unit.clone();
        let unit = crate::units::Units::builtin().unit(&unit).unwrap();
        plan.entry(sheet, column, row).text(&unit, plan.names())
    };
    let links = plan.sheet("links").unwrap();
    let link = crate::plan::read_entry(&plan, links, 0, "P103").unwrap();
    plan.apply(crate::plan::Edit::AddRows {
        sheet: links,
        at: 0,
        rows: vec![vec![(0, link)]],
    })
    .unwrap();
    let at = |link: &str, id: Option<&str>| Place {
        link: Some((link.to_owned(), "near")),
        id: id.map(str::to_owned),
    };
    let problem = place(&plan, &Dump::sfp().read(), &at("P13", None), "a").unwrap_err();
    assert_eq!(problem.code, "row-unknown");
    assert!(problem.help[0].contains("P103"), "{problem:?}");

    let placed = place(&plan, &Dump::sfp().read(), &at("p103", None), "a").unwrap();
    plan.apply(placed.edit).unwrap();
    for (name, expected) in [
        ("link", "P103"),
        ("end", "near"),
        ("form", "SFP+"),
        ("interface", "10GBASE-LR"),
        ("could_be", ""),
        ("basis", "codes"),
        ("wavelength", "1310"),
        ("bit_rate", "10.3"),
        ("reach", "10000"),
        ("vendor_part", "RO-10LR-10"),
        ("checksum", "matches"),
        ("temperature", "31.5"),
        ("supply", "3.2984"),
        ("bias", "36.5"),
        ("tx_power", "-2.1"),
        ("rx_power", "-4.5"),
        ("rx_state", "light"),
        ("rx_alarm_low", "-15.901"),
        ("alarms", ""),
        ("source", "a"),
    ] {
        assert_eq!(cell(&plan, "RX240117", name), expected, "{name}");
    }
    // Read again in the dark, without a place.
    let dark = Dump::sfp().word(360, 0).read();
    let placed = place(&plan, &dark, &Place::default(), "b").unwrap();
    assert!(placed.is_again);
    plan.apply(placed.edit).unwrap();
    for (name, expected) in [
        ("link", "P103"),
        ("rx_power", ""),
        ("rx_state", "no light"),
        ("alarms", ""),
        ("source", "b"),
    ] {
        assert_eq!(cell(&plan, "RX240117", name), expected, "{name}");
    }
    // A module that does not say what it is leaves what the plan says.
    let silent = Dump::sfp().bytes(3, &[0]).bytes(12, &[0]).summed().read();
    let placed = place(&plan, &silent, &Place::default(), "b").unwrap();
    plan.apply(placed.edit).unwrap();
    assert_eq!(cell(&plan, "RX240117", "interface"), "10GBASE-LR");
    assert_eq!(cell(&plan, "RX240117", "basis"), "");
    // Another part of the same serial number is not written over it.
    let other = Dump::sfp().text(40, 16, "RO-10SR").summed().read();
    let problem = place(&plan, &other, &Place::default(), "c").unwrap_err();
    assert_eq!(problem.code, "module-id-taken");
    let placed = place(&plan, &other, &at("P103", Some("spare")), "c").unwrap();
    assert_eq!((placed.id.as_str(), placed.is_again), ("spare", false));
    let unnamed = Dump::sfp().text(68, 16, "").summed().read();
    let placed = place(&plan, &unnamed, &Place::default(), "d").unwrap();
    assert_eq!(placed.id, "MOD1");
}

#[test]
fn texts_of_a_module_hold_only_printable_characters() {
    let dump = Dump::sfp()
        .bytes(20, b"\x1b[31mREEF\x00\xff\n OPT")
        .summed();
    let vendor = dump.read().identity.vendor;
    assert!(vendor.chars().all(|c| !c.is_control()), "{vendor:?}");
    assert!(vendor.contains("REEF"));
    let empty = Dump::sfp().bytes(68, &[0xff; 16]).summed().read();
    assert_eq!(empty.identity.serial, "");
    let odd = Dump::sfp().text(84, 8, "249901AB").summed().read();
    assert_eq!(odd.identity.made, "249901AB");
}
