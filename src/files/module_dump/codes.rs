//! The code tables of SFF-8024, and the compliance bits as codes of our own.
//!
//! Values that were compared with public source code are plain; others say "from memory".

use std::fmt;

/// How the memory is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// SFF-8472.
    Sfp,
    /// SFF-8636.
    Qsfp,
}

/// What kind of module it is, SFF-8024 table "Identifier Values" (byte 0).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Identifier {
    /// 03h: SFP and all its later generations.
    Sfp,
    /// 0Ch: QSFP.
    Qsfp,
    /// 0Dh: QSFP+ or later.
    QsfpPlus,
    /// 11h: QSFP28 or later.
    Qsfp28,
    /// A value whose memory is not read.
    Other(u8),
}

impl Identifier {
    pub(super) fn of(code: u8) -> Self {
        match code {
            0x03 => Self::Sfp,
            0x0c => Self::Qsfp,
            0x0d => Self::QsfpPlus,
            0x11 => Self::Qsfp28,
            other => Self::Other(other),
        }
    }

    /// The layout that goes with it; none where it is not read.
    pub fn layout(self) -> Option<Layout> {
        match self {
            Self::Sfp => Some(Layout::Sfp),
            Self::Qsfp | Self::QsfpPlus | Self::Qsfp28 => Some(Layout::Qsfp),
            Self::Other(_) => None,
        }
    }

    /// The name of the form factor; none for a reserved value. Values above 11h are from memory.
    pub fn name(self) -> Option<&'static str> {
        match self {
            Self::Sfp => Some("SFP"),
            Self::Qsfp => Some("QSFP"),
            Self::QsfpPlus => Some("QSFP+"),
            Self::Qsfp28 => Some("QSFP28"),
            Self::Other(code) => match code {
                0x01 => Some("GBIC"),
                0x02 => Some("a module soldered to its board"),
                0x04 => Some("a 300-pin module"),
                0x05 => Some("XENPAK"),
                0x06 => Some("XFP"),
                0x08 => Some("XFP-E"),
                0x09 => Some("XPAK"),
                0x0a => Some("X2"),
                0x0b => Some("DWDM-SFP"),
                0x0e => Some("CXP"),
                0x12 => Some("CXP2"),
                0x18 => Some("QSFP-DD (CMIS)"),
                0x19 => Some("OSFP (CMIS)"),
                0x1a => Some("SFP-DD"),
                0x1b => Some("DSFP (CMIS)"),
                0x1e => Some("QSFP with CMIS"),
                0x1f => Some("SFP-DD with CMIS"),
                0x20 => Some("SFP with CMIS"),
                _ => None,
            },
        }
    }
}

/// What plugs in at the front, SFF-8024 table "Connector Types".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Connector {
    /// 01h.
    Sc,
    /// 07h.
    Lc,
    /// 08h.
    MtRj,
    /// 09h.
    Mu,
    /// 0Bh: a fixed fibre.
    OpticalPigtail,
    /// 0Ch: one row of twelve fibres.
    Mpo,
    /// 0Dh: two rows of sixteen fibres.
    Mpo2x16,
    /// 20h.
    HssdcII,
    /// 21h: a fixed copper cable.
    CopperPigtail,
    /// 22h.
    Rj45,
    /// 23h: a fixed cable of any kind.
    NoSeparable,
    /// 24h.
    Mxc2x16,
    /// 25h: a fibre for each of two lanes pairs side by side.
    Cs,
    /// 26h.
    Sn,
    /// 27h: two rows of twelve fibres.
    Mpo2x12,
    /// 28h: one row of sixteen fibres.
    Mpo1x16,
    /// 00h, or a value that is not in this list.
    Other(u8),
}

impl Connector {
    pub(super) fn of(code: u8) -> Self {
        match code {
            0x01 => Self::Sc,
            0x07 => Self::Lc,
            0x08 => Self::MtRj,
            0x09 => Self::Mu,
            0x0b => Self::OpticalPigtail,
            0x0c => Self::Mpo,
            0x0d => Self::Mpo2x16,
            0x20 => Self::HssdcII,
            0x21 => Self::CopperPigtail,
            0x22 => Self::Rj45,
            0x23 => Self::NoSeparable,
            0x24 => Self::Mxc2x16,
            // The next four are from memory.
            0x25 => Self::Cs,
            0x26 => Self::Sn,
            0x27 => Self::Mpo2x12,
            0x28 => Self::Mpo1x16,
            other => Self::Other(other),
        }
    }

    /// Whether the cable is fixed to the module.
    pub fn is_fixed(self) -> bool {
        matches!(
            self,
            Self::OpticalPigtail | Self::CopperPigtail | Self::NoSeparable
        )
    }
}

impl fmt::Display for Connector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self {
            Self::Sc => "SC",
            Self::Lc => "LC",
            Self::MtRj => "MT-RJ",
            Self::Mu => "MU",
            Self::OpticalPigtail => "fixed fibre",
            Self::Mpo => "MPO-12",
            Self::Mpo2x16 => "MPO 2 x 16",
            Self::HssdcII => "HSSDC II",
            Self::CopperPigtail => "fixed copper cable",
            Self::Rj45 => "RJ45",
            Self::NoSeparable => "fixed cable",
            Self::Mxc2x16 => "MXC 2 x 16",
            Self::Cs => "CS",
            Self::Sn => "SN",
            Self::Mpo2x12 => "MPO 2 x 12",
            Self::Mpo1x16 => "MPO-16",
            Self::Other(0) => "not said",
            Self::Other(code) => return write!(f, "code {code:02X}h"),
        };
        f.write_str(name)
    }
}

/// What a stated length is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Medium {
    /// Single-mode fibre.
    SingleMode,
    /// Multimode fibre of 62.5 µm.
    Om1,
    /// Multimode fibre of 50 µm.
    Om2,
    /// Laser-optimised multimode fibre of 50 µm.
    Om3,
    /// The better of them.
    Om4,
    /// A copper cable, or the fixed cable of an assembly.
    Cable,
}

impl Medium {
    /// The name in a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::SingleMode => "single-mode fibre",
            Self::Om1 => "OM1",
            Self::Om2 => "OM2",
            Self::Om3 => "OM3",
            Self::Om4 => "OM4",
            Self::Cable => "cable",
        }
    }
}

/// One thing that a module says it complies with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Code {
    /// An interface by its name in the standard, from a bit of its own.
    Named(&'static str),
    /// Two-way on one fibre at 1 Gb/s or 100 Mb/s: BASE-BX10, SFF-8472 byte 6 bit 6.
    Bx10,
    /// A passive cable assembly, SFF-8472 byte 8 bit 2.
    PassiveCable,
    /// An active cable assembly, SFF-8472 byte 8 bit 3.
    ActiveCable,
    /// 40G active cable (XLPPI), SFF-8636 byte 131 bit 0; whether it is copper.
    Active40 {
        /// By the device technology, byte 147: copper rather than a laser.
        copper: bool,
    },
    /// A value of SFF-8024 table "Extended Specification Compliance Codes".
    Extended(u8),
}
