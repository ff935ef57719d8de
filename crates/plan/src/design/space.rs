//! What may vary, within which limits, on which raster.

use super::Geometry;
use crate::error::{PlanError, Result, within};
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::Length;
use slantpath_wire::feed::Coil;

/// A dimension that a search may change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Variable {
    /// Diameter of the winding to the middle of the wire.
    Diameter,
    /// Diameter of the wire.
    Wire,
    /// Rise per turn.
    Pitch,
    /// Number of turns.
    Turns,
    /// Height of the first turn over the disc.
    Stub,
    /// Aperture of the receive feed before the disc.
    Front,
}

impl Variable {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Diameter,
        Self::Wire,
        Self::Pitch,
        Self::Turns,
        Self::Stub,
        Self::Front,
    ];
    /// What a person calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Diameter => "coil diameter",
            Self::Wire => "wire diameter",
            Self::Pitch => "pitch",
            Self::Turns => "turns",
            Self::Stub => "height of the first turn",
            Self::Front => "receive feed before the disc",
        }
    }
    /// Raster on which designs are tried, m (turns: a number): what a bench can hold.
    pub fn raster(self) -> f64 {
        match self {
            Self::Diameter | Self::Pitch | Self::Stub => 0.5e-3,
            Self::Wire => 0.25e-3,
            Self::Turns => 0.125,
            Self::Front => 2e-3,
        }
    }
}

/// Lowest and highest value, m (turns: a number).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Lowest.
    pub lo: f64,
    /// Highest.
    pub hi: f64,
}

impl Range {
    /// One value only.
    pub const fn fixed(v: f64) -> Self {
        Self { lo: v, hi: v }
    }
    /// Whether there is anything to search.
    pub fn is_open(self) -> bool {
        self.hi > self.lo
    }
    /// The value at a share of the way, on the raster of `v` (a fixed value and the ends stay as written).
    pub(super) fn at(self, share: f64, v: Variable) -> f64 {
        if !self.is_open() {
            return self.lo;
        }
        if share <= 0.0 || share >= 1.0 {
            return if share <= 0.0 { self.lo } else { self.hi };
        }
        let x = self.lo + (self.hi - self.lo) * share;
        let step = v.raster();
        ((x / step).round() * step).clamp(self.lo, self.hi)
    }
    /// Where a value stands, 0 to 1.
    pub(super) fn share(self, x: f64) -> f64 {
        if self.is_open() {
            ((x - self.lo) / (self.hi - self.lo)).clamp(0.0, 1.0)
        } else {
            0.0
        }
    }
}

/// The ranges of a search, and the sense for which the coil is wound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Space {
    ranges: [Range; 6],
    /// Sense that the coil radiates towards the dish.
    pub sense: Sense,
}

impl Space {
    /// What an axial helix can be at a wavelength: circumference 0.8 to 1.25 wavelengths, pitch angle 8 to 16 degrees at a
    /// circumference of one, 1.5 to 4.5 turns (J. D. Kraus, Antennas, from memory: 0.75 to 1.33 and 12 to 14 degrees from
    /// three turns on); wire 1 to 2.5 mm, first turn 3 to 8 mm over the disc, receive feed up to 10 mm behind it: the metal of
    /// one that reaches into the coil is not in the receive side's model.
    pub fn around(uplink: Length, sense: Sense) -> Self {
        let l = uplink.as_m();
        let of = |lo: f64, hi: f64| Range { lo, hi };
        let pitch = |deg: f64| l * deg.to_radians().tan();
        let circle = l / std::f64::consts::PI;
        let half = |x: f64| (x * 2e3).round() * 0.5e-3;
        Self {
            ranges: [
                of(half(0.8 * circle), half(1.25 * circle)),
                of(1e-3, 2.5e-3),
                of(half(pitch(8.0)), half(pitch(16.0))),
                of(1.5, 4.5),
                of(3e-3, 8e-3),
                of(-10e-3, 0.0),
            ],
            sense,
        }
    }

    /// One range.
    pub fn range(&self, v: Variable) -> Range {
        self.ranges[v as usize]
    }
    /// With another range for one variable.
    ///
    /// # Errors
    /// [`PlanError::Impossible`] for ends that are not finite or exchanged.
    pub fn with(mut self, v: Variable, r: Range) -> Result<Self> {
        within(v.name(), r.lo, "", -1.0..=100.0, "a dimension")?;
        within(
            v.name(),
            r.hi,
            "",
            r.lo..=100.0,
            "no less than the lower end",
        )?;
        self.ranges[v as usize] = r;
        Ok(self)
    }
    /// Variables that are searched.
    pub fn open(&self) -> Vec<Variable> {
        Variable::ALL
            .into_iter()
            .filter(|v| self.range(*v).is_open())
            .collect()
    }
    /// Every place of the receive feed that a search in this space can ask for.
    pub fn fronts(&self) -> Vec<Length> {
        let r = self.range(Variable::Front);
        let n = ((r.hi - r.lo) / Variable::Front.raster()).ceil().max(0.0) as usize;
        let mut all: Vec<f64> = (0..=n)
            .map(|i| r.at(i as f64 / n.max(1) as f64, Variable::Front))
            .collect();
        all.extend([r.lo, r.hi]);
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a - *b).abs() < 1e-7);
        all.into_iter().map(Length::m).collect()
    }

    /// The design at shares (0 to 1) of the ranges, in the order of [`Variable::ALL`].
    pub(super) fn design(&self, shares: &[f64; 6]) -> Geometry {
        let [d, w, p, t, s, f] =
            std::array::from_fn(|i| self.ranges[i].at(shares[i], Variable::ALL[i]));
        Geometry {
            coil: Coil::new(
                t,
                Length::m(d),
                Length::m(p),
                Length::m(w),
                Length::m(s),
                self.sense,
            ),
            front: Length::m(f),
        }
    }
    /// Where a design stands in the ranges.
    pub(super) fn shares(&self, g: &Geometry) -> [f64; 6] {
        std::array::from_fn(|i| self.ranges[i].share(g.get(Variable::ALL[i])))
    }
    /// Whether there is anything but one design.
    ///
    /// # Errors
    /// [`PlanError::Nothing`].
    pub(super) fn check(&self) -> Result<()> {
        if self.open().is_empty() {
            return Err(PlanError::Nothing {
                why: "every dimension is fixed, so there is nothing to search: give one of them a range".into(),
            });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_raster_keeps_ends_and_fixed_values() {
        let r = Range {
            lo: 31.3e-3,
            hi: 40.1e-3,
        };
        assert_eq!(r.at(0.0, Variable::Diameter), 31.3e-3);
        assert_eq!(r.at(1.0, Variable::Diameter), 40.1e-3);
        assert!((r.at(0.5, Variable::Diameter) - 35.5e-3).abs() < 1e-12);
        assert_eq!(Range::fixed(0.0123).at(0.7, Variable::Pitch), 0.0123);
        let s = Space::around(Length::mm(124.9), Sense::Left);
        let f: Vec<f64> = s.fronts().iter().map(|l| l.as_mm().round()).collect();
        assert_eq!(f, [-10.0, -8.0, -6.0, -4.0, -2.0, 0.0]);
        assert!((s.range(Variable::Diameter).lo - 32e-3).abs() < 1e-9);
        assert!(s.with(Variable::Wire, Range { lo: 2.0, hi: 1.0 }).is_err());
        let g = s.design(&[0.5; 6]);
        let back = s.design(&s.shares(&g));
        assert_eq!(g, back);
    }

    #[test]
    fn nothing_to_search_is_said() {
        let mut s = Space::around(Length::mm(124.9), Sense::Left);
        for v in Variable::ALL {
            s = s.with(v, Range::fixed(s.range(v).lo)).unwrap();
        }
        assert!(matches!(s.check(), Err(PlanError::Nothing { .. })));
    }
}
