//! Live measurement: pieces of samples in, a reading several times a second, for as long as samples come.
//!
//! [`LiveMeter`] is pure: it sees no clock and waits for nothing. A [`Feed`] stands between it and the source, so that a
//! slow measurement loses samples and says so, and never holds the source up. Where the satellite stands is found by a
//! [`Survey`], which takes longer than a reading and may run beside.

mod feed;
mod now;
mod slots;
#[cfg(feature = "soapy")]
mod soapy;

pub use feed::{Feed, Piece};
pub use now::{BeaconNow, OwnCarrier};
pub use slots::{Gap, RateFit, Rule, Slot, Slots};
#[cfg(feature = "soapy")]
pub use soapy::SoapySource;

use crate::error::CaptureError;
use crate::locate::{Location, NotFound, locate};
use crate::measure::picture::floor_line;
use crate::measure::{PlacedBand, frame_length, placed_bands};
use crate::plan::SearchPlan;
use slantpath_quantity::to_db;
use slantpath_signal::{C32, Spectrum};
use std::collections::VecDeque;

/// Seconds of samples in a reading.
pub const READING_S: f64 = 0.1;
/// Readings averaged in the drawn spectrum and in the floor.
const AVERAGED: usize = 10;
/// Readings between two pictures.
const PICTURE_EVERY: u64 = 5;
/// Seconds that a survey looks at.
const SURVEY_S: f64 = 2.0;
/// Samples that a survey looks at, at most.
const SURVEY_MOST: usize = 2 << 20;
/// Level of a component that counts as at the rail.
const RAIL: f32 = 0.99;

/// What to look for, and how the stream is to be read.
#[derive(Debug, Clone, PartialEq)]
pub struct LivePlan {
    /// Where the satellite's beacons and passbands may stand.
    pub search: SearchPlan,
    /// Complex samples per second.
    pub sample_rate_hz: f64,
    /// Centre frequency, Hz.
    pub centre_hz: f64,
    /// What is allowed in each passband, and which symbol rates are in use there.
    pub rules: Vec<Rule>,
    /// Half of the width in which the own carrier is looked for about its downlink frequency, Hz.
    pub own_half_hz: f64,
}

/// What the stream showed just now.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Samples of the source up to the end of this reading, lost ones included.
    pub at: u64,
    /// Samples lost so far.
    pub lost: u64,
    /// Samples lost within this reading.
    pub lost_here: u64,
    /// Mean power, dBFS.
    pub power_dbfs: f64,
    /// Part of the samples that stood at the rail.
    pub clipped: f64,
    /// Whether the satellite has been found.
    pub located: bool,
    /// Beacons in the band, at their places.
    pub beacons: Vec<BeaconNow>,
    /// The own carrier, when it is looked for and seen.
    pub own: Option<OwnCarrier>,
    /// For drawing, with some readings.
    pub picture: Option<LivePicture>,
}

/// The passband as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct LivePicture {
    /// Frequency (downlink when the satellite has been found, else of the receiver), Hz; density, dBFS/Hz.
    pub spectrum: Vec<(f64, f64)>,
    /// Noise floor in the same axes.
    pub floor: Vec<(f64, f64)>,
    /// Whether the frequencies are those of the downlink.
    pub downlink: bool,
    /// Beacons: name, frequency in the same axis.
    pub marks: Vec<(String, f64)>,
    /// What is taken and what is free.
    pub slots: Vec<Slots>,
}

/// Points drawn, at most.
const DRAWN: usize = 700;

/// The measurement of a stream.
#[derive(Debug)]
pub struct LiveMeter {
    plan: LivePlan,
    n: usize,
    step: usize,
    piece: Vec<C32>,
    at: u64,
    lost: u64,
    lost_here: u64,
    recent: VecDeque<Spectrum>,
    history: VecDeque<C32>,
    location: Option<Location>,
    bands: Vec<PlacedBand>,
    line: Vec<f64>,
    readings: u64,
    own_before: bool,
}

impl LiveMeter {
    /// A meter for a stream.
    ///
    /// # Errors
    /// A sample rate that is none or too low to show anything.
    pub fn new(plan: LivePlan) -> Result<Self, CaptureError> {
        let fs = plan.sample_rate_hz;
        if !(fs.is_finite() && fs >= 2000.0 && plan.centre_hz.is_finite()) {
            return Err(CaptureError::Argument {
                what: format!("a stream of {fs} samples per second shows no beacon"),
                help: "state the sample rate and the centre frequency of the stream".into(),
            });
        }
        let step = (READING_S * fs).round() as usize;
        Ok(Self {
            n: frame_length(fs, Some(step as u64)),
            step,
            plan,
            piece: Vec::with_capacity(step),
            at: 0,
            lost: 0,
            lost_here: 0,
            recent: VecDeque::with_capacity(AVERAGED),
            history: VecDeque::new(),
            location: None,
            bands: Vec::new(),
            line: Vec::new(),
            readings: 0,
            own_before: false,
        })
    }

    /// Samples before this place in the stream were lost. What stood half measured is thrown away: a reading never spans
    /// a gap.
    pub fn gap(&mut self, samples: u64) {
        if samples > 0 {
            self.lost += samples;
            self.lost_here += samples;
            self.at += samples;
            self.piece.clear();
            self.history.clear();
        }
    }

    /// Takes samples; `each` gets every reading that they complete.
    pub fn push(&mut self, mut x: &[C32], mut each: impl FnMut(Reading)) {
        while !x.is_empty() {
            let take = x.len().min(self.step - self.piece.len());
            let (now, rest) = x.split_at(take);
            self.piece.extend_from_slice(now);
            self.at += take as u64;
            x = rest;
            if self.piece.len() == self.step {
                let r = self.reading();
                let keep = ((SURVEY_S * self.plan.sample_rate_hz) as usize).min(SURVEY_MOST);
                self.history.extend(self.piece.drain(..));
                let over = self.history.len().saturating_sub(keep);
                self.history.drain(..over);
                each(r);
            }
        }
    }

    /// What is needed to find the satellite in the last seconds; `None` until enough of them are there.
    pub fn survey(&self) -> Option<Survey> {
        let want = ((SURVEY_S * self.plan.sample_rate_hz) as usize).min(SURVEY_MOST);
        (self.history.len() * 2 >= want).then(|| Survey {
            plan: self.plan.clone(),
            samples: self.history.iter().copied().collect(),
        })
    }

    /// Takes what a survey found. A satellite that was there before stays where it was until it is found elsewhere or
    /// has been missed for good, which is the caller's to say with `None`.
    pub fn place(&mut self, location: Option<Location>) {
        self.bands = placed_bands(
            &self.plan.search,
            location.as_ref(),
            self.plan.centre_hz,
            self.plan.sample_rate_hz,
        );
        self.location = location;
        self.line.clear();
    }

    /// Looks for the own carrier at another downlink frequency.
    pub fn own_transmit(&mut self, hz: Option<f64>) {
        self.plan.search.own_transmit_hz = hz;
        self.own_before = false;
    }

    fn reading(&mut self) -> Reading {
        let fs = self.plan.sample_rate_hz;
        let s = Spectrum::of(&self.piece, fs, self.n);
        if self.recent.len() == AVERAGED {
            self.recent.pop_front();
        }
        self.recent.push_back(s.clone());
        let mean = self.averaged(&s);
        let drawn = self.readings.is_multiple_of(PICTURE_EVERY);
        if drawn || self.line.len() != mean.len() {
            self.line = floor_line(&mean, &self.bands);
        }
        self.readings += 1;
        let sight = now::Sight {
            plan: &self.plan,
            location: self.location.as_ref(),
            bands: &self.bands,
            line: &self.line,
            now: &s,
            mean: &mean,
        };
        let beacons = sight.beacons();
        let own = sight.own(&mut self.own_before);
        let picture = drawn.then(|| self.picture(&mean, &beacons));
        let n = self.piece.len().max(1) as f64;
        let power: f64 = self
            .piece
            .iter()
            .map(|x| f64::from(x.norm_sqr()))
            .sum::<f64>()
            / n;
        let at_rail = self
            .piece
            .iter()
            .filter(|x| x.re.abs() >= RAIL || x.im.abs() >= RAIL)
            .count();
        Reading {
            at: self.at,
            lost: self.lost,
            lost_here: std::mem::take(&mut self.lost_here),
            power_dbfs: to_db(power.max(1e-30)),
            clipped: at_rail as f64 / n,
            located: self.location.is_some(),
            beacons,
            own,
            picture,
        }
    }

    fn averaged(&self, last: &Spectrum) -> Spectrum {
        let mut psd = vec![0.0; last.len()];
        let mut frames = 0;
        for s in &self.recent {
            frames += s.frames;
            for (a, b) in psd.iter_mut().zip(&s.psd) {
                *a += b;
            }
        }
        let k = self.recent.len().max(1) as f64;
        psd.iter_mut().for_each(|p| *p /= k);
        Spectrum {
            sample_rate_hz: last.sample_rate_hz,
            psd,
            frames,
        }
    }

    fn picture(&self, mean: &Spectrum, beacons: &[BeaconNow]) -> LivePicture {
        let (centre, place) = (self.plan.centre_hz, self.location.as_ref());
        let axis = |f: f64| match place {
            Some(l) => l.meaning.rf_hz(f - l.shift_hz, centre),
            None => centre + f,
        };
        let factor = mean.len().div_ceil(DRAWN);
        let floor = Spectrum {
            psd: self.line.clone(),
            ..mean.clone()
        };
        let drawn = |s: &Spectrum| -> Vec<(f64, f64)> {
            let mut v: Vec<(f64, f64)> = s
                .coarser(factor)
                .into_iter()
                .map(|(f, p)| (axis(f), to_db(p.max(1e-30))))
                .collect();
            v.sort_by(|a, b| a.0.total_cmp(&b.0));
            v
        };
        LivePicture {
            spectrum: drawn(mean),
            floor: drawn(&floor),
            downlink: place.is_some(),
            marks: beacons.iter().map(|b| (b.id(), b.rf_hz)).collect(),
            slots: slots::slots(&self.plan, place, &self.bands, mean, &self.line, beacons),
        }
    }
}

/// The last seconds of a stream, in which the satellite is to be found.
#[derive(Debug, Clone)]
pub struct Survey {
    plan: LivePlan,
    samples: Vec<C32>,
}

impl Survey {
    /// Finds it.
    ///
    /// # Errors
    /// As [`NotFound`].
    pub fn run(&self) -> Result<Location, NotFound> {
        let fs = self.plan.sample_rate_hz;
        let n = frame_length(fs, Some(self.samples.len() as u64));
        let s = Spectrum::of(&self.samples, fs, n);
        locate(&self.plan.search, self.plan.centre_hz, &s, &self.samples)
    }
}

#[cfg(test)]
mod tests;
