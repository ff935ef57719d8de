//! The receive feed inside the coil.

use super::Coil;
use super::sources::{self, Sources};
use crate::error::{WireError, require};
use slantpath_antenna::pattern::{Beyond, Pattern, TablePoint};
use slantpath_antenna::polarisation::Polarisation;
use slantpath_quantity::{Angle, Decibel, Frequency, Length, Validity, amplitude_to_db};
use std::f64::consts::PI;

/// Steps of a pattern's tables, 3 degrees each.
const STEPS: u32 = 60;
/// Lowest level of a table, dB: an aperture's pattern vanishes behind.
const FLOOR_DB: f64 = -45.0;

/// What fills the aperture of the receive feed.
#[derive(Debug, Clone, PartialEq)]
pub enum Aperture {
    /// Open circular waveguide: the TE11 mode with its own wave impedance (S. Silver, Microwave Antenna Theory and Design,
    /// 1949, sec. 10.10: from memory).
    Te11,
    /// Corrugated (scalar) horn: the balanced HE11 mode, `J0(2.405 r/R)`.
    He11,
    /// A measured far-field pattern, turned into a radiating disc that has this far field (least squares on rings).
    Measured(Box<Pattern>),
}

/// A receive feed on the coil's axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Horn {
    /// Field in the aperture.
    pub aperture: Aperture,
    /// Radius of the aperture, inside.
    pub radius: Length,
    /// Radius of its metal, outside.
    pub outer_radius: Length,
    /// Aperture before the disc's plane, positive towards the dish.
    pub front: Length,
}

impl Horn {
    /// Whether the feed can be, and fits into this coil.
    ///
    /// # Errors
    /// [`WireError::Dimension`], [`WireError::CoilHitsHorn`].
    pub fn check(&self, coil: Option<&Coil>) -> Result<(), WireError> {
        let h = "receive feed";
        let mm = |l: Length| l.as_m() * 1e3;
        require(
            self.radius.as_m() > 0.0,
            h,
            "radius of the aperture",
            mm(self.radius),
            "mm",
            "above 0",
        )?;
        require(
            self.outer_radius >= self.radius,
            h,
            "outer radius",
            mm(self.outer_radius),
            "mm",
            "no less than the aperture's",
        )?;
        require(
            self.front.as_m().abs() < 1.0,
            h,
            "position before the disc",
            mm(self.front),
            "mm",
            "within a metre",
        )?;
        let Some(coil) = coil else { return Ok(()) };
        coil.check()?;
        // The metal fills all of z <= front within the outer radius; it meets the winding from its first turn on.
        let meets = self.front > coil.stub - coil.wire * 0.5;
        if meets && coil.clear_radius() <= self.outer_radius {
            return Err(WireError::CoilHitsHorn {
                clear_mm: mm(coil.clear_radius()) * 2.0,
                outer_mm: mm(self.outer_radius) * 2.0,
                front_mm: mm(self.front),
                stub_mm: mm(coil.stub),
            });
        }
        Ok(())
    }

    /// Levels and phases in the E and the H plane from 0 to 180 deg, relative to the axis, phases from the middle of the disc;
    /// levels below -45 dB are written as that. The field of an aperture of azimuthal order one is exact between the planes.
    ///
    /// # Errors
    /// [`WireError::Dimension`] for an aperture below cut-off or beyond 2.5 wavelengths; [`WireError::Pattern`] for a measured
    /// pattern that no aperture of this size can have.
    pub fn planes(&self, f: Frequency) -> Result<[Vec<TablePoint>; 2], WireError> {
        let sources = self.sources(f)?;
        let step = PI / f64::from(STEPS);
        let along = |phi: f64| -> Vec<(f64, f64)> {
            (0..=STEPS).map(|i| (step * f64::from(i), phi)).collect()
        };
        // electric field along x: E plane at phi 0, H plane at 90 deg
        let e = sources.far_fields(&along(0.0));
        let h = sources.far_fields(&along(0.5 * PI));
        let e: Vec<_> = e.iter().map(|[x, _]| x.theta).collect();
        let h: Vec<_> = h.iter().map(|[x, _]| -x.phi).collect();
        Ok([e, h].map(|plane| {
            let axis = plane.first().copied().unwrap_or_default();
            let mut last = 0.0;
            plane
                .iter()
                .enumerate()
                .map(|(i, z)| {
                    let r = z / axis;
                    let turns = ((last - r.arg()) / (2.0 * PI)).round();
                    last = r.arg() + 2.0 * PI * turns;
                    TablePoint {
                        theta: Angle::rad(step * i as f64),
                        level: Decibel(amplitude_to_db(r.norm()).max(FLOOR_DB)),
                        phase: Angle::rad(last),
                    }
                })
                .collect()
        }))
    }

    /// Far-field pattern of the bare feed.
    ///
    /// # Errors
    /// As [`Horn::planes`].
    pub fn pattern(&self, f: Frequency, polarisation: Polarisation) -> Result<Pattern, WireError> {
        let [e, h] = self.planes(f)?;
        Ok(Pattern::planes(&e, &h, Beyond::LastLevel, polarisation)?)
    }

    /// Whether the aperture's field is what it is taken for at a frequency.
    ///
    /// Open waveguide: TE11 alone travels up to a radius of 0.383 wavelengths, and from 0.61 on TM11 joins it, which a step or
    /// a flare excites; rim and body are left out. Scalar horn: the balanced HE11 needs an aperture of a wavelength or more.
    /// (S. Silver 1949; P. J. B. Clarricoats, A. D. Olver, Corrugated Horns, 1984: from memory.)
    pub fn validity(&self, f: Frequency) -> Validity {
        let r = self.radius / f.wavelength();
        match self.aperture {
            Aperture::Te11 => Validity::check(
                "open waveguide, TE11 wave",
                "radius of the aperture",
                r,
                0.293..=0.61,
                "wavelengths",
            ),
            Aperture::He11 => Validity::check(
                "scalar horn, HE11 wave",
                "radius of the aperture",
                r,
                0.5..=2.5,
                "wavelengths",
            ),
            Aperture::Measured(_) => Validity::Inside,
        }
    }

    /// Radiating sources of both linear polarisations (electric field along `x`, along `y`), 8 rings x 24.
    ///
    /// # Errors
    /// [`WireError::Dimension`] for an aperture below cut-off or beyond 2.5 wavelengths; [`WireError::Pattern`] for a
    /// measured pattern that no aperture of this size can have.
    pub(crate) fn sources(&self, f: Frequency) -> Result<Sources, WireError> {
        self.check(None)?;
        sources::of(self, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn horn(aperture: Aperture, mm: f64, front: f64) -> Horn {
        Horn {
            aperture,
            radius: Length::mm(mm),
            outer_radius: Length::mm(mm + 1.0),
            front: Length::mm(front),
        }
    }

    #[test]
    fn the_planes_are_the_sources_field() {
        let f = Frequency::ghz(10.45);
        for h in [
            horn(Aperture::Te11, 10.0, 6.0),
            horn(Aperture::He11, 22.0, -4.0),
        ] {
            let p = h.pattern(f, Polarisation::HORIZONTAL).unwrap();
            let s = h.sources(f).unwrap();
            let axis = s.far_fields(&[(0.0, 0.0)])[0][0].theta;
            for (t, phi) in [(0.3, 0.4), (0.7, 1.2), (1.1, 2.5), (1.5, 5.0)] {
                let want = s.far_fields(&[(t, phi)])[0][0];
                let got = p.field(t, phi);
                let e = (want.theta / axis - got.theta).norm() + (want.phi / axis - got.phi).norm();
                assert!(e < 4e-3, "{:?} at {t} {phi}: {e}", h.aperture);
            }
        }
    }

    #[test]
    fn wide_apertures_have_the_directivity_of_their_closed_forms() {
        // D = e (k a)^2: e = 4/j01^2 = 0.692 for J0(j01 r/a) without cross-polar, 2/(j'11^2 - 1) = 0.837 for TE11 (S. Silver
        // 1949, ch. 10: from memory; both follow from |int E|^2/(A int |E|^2))
        let f = Frequency::ghz(10.0);
        for (aperture, e) in [(Aperture::He11, 0.6917), (Aperture::Te11, 0.8368)] {
            let mm = 2.4 * f.wavelength().as_mm();
            let ka: f64 = 2.0 * PI * 2.4;
            let h = horn(aperture, mm, 0.0);
            let p = h.pattern(f, Polarisation::VERTICAL).unwrap();
            let d = p.directivity(Angle::rad(0.0), Angle::rad(0.0)).0;
            let want = slantpath_quantity::to_db(e * ka * ka);
            assert!((d - want).abs() < 0.1, "{:?}: {d} {want}", h.aperture);
        }
    }

    #[test]
    fn a_wider_aperture_has_a_narrower_beam_and_says_where_it_holds() {
        let f = Frequency::ghz(10.45);
        let down = |mm: f64| {
            let p = horn(Aperture::He11, mm, 0.0)
                .pattern(f, Polarisation::VERTICAL)
                .unwrap();
            p.co_polar(0.6, 0.0).norm() / p.co_polar(0.0, 0.0).norm()
        };
        assert!(down(25.0) < down(18.0));
        assert!(horn(Aperture::Te11, 10.0, 0.0).validity(f).is_inside());
        assert!(!horn(Aperture::Te11, 20.0, 0.0).validity(f).is_inside());
        assert!(!horn(Aperture::He11, 12.0, 0.0).validity(f).is_inside());
        assert!(
            horn(Aperture::Te11, 8.0, 0.0)
                .pattern(f, Polarisation::VERTICAL)
                .is_err()
        );
    }
}
