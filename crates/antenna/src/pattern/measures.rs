//! What is read off a pattern: directivity, axial ratio, front to back, phase centre (IEEE Std 145 terms).

use super::Pattern;
use crate::error::{AntennaError, positive, require};
use crate::polarisation::Polarisation;
use crate::quadrature::gauss_legendre;
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, Frequency, Length, to_db};
use std::f64::consts::PI;

/// Over which directions a phase centre is fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PhaseFit {
    /// In the plane of this azimuth (both halves), out to the half-angle.
    Plane(Angle),
    /// Over the whole cone.
    Cone,
}

/// A phase centre on the feed's axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhaseCentre {
    /// Distance along the axis from the pattern's origin, positive in the direction in which the feed looks.
    pub z: Length,
    /// Weighted rms of the phase that no point source explains.
    pub residual: Angle,
}

impl Pattern {
    /// Directivity in a direction, over isotropic (both polarisations together).
    pub fn directivity(&self, theta: Angle, phi: Angle) -> Decibel {
        Decibel(to_db(
            4.0 * PI * self.field(theta.as_rad(), phi.as_rad()).intensity() / self.power(),
        ))
    }

    /// Directivity in the nominal polarisation alone.
    pub fn co_polar_directivity(&self, theta: Angle, phi: Angle) -> Decibel {
        let u = self.co_polar(theta.as_rad(), phi.as_rad()).norm_sqr();
        Decibel(to_db(4.0 * PI * u / self.power()))
    }

    /// Ludwig-3 field in the nominal polarisation.
    pub fn co_polar(&self, theta: f64, phi: f64) -> Complex64 {
        let [x, y] = self.field(theta, phi).ludwig3(phi);
        let [px, py] = self.jones();
        x * px.conj() + y * py.conj()
    }

    /// Ludwig-3 field in the polarisation orthogonal to the nominal one.
    pub fn cross_polar(&self, theta: f64, phi: f64) -> Complex64 {
        let [x, y] = self.field(theta, phi).ludwig3(phi);
        let [px, py] = self.jones();
        // conj of the orthogonal state (-py*, px*) is (-py, px)
        y * px - x * py
    }

    /// Polarisation radiated in a direction; `None` where nothing is radiated. Tilt is from the `x` axis by Ludwig's third
    /// definition.
    pub fn polarisation_at(&self, theta: Angle, phi: Angle) -> Option<Polarisation> {
        let [x, y] = self
            .field(theta.as_rad(), phi.as_rad())
            .ludwig3(phi.as_rad());
        Polarisation::of_jones(x, y)
    }

    /// Greatest axial ratio over azimuth at `theta`; `None` where nothing is radiated. 36 azimuths.
    pub fn worst_axial_ratio(&self, theta: Angle) -> Option<Decibel> {
        (0..36)
            .filter_map(|j| self.polarisation_at(theta, Angle::deg(10.0 * f64::from(j))))
            .map(Polarisation::axial_ratio)
            .max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// Front-to-back ratio: intensity on the axis over that opposite to it; infinite for a feed without a back lobe.
    pub fn front_to_back(&self) -> Decibel {
        Decibel(to_db(
            self.field(0.0, 0.0).intensity() / self.field(PI, 0.0).intensity(),
        ))
    }

    /// Share of the power within `half_angle` of the axis.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for an angle outside 0..180 deg.
    pub fn power_within(&self, half_angle: Angle) -> Result<f64, AntennaError> {
        let t1 = half_angle.as_rad();
        require(
            (0.0..=PI).contains(&t1),
            "half-angle",
            half_angle.as_deg(),
            "deg",
            "0 to 180",
        )?;
        let t1 = t1.min(self.zero_beyond());
        const NP: u32 = 24;
        let mut sum = 0.0;
        for (t, w) in gauss_legendre(64, 0.0, t1) {
            let ring: f64 = (0..NP)
                .map(|j| {
                    self.field(t, 2.0 * PI * f64::from(j) / f64::from(NP))
                        .intensity()
                })
                .sum();
            sum += w * t.sin() * ring * 2.0 * PI / f64::from(NP);
        }
        Ok(sum / self.power())
    }

    /// Phase centre on the axis by weighted least squares of `phase = phi0 + k z cos theta`, weight `|E_co|^2 tan(theta/2)`
    /// (what a paraboloid weighs a direction with), phases unwrapped along each half-plane from the axis.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] unless the frequency is above 0 and the half-angle within 5..120 deg.
    pub fn phase_centre(
        &self,
        f: Frequency,
        half_angle: Angle,
        over: PhaseFit,
    ) -> Result<PhaseCentre, AntennaError> {
        positive("frequency", f.as_hz(), "Hz")?;
        let deg = half_angle.as_deg();
        require(
            (5.0..=120.0).contains(&deg),
            "half-angle of the phase fit",
            deg,
            "deg",
            "5 to 120",
        )?;
        let k = 2.0 * PI / f.wavelength().as_m();
        let azimuths: Vec<f64> = match over {
            PhaseFit::Plane(a) => vec![a.as_rad(), a.as_rad() + PI],
            PhaseFit::Cone => (0..24).map(|j| 2.0 * PI * f64::from(j) / 24.0).collect(),
        };
        let axis = self.co_polar(0.0, 0.0);
        let (mut s, mut sx, mut sy, mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for phi in azimuths {
            let mut last = axis;
            let mut phase = 0.0;
            for (t, w) in gauss_legendre(48, 0.0, half_angle.as_rad()) {
                let e = self.co_polar(t, phi);
                if e.norm_sqr() == 0.0 {
                    continue;
                }
                phase += (e * last.conj()).arg();
                last = e;
                let (w, x) = (w * e.norm_sqr() * (0.5 * t).tan(), t.cos());
                s += w;
                sx += w * x;
                sy += w * phase;
                sxx += w * x * x;
                sxy += w * x * phase;
                syy += w * phase * phase;
            }
        }
        let var = sxx - sx * sx / s;
        let slope = (sxy - sx * sy / s) / var;
        let rest = (syy - sy * sy / s - slope * slope * var).max(0.0);
        require(
            slope.is_finite(),
            "co-polar power in the cone",
            s,
            "",
            "above 0",
        )?;
        Ok(PhaseCentre {
            z: Length::m(slope / k),
            residual: Angle::rad((rest / s).sqrt()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Field, GridPattern};
    use super::*;
    use crate::polarisation::Sense;

    #[test]
    fn cos_n_directivity_and_spill() {
        let p = Pattern::cos_n(8.0, Polarisation::RIGHT_CIRCULAR).unwrap();
        assert!((p.directivity(Angle::deg(0.0), Angle::deg(0.0)).ratio() - 18.0).abs() < 1e-12);
        let spill = 1.0 - p.power_within(Angle::deg(40.0)).unwrap();
        assert!((spill - 40f64.to_radians().cos().powi(9)).abs() < 1e-12);
        assert!(p.worst_axial_ratio(Angle::deg(30.0)).unwrap().0 < 1e-9);
        assert_eq!(p.front_to_back().0, f64::INFINITY);
        assert_eq!(
            p.polarisation_at(Angle::deg(10.0), Angle::deg(77.0))
                .unwrap()
                .sense(),
            Some(Sense::Right)
        );
        assert!(p.cross_polar(0.6, 1.1).norm() < 1e-15);
    }

    #[test]
    fn a_shifted_source_is_found() {
        let f = Frequency::ghz(10.45);
        let k = 2.0 * PI / f.wavelength().as_m();
        let base = Pattern::cos_n(6.0, Polarisation::HORIZONTAL).unwrap();
        let g = GridPattern::sample(181, 36, |t, p| {
            let e = base.field(t, p);
            let shift = Complex64::from_polar(1.0, k * 0.017 * t.cos());
            Field {
                theta: e.theta * shift,
                phi: e.phi * shift,
            }
        })
        .unwrap();
        let p = Pattern::grid(g, Polarisation::HORIZONTAL);
        for over in [PhaseFit::Cone, PhaseFit::Plane(Angle::deg(90.0))] {
            let c = p.phase_centre(f, Angle::deg(40.0), over).unwrap();
            assert!((c.z.as_mm() - 17.0).abs() < 0.05, "{c:?}");
            assert!(c.residual.as_deg() < 0.2);
        }
        assert!((p.power() / base.power() - 1.0).abs() < 1e-4);
    }
}
