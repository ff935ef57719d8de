//! Services that transmit where intermediate frequencies lie, and which part keeps them out.
//!
//! The table is short and generic: what is in the air at a place is for its people to say.

/// A service and its band.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// What transmits.
    pub name: String,
    /// Lower end, Hz.
    pub lo_hz: f64,
    /// Upper end, Hz.
    pub hi_hz: f64,
    /// Where the band is written down, and as of when.
    pub source: String,
}

/// Band, name, source. Frequencies in MHz, from memory of the documents named, as of 2024; no region has all of them.
const TABLE: &[(f64, f64, &str, &str)] = &[
    (430.0, 440.0, "amateur service, 70 cm", RR),
    (470.0, 694.0, "television broadcasting", RR),
    (663.0, 698.0, "phones of band 71 (hand-held)", PHONES),
    (617.0, 652.0, "phones of band 71 (masts)", PHONES),
    (699.0, 716.0, "phones of band 12 (hand-held)", PHONES),
    (729.0, 746.0, "phones of band 12 (masts)", PHONES),
    (703.0, 748.0, "phones of band 28 (hand-held)", PHONES),
    (758.0, 803.0, "phones of band 28 (masts)", PHONES),
    (777.0, 787.0, "phones of band 13 (hand-held)", PHONES),
    (746.0, 756.0, "phones of band 13 (masts)", PHONES),
    (832.0, 862.0, "phones of band 20 (hand-held)", PHONES),
    (791.0, 821.0, "phones of band 20 (masts)", PHONES),
    (824.0, 849.0, "phones of band 5 (hand-held)", PHONES),
    (869.0, 894.0, "phones of band 5 (masts)", PHONES),
    (880.0, 915.0, "phones of band 8 (hand-held)", PHONES),
    (925.0, 960.0, "phones of band 8 (masts)", PHONES),
    (960.0, 1215.0, "aeronautical radionavigation", RR),
    (1215.0, 1300.0, "radiolocation", RR),
    (1240.0, 1300.0, "amateur service, 23 cm", RR),
    (1710.0, 1785.0, "phones of band 3 (hand-held)", PHONES),
    (1805.0, 1880.0, "phones of band 3 (masts)", PHONES),
    (1920.0, 1980.0, "phones of band 1 (hand-held)", PHONES),
    (2110.0, 2170.0, "phones of band 1 (masts)", PHONES),
];
const RR: &str = "ITU Radio Regulations, article 5, Region 1 (from memory, as of 2024)";
const PHONES: &str = "3GPP TS 36.101, table 5.5-1 (from memory, as of 2024)";

/// The built-in table.
pub fn built_in() -> Vec<Service> {
    TABLE
        .iter()
        .map(|(lo, hi, name, source)| Service {
            name: (*name).to_string(),
            lo_hz: lo * 1e6,
            hi_hz: hi * 1e6,
            source: (*source).to_string(),
        })
        .collect()
}

/// How a service stands to an intermediate band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standing {
    /// It overlaps what is wanted: no filter tells them apart.
    Inside,
    /// It stands beside what is wanted, inside what the receiver takes in: the gap in Hz.
    Beside {
        /// Distance between the nearer ends, Hz.
        gap_hz: f64,
    },
}

/// Services that overlap the wanted band or stand within the receiver's, the inside ones and the nearest first.
/// Frequencies in Hz.
pub fn neighbours(
    services: &[Service],
    wanted: (f64, f64),
    receiver: (f64, f64),
) -> Vec<(&Service, Standing)> {
    let mut out: Vec<(&Service, Standing)> = services
        .iter()
        .filter(|s| s.lo_hz <= receiver.1 && s.hi_hz >= receiver.0)
        .map(|s| {
            let gap_hz = (s.lo_hz - wanted.1).max(wanted.0 - s.hi_hz);
            let standing = if gap_hz <= 0.0 {
                Standing::Inside
            } else {
                Standing::Beside { gap_hz }
            };
            (s, standing)
        })
        .collect();
    let key = |s: &Standing| match s {
        Standing::Inside => 0.0,
        Standing::Beside { gap_hz } => *gap_hz,
    };
    out.sort_by(|a, b| {
        key(&a.1)
            .total_cmp(&key(&b.1))
            .then_with(|| a.0.lo_hz.total_cmp(&b.0.lo_hz))
    });
    out
}

/// Filters need room to fall: below this share of the band's edge frequency a coaxial filter of ordinary quality does not
/// separate two services (common practice, no source).
pub const STEEP: f64 = 0.02;

/// Which part to add.
pub fn remedy(standing: Standing, wanted: (f64, f64)) -> String {
    let mhz = |hz: f64| slantpath_quantity::show::fixed(hz / 1e6, 1);
    match standing {
        Standing::Inside => "no filter helps: double-screened cable, screwed connectors, a ferrite on every lead and a screened receiver; else a converter whose oscillator puts the band elsewhere".into(),
        Standing::Beside { gap_hz } if gap_hz < STEEP * wanted.1 => format!(
            "a cavity filter for {} to {} MHz before the receiver; an ordinary filter is not steep enough for a gap of {} MHz",
            mhz(wanted.0), mhz(wanted.1), mhz(gap_hz)
        ),
        Standing::Beside { .. } => format!(
            "a band filter for {} to {} MHz before the receiver, passing DC where the branch feeds the converter",
            mhz(wanted.0), mhz(wanted.1)
        ),
    }
}

/// Stretches of `range` (Hz) at least `width` wide that no service touches.
pub fn free(services: &[Service], range: (f64, f64), width: f64) -> Vec<(f64, f64)> {
    let mut taken: Vec<(f64, f64)> = services.iter().map(|s| (s.lo_hz, s.hi_hz)).collect();
    taken.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out = Vec::new();
    let mut from = range.0;
    for (lo, hi) in taken {
        if lo.min(range.1) - from >= width {
            out.push((from, lo.min(range.1)));
        }
        from = from.max(hi);
    }
    if range.1 - from >= width {
        out.push((from, range.1));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hand_held_phones_stand_in_a_722_mhz_band() {
        let all = built_in();
        let near = neighbours(&all, (722.15e6, 722.55e6), (650e6, 2150e6));
        assert_eq!(near[0].1, Standing::Inside);
        assert!(near[0].0.name.contains("band 28"), "{}", near[0].0.name);
        // Band 12 ends at 716 MHz, its masts begin at 729 MHz: 6.15 and 6.45 MHz away.
        let beside = near.iter().find(|(s, _)| s.lo_hz == 699e6).unwrap();
        assert_eq!(beside.1, Standing::Beside { gap_hz: 6.15e6 });
        assert!(remedy(beside.1, (722.15e6, 722.55e6)).contains("cavity"));
        assert!(remedy(Standing::Inside, (1.0, 2.0)).contains("no filter"));
        assert!(near.iter().all(|(s, _)| s.hi_hz >= 650e6));
    }

    #[test]
    fn gaps_between_services() {
        let s = |lo: f64, hi: f64| Service {
            name: "x".into(),
            lo_hz: lo,
            hi_hz: hi,
            source: "typed".into(),
        };
        let services = [s(20.0, 30.0), s(10.0, 25.0), s(50.0, 60.0)];
        assert_eq!(
            free(&services, (0.0, 70.0), 10.0),
            [(0.0, 10.0), (30.0, 50.0), (60.0, 70.0)]
        );
        assert_eq!(free(&services, (0.0, 70.0), 15.0), [(30.0, 50.0)]);
        assert_eq!(free(&[], (5.0, 7.0), 1.0), [(5.0, 7.0)]);
    }

    #[test]
    fn the_table_is_in_order() {
        for s in built_in() {
            assert!(s.lo_hz < s.hi_hz && s.source.contains("2024"), "{}", s.name);
        }
    }
}
