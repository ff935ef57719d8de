//! Which PLFRAMEs follow one another: headers on a steady grid, or followed one by one where their kind changes (VCM,
//! ACM, dummy PLFRAMEs) or the carrier is not on the air all the time.

use super::lock::{Sync, header_at, loudest_headers};
use slantpath_signal::C32;
use slantpath_waveform::frame::SLOT;
use slantpath_waveform::{Frame, PlsDecoder};

/// A PLFRAME and the symbol it begins at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub start: usize,
    pub frame: Frame,
}

/// The frames of a stretch, in order; gaps are possible.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Frames {
    pub places: Vec<Place>,
    /// Whether headers were followed one by one.
    pub followed: bool,
}

/// Share of a header's power in one code that noise reaches in two headers of a million (`128 exp(-0.2 * 90)`).
const COHERENT: f64 = 0.2;

impl Frames {
    /// Headers on the grid that their repetition told.
    pub fn steady(sync: &Sync, symbols: usize) -> Self {
        let places = (sync.first..)
            .step_by(sync.length.max(1))
            .take_while(|s| s + SLOT <= symbols)
            .map(|start| Place {
                start,
                frame: sync.frame,
            })
            .collect();
        Self {
            places,
            followed: false,
        }
    }

    /// The same, continued to the end of a longer stretch when all of them are of one kind.
    pub fn onward(&self, symbols: usize) -> Self {
        let mut out = self.clone();
        if let (false, Some(last)) = (self.followed, self.places.last().copied()) {
            let mut start = last.start + last.frame.symbols();
            while start + SLOT <= symbols {
                out.places.push(Place { start, ..last });
                start += last.frame.symbols();
            }
        }
        out
    }

    /// The same some symbols earlier; frames that would begin before the first symbol are left out.
    pub fn earlier(&self, by: usize) -> Self {
        Self {
            places: self
                .places
                .iter()
                .filter(|p| p.start >= by)
                .map(|p| Place {
                    start: p.start - by,
                    ..*p
                })
                .collect(),
            followed: self.followed,
        }
    }

    /// Kinds and how often each was seen, the commonest first.
    pub fn kinds(&self) -> Vec<(Frame, usize)> {
        let mut out: Vec<(Frame, usize)> = Vec::new();
        for p in &self.places {
            match out.iter_mut().find(|(f, _)| *f == p.frame) {
                Some((_, n)) => *n += 1,
                None => out.push((p.frame, 1)),
            }
        }
        // Dummy PLFRAMEs last: they carry nothing.
        out.sort_by_key(|(f, n)| (f.modcod == 0, usize::MAX - n));
        out
    }

    /// Whether pilots stand in any of them.
    pub fn pilots(&self) -> bool {
        self.places.iter().any(|p| p.frame.pilot_blocks() > 0)
    }
}

/// Most likely code of a header and its share of the header's power.
fn reading(decoder: &PlsDecoder, z: &[C32], start: usize, turns: f64) -> Option<(u8, f64)> {
    let h = header_at(z, start, turns)?;
    let power: f64 = h.iter().map(|x| x.norm_sqr()).sum();
    let c = decoder.correlations(&h);
    let (pls, top) = c
        .iter()
        .enumerate()
        .map(|(i, c)| (i, c.norm_sqr()))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    (power > 0.0).then(|| (pls as u8, top / (SLOT as f64 * power)))
}

/// Part of dissenting headers above which there may be no grid, and above which there is none.
pub(super) const DOUBTFUL: f64 = 0.1;
pub(super) const NO_GRID: f64 = 0.35;

/// Part of the headers on the grid that do not say what the others say; `None` when single headers cannot tell.
pub(super) fn dissent(z: &[C32], frames: &Frames, turns: f64) -> Option<f64> {
    let decoder = PlsDecoder::new();
    let mut own: Vec<f64> = Vec::new();
    let mut other = 0usize;
    for p in &frames.places {
        let h = header_at(z, p.start, turns)?;
        let power: f64 = h.iter().map(|x| x.norm_sqr()).sum();
        let c = decoder.correlations(&h);
        let share = |x: f64| x / (SLOT as f64 * power.max(1e-300));
        let mine = c
            .get(usize::from(p.frame.pls()))
            .map_or(0.0, |c| share(c.norm_sqr()));
        let top = c.iter().map(|c| share(c.norm_sqr())).fold(0.0, f64::max);
        if top > COHERENT && mine < 0.5 * top {
            other += 1;
            own.push(0.0);
        } else {
            own.push(mine);
        }
    }
    let n = own.len();
    let mut sorted = own.clone();
    sorted.sort_by(f64::total_cmp);
    let high = *sorted.get(n - (n / 4).max(1))?;
    if high < 1.25 * COHERENT && other == 0 {
        return None;
    }
    let weak = own.iter().filter(|v| **v < 0.3 * high).count();
    Some(weak as f64 / n as f64)
}

/// Follows headers one by one from the first that stands out; after a gap from the next that does.
pub(super) fn follow_headers(z: &[C32]) -> Option<(Frames, f64)> {
    let decoder = PlsDecoder::new();
    let loud = loudest_headers(z);
    let turns = loud.iter().find_map(|(start, turns)| {
        let turns = finer(&decoder, z, *start, *turns);
        let (pls, r) = reading(&decoder, z, *start, turns)?;
        (r > COHERENT && Frame::of_pls(pls).is_some()).then_some(turns)
    })?;
    let at = |start: usize| -> Option<(Frame, f64)> {
        let (pls, r) = reading(&decoder, z, start, turns)?;
        Frame::of_pls(pls).filter(|_| r > COHERENT).map(|f| (f, r))
    };
    // The carrier from the loudest, the way from the earliest.
    let seed = loud
        .iter()
        .map(|(s, _)| *s)
        .filter(|s| at(*s).is_some())
        .min()?;
    let lengths = Frame::lengths();
    let mut places: Vec<Place> = Vec::new();
    // Backwards: the length must be the one that the header found there announces.
    let mut start = seed;
    while let Some((len, frame, _)) = lengths
        .iter()
        .filter(|l| **l <= start)
        .filter_map(|l| at(start - l).map(|(f, r)| (*l, f, r)))
        .filter(|(l, f, _)| f.symbols() == *l)
        .max_by(|a, b| a.2.total_cmp(&b.2))
    {
        start -= len;
        places.push(Place { start, frame });
    }
    places.reverse();
    // Forwards; a frame without a header behind it, though there is room for one, is not known to be whole.
    let mut start = seed;
    loop {
        let Some((frame, _)) = at(start) else {
            places.pop();
            // Only a place that stands behind the gap.
            let next = loud
                .iter()
                .map(|(s, _)| *s)
                .filter(|s| *s > start && at(*s).is_some())
                .min();
            match next {
                Some(s) => {
                    start = s;
                    continue;
                }
                None => break,
            }
        };
        places.push(Place { start, frame });
        start += frame.symbols();
        if start + SLOT > z.len() {
            break;
        }
    }
    (places.len() > 1).then_some((
        Frames {
            places,
            followed: true,
        },
        turns,
    ))
}

/// The carrier by one header alone: the turn that leaves the best code most power.
fn finer(decoder: &PlsDecoder, z: &[C32], start: usize, coarse: f64) -> f64 {
    let top = |t: f64| {
        header_at(z, start, t).map_or(0.0, |h| {
            decoder
                .correlations(&h)
                .iter()
                .map(|c| c.norm_sqr())
                .fold(0.0, f64::max)
        })
    };
    let (mut turns, mut best) = (coarse, 0.0);
    for k in -16..=16i32 {
        let t = coarse + f64::from(k) * 0.0025;
        let p = top(t);
        if p > best {
            (turns, best) = (t, p);
        }
    }
    let mut h = 0.00125;
    while h > 2e-5 {
        for t in [turns - h, turns + h] {
            let p = top(t);
            if p > best {
                (turns, best) = (t, p);
            }
        }
        h *= 0.5;
    }
    turns
}
