//! PLFRAMEs (EN 302 307-1, 5.5): header, slots of 90 symbols, pilot blocks.

use crate::{MODCODS, Modcod, Modulation, WaveformError};
use std::ops::Range;

/// Symbols of a slot, and of the header.
pub const SLOT: usize = 90;
/// Symbols of a pilot block.
pub const PILOT: usize = 36;
/// Payload symbols between pilot blocks: 16 slots.
pub const PILOT_SPACING: usize = 16 * SLOT;
/// Slots of a dummy PLFRAME (5.5.1).
const DUMMY_SLOTS: usize = 36;

/// Length of the coded block.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FecFrame {
    /// 64 800 bits.
    Normal,
    /// 16 200 bits.
    Short,
}

impl FecFrame {
    /// Coded bits.
    pub fn bits(self) -> u32 {
        match self {
            Self::Normal => 64_800,
            Self::Short => 16_200,
        }
    }
    /// As the standard writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Short => "short",
        }
    }
}

/// What a PLFRAME is made of: what its header's seven bits say (5.5.2.2 and 5.5.2.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Frame {
    /// MODCOD, 1 to 28; 0 is a dummy PLFRAME.
    pub modcod: u8,
    /// Length of the coded block.
    pub fecframe: FecFrame,
    /// Whether pilot blocks are inserted.
    pub pilots: bool,
}

impl Frame {
    /// The frame of a PLS code, 0 to 127: MODCOD in the five upper bits, then short, then pilots. `None` for codes
    /// that the standard reserves (MODCOD 29 to 31, and rate 9/10 with short frames).
    pub fn of_pls(pls: u8) -> Option<Self> {
        let frame = Self {
            modcod: pls >> 2,
            fecframe: if pls & 2 != 0 {
                FecFrame::Short
            } else {
                FecFrame::Normal
            },
            pilots: pls & 1 != 0,
        };
        frame.check().ok().map(|()| frame)
    }

    /// The PLS code.
    pub fn pls(&self) -> u8 {
        (self.modcod << 2)
            | (u8::from(self.fecframe == FecFrame::Short) << 1)
            | u8::from(self.pilots)
    }

    /// Whether the standard has it.
    ///
    /// # Errors
    /// MODCOD above 28, or rate 9/10 with a short frame.
    pub fn check(&self) -> Result<(), WaveformError> {
        let what = || WaveformError::NotInStandard {
            what: format!(
                "MODCOD {} with {} FECFRAMEs",
                self.modcod,
                self.fecframe.name()
            ),
        };
        if self.modcod == 0 {
            return Ok(());
        }
        let m = self.modcod().ok_or_else(what)?;
        if self.fecframe == FecFrame::Short && m.k_bch_short().is_none() {
            return Err(what());
        }
        Ok(())
    }

    /// The MODCOD; `None` for a dummy frame.
    pub fn modcod(&self) -> Option<&'static Modcod> {
        MODCODS.get(usize::from(self.modcod).checked_sub(1)?)
    }

    /// Payload slots.
    pub fn slots(&self) -> usize {
        self.modcod().map_or(DUMMY_SLOTS, |m| {
            (self.fecframe.bits() / m.modulation.bits()) as usize / SLOT
        })
    }

    /// Payload symbols.
    pub fn payload(&self) -> usize {
        SLOT * self.slots()
    }

    /// Pilot blocks: one after every 16 slots but none after the last. A dummy frame has none.
    pub fn pilot_blocks(&self) -> usize {
        if self.pilots && self.modcod != 0 {
            (self.slots() - 1) / 16
        } else {
            0
        }
    }

    /// Symbols of the whole PLFRAME.
    pub fn symbols(&self) -> usize {
        SLOT * (self.slots() + 1) + PILOT * self.pilot_blocks()
    }

    /// Where pilot block `i` stands, in symbols from the start of the PLFRAME.
    pub fn pilot(&self, i: usize) -> Range<usize> {
        let a = SLOT + (i + 1) * PILOT_SPACING + i * PILOT;
        a..a + PILOT
    }

    /// Stretches of payload, in symbols from the start of the PLFRAME.
    pub fn payload_ranges(&self) -> impl Iterator<Item = Range<usize>> + use<> {
        let (total, blocks, frame) = (self.symbols(), self.pilot_blocks(), *self);
        (0..=blocks).map(move |i| {
            let from = if i == 0 { SLOT } else { frame.pilot(i - 1).end };
            let to = if i == blocks {
                total
            } else {
                frame.pilot(i).start
            };
            from..to
        })
    }

    /// Constellation of the payload; `None` for a dummy frame, whose symbols are all `(1 + j)/sqrt 2` before
    /// scrambling.
    pub fn modulation(&self) -> Option<Modulation> {
        self.modcod().map(|m| m.modulation)
    }

    /// Information bits a symbol; `None` for a dummy frame.
    pub fn efficiency(&self) -> Option<f64> {
        let m = self.modcod()?;
        let k = match self.fecframe {
            FecFrame::Normal => m.k_bch,
            FecFrame::Short => m.k_bch_short()?,
        };
        Some(f64::from(k - 80) / self.symbols() as f64)
    }

    /// Net rate of the transport stream, bit/s, at a symbol rate in Bd.
    pub fn bit_rate(&self, symbol_rate: f64) -> Option<f64> {
        Some(self.efficiency()? * symbol_rate)
    }

    /// Ideal Es/N0 in dB for quasi error-free reception (table 13), and whether the figure is for this very frame: the
    /// table holds for normal FECFRAMEs; short ones need 0.2 to 0.3 dB more (clause 6), for which 0.25 dB is added.
    pub fn threshold_es_n0_db(&self) -> Option<(f64, bool)> {
        let m = self.modcod()?;
        Some(match self.fecframe {
            FecFrame::Normal => (m.es_n0_db, true),
            FecFrame::Short => (m.es_n0_db + 0.25, false),
        })
    }

    /// In words, for example `QPSK 3/4, short FECFRAME, pilots`.
    pub fn name(&self) -> String {
        let pilots = if self.pilots { "pilots" } else { "no pilots" };
        match self.modcod() {
            Some(m) => format!("{}, {} FECFRAME, {pilots}", m.name(), self.fecframe.name()),
            None => "dummy PLFRAME".to_string(),
        }
    }

    /// Every frame of the standard but the dummy.
    pub fn all() -> impl Iterator<Item = Self> {
        (4..116).filter_map(Self::of_pls)
    }

    /// Every length a PLFRAME can have, in symbols, shortest first.
    pub fn lengths() -> Vec<usize> {
        let mut all: Vec<usize> = Self::all().map(|f| f.symbols()).collect();
        all.sort_unstable();
        all.dedup();
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<Vec<&str>> {
        text.lines()
            .filter(|l| !l.starts_with('#') && !l.starts_with("modcod"))
            .map(|l| l.split(',').collect())
            .collect()
    }

    #[test]
    fn short_frames_of_table_5b() {
        let table = rows(include_str!("../tests/data/dvbs2_modcods_short.csv"));
        assert_eq!(table.len(), 24);
        for r in table {
            let mut f = Frame {
                modcod: r[0].parse().unwrap(),
                fecframe: FecFrame::Short,
                pilots: false,
            };
            f.check().unwrap();
            assert_eq!(f.modcod().unwrap().rate, r[2]);
            assert_eq!(
                f.modcod().unwrap().k_bch_short().unwrap(),
                r[3].parse::<u32>().unwrap()
            );
            assert_eq!(f.slots(), r[7].parse::<usize>().unwrap());
            assert_eq!(f.symbols(), r[8].parse::<usize>().unwrap());
            assert!((f.efficiency().unwrap() / r[11].parse::<f64>().unwrap() - 1.0).abs() < 1e-6);
            f.pilots = true;
            assert_eq!(
                f.pilot_blocks() * PILOT,
                r[9].parse::<usize>().unwrap(),
                "{f:?}"
            );
            assert_eq!(f.symbols(), r[10].parse::<usize>().unwrap());
            assert!((f.efficiency().unwrap() / r[12].parse::<f64>().unwrap() - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn bit_rates() {
        let table = rows(include_str!("../tests/data/dvbs2_bitrates.csv"));
        assert_eq!(table.len(), 140);
        for r in table {
            for (pilots, column) in [(false, 5), (true, 6)] {
                let f = Frame {
                    modcod: r[0].parse().unwrap(),
                    fecframe: FecFrame::Normal,
                    pilots,
                };
                let rate = f.bit_rate(r[3].parse().unwrap()).unwrap();
                assert!((rate / r[column].parse::<f64>().unwrap() - 1.0).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn frames_are_covered_once_by_header_payload_and_pilots() {
        for f in Frame::all() {
            assert_eq!(Frame::of_pls(f.pls()), Some(f));
            let payload: usize = f.payload_ranges().map(|r| r.len()).sum();
            assert_eq!(payload, f.payload());
            let mut at = SLOT;
            for (i, r) in f.payload_ranges().enumerate() {
                assert_eq!(r.start, at);
                at = r.end;
                if i < f.pilot_blocks() {
                    assert_eq!(f.pilot(i).start, at);
                    at = f.pilot(i).end;
                }
            }
            assert_eq!(at, f.symbols());
        }
        assert_eq!(Frame::all().count(), 2 * (28 + 24));
        // Reserved codes, and rate 9/10 in short frames.
        assert_eq!(Frame::of_pls(29 << 2), None);
        assert_eq!(Frame::of_pls((11 << 2) | 2), None);
        assert_eq!(Frame::lengths().len(), 16);
    }
}
