//! What another carrier explains is no carrier: mirror images by the receiver's imbalance, and clocks that the
//! repetition of dummy PLFRAMEs pretends.

use super::Candidate;

/// What only looks like a carrier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Apparition {
    /// The mirror image of the carrier at that frequency.
    Image { of_hz: f64 },
    /// Lines in the spectrum of frames that repeat.
    Repetition,
}

/// For each candidate what explains it away.
pub(super) fn apparitions(all: &[Candidate], image_ratio: Option<f64>) -> Vec<Option<Apparition>> {
    all.iter()
        .enumerate()
        .map(|(i, c)| {
            all.iter()
                .enumerate()
                .filter(|(k, _)| *k != i)
                .find_map(|(_, o)| image(c, o, image_ratio).or_else(|| repetition(c, o)))
        })
        .collect()
}

fn inverted(c: &Candidate) -> Option<bool> {
    let lock = &c.demodulated.as_ref()?.lock;
    lock.as_ref().ok().map(|l| l.inverted)
}

/// Same clock, mirrored place, mirrored spectrum, and as weak as the imbalance makes it.
fn image(c: &Candidate, of: &Candidate, image_ratio: Option<f64>) -> Option<Apparition> {
    let g = image_ratio?;
    let rate = of.found.line.rate;
    let place = (c.shape.centre_hz + of.shape.centre_hz).abs() < 0.02 * rate;
    let u = c.found.line.u_rate.hypot(of.found.line.u_rate);
    let clock = (c.found.line.rate - rate).abs() < 5.0 * u + 1e-6 * rate;
    let ratio = c.shape.power() / of.shape.power().max(1e-300);
    let level = ratio < 0.06 && (0.3..3.0).contains(&(ratio / g.max(1e-12)));
    let turned = match (inverted(c), inverted(of)) {
        (Some(a), Some(b)) => a != b,
        _ => true,
    };
    (place && clock && level && turned).then_some(Apparition::Image {
        of_hz: of.shape.centre_hz,
    })
}

/// Frames that repeat have a spectrum of lines one frame rate apart: pairs of them look like clocks of whole multiples.
fn repetition(c: &Candidate, of: &Candidate) -> Option<Apparition> {
    let frames = of.demodulated.as_ref()?.lock.as_ref().ok()?;
    let all = frames.headers.max(1) as f64;
    let (dummy, n) = frames.kinds.iter().find(|(f, _)| f.modcod == 0)?;
    let free = c.demodulated.as_ref().is_none_or(|d| d.lock.is_err());
    let (lo, hi) = of.shape.band();
    let inside =
        (lo..hi).contains(&c.shape.centre_hz) && c.found.line.rate < 0.8 * of.found.line.rate;
    let multiple = c.found.line.rate * dummy.symbols() as f64 / of.found.line.rate;
    let off = (multiple - multiple.round()).abs() * of.found.line.rate / dummy.symbols() as f64;
    let line = off < 4.0 * c.found.line.u_rate + 1.0;
    (free && inside && line && *n as f64 > 0.3 * all).then_some(Apparition::Repetition)
}
