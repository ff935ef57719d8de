//! MODCODs of DVB-S2 (ETSI EN 302 307-1): tables 12 and 13, table 5a.
//!
//! Es/N0 of table 13: ideal, quasi error free (packet error rate 1e-7), AWGN, 50 LDPC iterations, normal FECFRAME, no
//! pilots. A receiver needs more by its implementation loss, typically 0.5 to 1 dB (common practice, no source). Short
//! frames need a further 0.2 to 0.3 dB (clause 6), so that a margin for them is approximate.

/// Constellation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Modulation {
    /// Two bits a symbol.
    Qpsk,
    /// Three bits a symbol.
    Psk8,
    /// Four bits a symbol.
    Apsk16,
    /// Five bits a symbol.
    Apsk32,
}

impl Modulation {
    /// As the standard writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Qpsk => "QPSK",
            Self::Psk8 => "8PSK",
            Self::Apsk16 => "16APSK",
            Self::Apsk32 => "32APSK",
        }
    }
    /// Bits a symbol.
    pub fn bits(self) -> u32 {
        match self {
            Self::Qpsk => 2,
            Self::Psk8 => 3,
            Self::Apsk16 => 4,
            Self::Apsk32 => 5,
        }
    }
}

/// One MODCOD; block lengths and threshold are those of a normal FECFRAME (64 800 bits), see [`Modcod::k_bch_short`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Modcod {
    /// Number in the PLHEADER, 1 to 28 (table 12).
    pub number: u8,
    /// Constellation.
    pub modulation: Modulation,
    /// Code rate as the standard writes it.
    pub rate: &'static str,
    /// Ideal Es/N0, dB (table 13).
    pub es_n0_db: f64,
    /// Uncoded BCH block, bits (table 5a).
    pub k_bch: u32,
    /// BCH-coded block, bits (table 5a).
    pub k_ldpc: u32,
}

impl Modcod {
    /// Symbols of a PLFRAME: header 90, payload slots of 90, and 36 pilot symbols after every 16 slots but not after the
    /// last (clause 5.5).
    pub fn frame_symbols(&self, pilots: bool) -> u32 {
        let slots = 64_800 / self.modulation.bits() / 90;
        90 * (slots + 1) + if pilots { 36 * ((slots - 1) / 16) } else { 0 }
    }
    /// Information bits a symbol (the standard's spectral efficiency): `(k_bch - 80) / symbols`.
    pub fn efficiency(&self, pilots: bool) -> f64 {
        f64::from(self.k_bch - 80) / f64::from(self.frame_symbols(pilots))
    }
    /// Uncoded BCH block of the short FECFRAME (16 200 bits), bits (table 5b); `None` for rate 9/10, which has none.
    /// The nominal rate is not the effective one: 1/4 is 1/5, 1/2 is 4/9, 3/4 is 11/15, 4/5 is 7/9, 5/6 is 37/45.
    pub fn k_bch_short(&self) -> Option<u32> {
        Some(match self.rate {
            "1/4" => 3072,
            "1/3" => 5232,
            "2/5" => 6312,
            "1/2" => 7032,
            "3/5" => 9552,
            "2/3" => 10_632,
            "3/4" => 11_712,
            "4/5" => 12_432,
            "5/6" => 13_152,
            "8/9" => 14_232,
            _ => return None,
        })
    }
    /// As people write it, for example `8PSK 3/4`.
    pub fn name(&self) -> String {
        format!("{} {}", self.modulation.name(), self.rate)
    }
}

/// The 28 MODCODs in the order of their numbers.
pub const MODCODS: [Modcod; 28] = [
    Modcod {
        number: 1,
        modulation: Modulation::Qpsk,
        rate: "1/4",
        es_n0_db: -2.35,
        k_bch: 16008,
        k_ldpc: 16200,
    },
    Modcod {
        number: 2,
        modulation: Modulation::Qpsk,
        rate: "1/3",
        es_n0_db: -1.24,
        k_bch: 21408,
        k_ldpc: 21600,
    },
    Modcod {
        number: 3,
        modulation: Modulation::Qpsk,
        rate: "2/5",
        es_n0_db: -0.3,
        k_bch: 25728,
        k_ldpc: 25920,
    },
    Modcod {
        number: 4,
        modulation: Modulation::Qpsk,
        rate: "1/2",
        es_n0_db: 1.0,
        k_bch: 32208,
        k_ldpc: 32400,
    },
    Modcod {
        number: 5,
        modulation: Modulation::Qpsk,
        rate: "3/5",
        es_n0_db: 2.23,
        k_bch: 38688,
        k_ldpc: 38880,
    },
    Modcod {
        number: 6,
        modulation: Modulation::Qpsk,
        rate: "2/3",
        es_n0_db: 3.1,
        k_bch: 43040,
        k_ldpc: 43200,
    },
    Modcod {
        number: 7,
        modulation: Modulation::Qpsk,
        rate: "3/4",
        es_n0_db: 4.03,
        k_bch: 48408,
        k_ldpc: 48600,
    },
    Modcod {
        number: 8,
        modulation: Modulation::Qpsk,
        rate: "4/5",
        es_n0_db: 4.68,
        k_bch: 51648,
        k_ldpc: 51840,
    },
    Modcod {
        number: 9,
        modulation: Modulation::Qpsk,
        rate: "5/6",
        es_n0_db: 5.18,
        k_bch: 53840,
        k_ldpc: 54000,
    },
    Modcod {
        number: 10,
        modulation: Modulation::Qpsk,
        rate: "8/9",
        es_n0_db: 6.2,
        k_bch: 57472,
        k_ldpc: 57600,
    },
    Modcod {
        number: 11,
        modulation: Modulation::Qpsk,
        rate: "9/10",
        es_n0_db: 6.42,
        k_bch: 58192,
        k_ldpc: 58320,
    },
    Modcod {
        number: 12,
        modulation: Modulation::Psk8,
        rate: "3/5",
        es_n0_db: 5.5,
        k_bch: 38688,
        k_ldpc: 38880,
    },
    Modcod {
        number: 13,
        modulation: Modulation::Psk8,
        rate: "2/3",
        es_n0_db: 6.62,
        k_bch: 43040,
        k_ldpc: 43200,
    },
    Modcod {
        number: 14,
        modulation: Modulation::Psk8,
        rate: "3/4",
        es_n0_db: 7.91,
        k_bch: 48408,
        k_ldpc: 48600,
    },
    Modcod {
        number: 15,
        modulation: Modulation::Psk8,
        rate: "5/6",
        es_n0_db: 9.35,
        k_bch: 53840,
        k_ldpc: 54000,
    },
    Modcod {
        number: 16,
        modulation: Modulation::Psk8,
        rate: "8/9",
        es_n0_db: 10.69,
        k_bch: 57472,
        k_ldpc: 57600,
    },
    Modcod {
        number: 17,
        modulation: Modulation::Psk8,
        rate: "9/10",
        es_n0_db: 10.98,
        k_bch: 58192,
        k_ldpc: 58320,
    },
    Modcod {
        number: 18,
        modulation: Modulation::Apsk16,
        rate: "2/3",
        es_n0_db: 8.97,
        k_bch: 43040,
        k_ldpc: 43200,
    },
    Modcod {
        number: 19,
        modulation: Modulation::Apsk16,
        rate: "3/4",
        es_n0_db: 10.21,
        k_bch: 48408,
        k_ldpc: 48600,
    },
    Modcod {
        number: 20,
        modulation: Modulation::Apsk16,
        rate: "4/5",
        es_n0_db: 11.03,
        k_bch: 51648,
        k_ldpc: 51840,
    },
    Modcod {
        number: 21,
        modulation: Modulation::Apsk16,
        rate: "5/6",
        es_n0_db: 11.61,
        k_bch: 53840,
        k_ldpc: 54000,
    },
    Modcod {
        number: 22,
        modulation: Modulation::Apsk16,
        rate: "8/9",
        es_n0_db: 12.89,
        k_bch: 57472,
        k_ldpc: 57600,
    },
    Modcod {
        number: 23,
        modulation: Modulation::Apsk16,
        rate: "9/10",
        es_n0_db: 13.13,
        k_bch: 58192,
        k_ldpc: 58320,
    },
    Modcod {
        number: 24,
        modulation: Modulation::Apsk32,
        rate: "3/4",
        es_n0_db: 12.73,
        k_bch: 48408,
        k_ldpc: 48600,
    },
    Modcod {
        number: 25,
        modulation: Modulation::Apsk32,
        rate: "4/5",
        es_n0_db: 13.64,
        k_bch: 51648,
        k_ldpc: 51840,
    },
    Modcod {
        number: 26,
        modulation: Modulation::Apsk32,
        rate: "5/6",
        es_n0_db: 14.28,
        k_bch: 53840,
        k_ldpc: 54000,
    },
    Modcod {
        number: 27,
        modulation: Modulation::Apsk32,
        rate: "8/9",
        es_n0_db: 15.69,
        k_bch: 57472,
        k_ldpc: 57600,
    },
    Modcod {
        number: 28,
        modulation: Modulation::Apsk32,
        rate: "9/10",
        es_n0_db: 16.05,
        k_bch: 58192,
        k_ldpc: 58320,
    },
];

/// The MODCOD written like `8PSK 3/5` (case and spacing free).
pub fn modcod(text: &str) -> Option<&'static Modcod> {
    let squeezed: String = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .collect::<String>()
        .to_uppercase();
    MODCODS
        .iter()
        .find(|m| squeezed == format!("{}{}", m.modulation.name(), m.rate))
}

/// Ideal Es/N0 in dB of a MODCOD as written; `None` when there is no such MODCOD.
pub fn threshold_es_n0_db(text: &str) -> Option<f64> {
    modcod(text).map(|m| m.es_n0_db)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = include_str!("../tests/data/dvbs2_modcods_normal.csv");

    #[test]
    fn framing_of_en_302_307_1() {
        let mut rows = 0;
        for line in TABLE
            .lines()
            .filter(|l| !l.starts_with('#') && !l.starts_with("modcod"))
        {
            let f: Vec<&str> = line.split(',').collect();
            let m = &MODCODS[f[0].parse::<usize>().unwrap() - 1];
            assert_eq!(f[1], m.modulation.name());
            assert_eq!(f[2], m.rate);
            assert!((f[4].parse::<f64>().unwrap() - m.es_n0_db).abs() < 1e-9);
            assert_eq!(f[11].parse::<u32>().unwrap(), m.frame_symbols(false));
            assert_eq!(f[13].parse::<u32>().unwrap(), m.frame_symbols(true));
            // The published efficiency, recomputed from the framing alone.
            assert!(
                (f[3].parse::<f64>().unwrap() - m.efficiency(false)).abs() < 1e-6,
                "{line}"
            );
            assert!(
                (f[15].parse::<f64>().unwrap() - m.efficiency(true)).abs() < 1e-6,
                "{line}"
            );
            rows += 1;
        }
        assert_eq!(rows, 28);
    }

    #[test]
    fn as_people_write_them() {
        assert_eq!(modcod("8psk 3/5").map(|m| m.number), Some(12));
        assert_eq!(threshold_es_n0_db("QPSK1/4"), Some(-2.35));
        assert_eq!(modcod("QPSK 7/8"), None);
    }
}
