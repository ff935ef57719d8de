//! What a branch can hear: the downlink through the LNB's oscillator into the receiver's range.

use crate::checked::{Band, Branch, Lnb, PartKind, Passband, ReceiveTree};
use slantpath_quantity::Frequency;

/// Why a passband does not get through a branch, or only in part.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstruction {
    /// The part at which it ends.
    pub part: String,
    /// In words.
    pub what: String,
    /// True when nothing of the passband gets through, false when some of it does.
    pub all: bool,
}

/// The first LNB of a branch.
pub fn lnb_of<'a>(tree: &'a ReceiveTree, branch: &'a Branch) -> Option<(&'a str, &'a Lnb)> {
    tree.stages(branch).find_map(|s| match &s.part.kind {
        PartKind::Lnb(l) => Some((s.part.name.as_str(), l)),
        _ => None,
    })
}

/// The oscillator frequency of an LNB with or without the 22 kHz tone.
pub fn oscillator(lnb: &Lnb, tone: bool) -> Frequency {
    match (tone, lnb.lo_with_tone) {
        (true, Some(f)) => f,
        _ => lnb.lo,
    }
}

/// The intermediate frequency of `f` (and whether the spectrum is mirrored).
pub fn intermediate(f: Frequency, lo: Frequency) -> (Frequency, bool) {
    if f >= lo {
        (f - lo, false)
    } else {
        (lo - f, true)
    }
}

/// Where a downlink passband lies behind an oscillator.
pub fn intermediate_band(band: &Band, lo: Frequency) -> Band {
    let (a, _) = intermediate(band.lo, lo);
    let (z, _) = intermediate(band.hi, lo);
    Band {
        lo: Frequency::hz(a.as_hz().min(z.as_hz())),
        hi: Frequency::hz(a.as_hz().max(z.as_hz())),
    }
}

/// Where `passband` arrives at the receiver of `branch`, or the first part that stops it. A part that lets only some of
/// it through is told when nothing stops it all.
///
/// # Errors
/// The [`Obstruction`], with the band at the receiver when part of the passband gets through.
pub fn reach(
    tree: &ReceiveTree,
    branch: &Branch,
    passband: &Passband,
) -> Result<Band, (Option<Band>, Obstruction)> {
    let mut band = passband.downlink;
    let mut partly: Option<Obstruction> = None;
    let mut check = |part: &str, what: &str, range: &Band, band: &Band| -> Option<Obstruction> {
        if range.covers(band) {
            return None;
        }
        let apart = band.hi < range.lo || range.hi < band.lo;
        let o = Obstruction {
            part: part.to_string(),
            what: format!(
                "{} is at {:.3} to {:.3} MHz, but {what} {:.3} to {:.3} MHz",
                passband.name,
                band.lo.as_mhz(),
                band.hi.as_mhz(),
                range.lo.as_mhz(),
                range.hi.as_mhz()
            ),
            all: apart,
        };
        if apart {
            return Some(o);
        }
        partly.get_or_insert(o);
        None
    };
    for s in tree.stages(branch) {
        let name = s.part.name.as_str();
        let stopped = match &s.part.kind {
            PartKind::Lnb(l) => {
                if let Some(o) = check(name, &format!("`{name}` accepts"), &l.input_range, &band) {
                    return Err((None, o));
                }
                band = intermediate_band(&band, oscillator(l, branch.tone));
                check(name, &format!("`{name}` delivers"), &l.output_range, &band)
            }
            PartKind::Filter(f) => check(name, &format!("`{name}` passes"), &f.passband, &band),
            PartKind::Amplifier(a) => a
                .frequency_range
                .as_ref()
                .and_then(|r| check(name, &format!("`{name}` works from"), r, &band)),
            PartKind::Receiver(r) => {
                check(name, &format!("`{name}` tunes"), &r.frequency_range, &band)
            }
            _ => None,
        };
        if let Some(o) = stopped {
            return Err((None, o));
        }
    }
    match partly {
        Some(o) => Err((Some(band), o)),
        None => Ok(band),
    }
}
