//! One feed at several places along its axis: gain, and how pure the beam is.

use super::illuminate::{Illumination, Pose};
use super::{Aim, Nodes};
use crate::error::{AntennaError, positive, require};
use crate::pattern::Pattern;
use num_complex::Complex64;
use slantpath_quantity::{Decibel, Frequency, Length, to_db};
use std::f64::consts::PI;

/// What the dish makes of a feed at one place along the feed's axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtPlace {
    /// Place of the pattern's origin along the feed's axis from the focus, positive towards the reflector.
    pub axial: Length,
    /// Aperture efficiency at the beam's peak, nominal polarisation.
    pub peak: f64,
    /// The same towards the paraboloid's axis, where another feed on the same mount may have its beam.
    pub boresight: f64,
    /// Field of the polarisation orthogonal to the nominal one over that of the nominal one, towards the paraboloid's axis.
    pub cross: Complex64,
    /// Gain of an aperture of efficiency 1.
    ideal: Decibel,
}

impl AtPlace {
    /// Gain towards the paraboloid's axis in the nominal polarisation, over isotropic, before loss in conductors.
    pub fn gain(&self) -> Decibel {
        Decibel(to_db(self.boresight) + self.ideal.0)
    }
    /// Axial ratio of the beam towards the paraboloid's axis, of a feed whose nominal polarisation is circular:
    /// `(1 + q)/|1 - q|` with `q` the ratio of the two senses' fields (IEEE Std 145 terms).
    pub fn axial_ratio(&self) -> Decibel {
        let q = self.cross.norm();
        Decibel(slantpath_quantity::amplitude_to_db(
            (1.0 + q) / (1.0 - q).abs(),
        ))
    }
}

/// Efficiency and purity with the feed at each of several places along its axis, straight and centred otherwise. No blockage,
/// no surface.
///
/// # Errors
/// [`AntennaError::Domain`] for a frequency not above 0 or a place beyond half the focal length.
pub fn along_axis(
    nodes: &Nodes,
    pattern: &Pattern,
    aim: Aim,
    places: &[Length],
    f: Frequency,
) -> Result<Vec<AtPlace>, AntennaError> {
    positive("frequency", f.as_hz(), "Hz")?;
    let reflector = nodes.reflector();
    let room = 0.5 * reflector.focal_length().as_m();
    let k = 2.0 * PI / f.wavelength().as_m();
    let scale = 1.0 / (reflector.area_m2() * pattern.power());
    let ideal = Decibel(to_db(
        (PI * (reflector.diameter() / f.wavelength())).powi(2),
    ));
    places
        .iter()
        .map(|&axial| {
            let z = axial.as_m();
            require(
                z.abs() <= room,
                "axial position of the feed",
                z,
                "m",
                "within half the focal length of the focus",
            )?;
            let pose = Pose::new(reflector, aim, [0.0; 2], [0.0, 0.0, z]);
            let lit = Illumination::new(nodes, pattern, &pose, k);
            let co = lit.sum_co(nodes, [0.0; 2], k);
            let cross = lit.sum_cross(nodes, [0.0; 2], k);
            Ok(AtPlace {
                axial,
                peak: lit.peak(nodes, k).1 * scale,
                boresight: co.norm_sqr() * scale,
                cross: if co.norm_sqr() > 0.0 {
                    cross / co
                } else {
                    Complex64::default()
                },
                ideal,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::{Blockage, Placement, budget};
    use super::*;
    use crate::polarisation::{Polarisation, Sense};
    use crate::reflector::Reflector;

    #[test]
    fn is_the_budget_at_every_place() {
        let dish = Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(20.0)).unwrap();
        let nodes = Nodes::smooth(&dish);
        let p = Pattern::cos_n(6.0, Polarisation::VERTICAL).unwrap();
        let f = Frequency::ghz(10.45);
        let places = [-20.0, 0.0, 15.0].map(Length::mm);
        let all = along_axis(&nodes, &p, Aim::Bisector, &places, f).unwrap();
        for (a, axial) in all.iter().zip(places) {
            let placement = Placement {
                axial,
                ..Placement::default()
            };
            let b = budget(
                &dish,
                &p,
                &placement,
                &Blockage::default(),
                Length::m(0.0),
                f,
            )
            .unwrap();
            assert!((a.peak - b.efficiency).abs() < 1e-12, "{a:?}");
        }
        assert!(along_axis(&nodes, &p, Aim::Bisector, &[Length::m(0.4)], f).is_err());
    }

    #[test]
    fn a_circular_feed_stays_circular_and_an_elliptical_one_keeps_its_axial_ratio() {
        // on the axis of a symmetric dish nothing is added: the ratio of the senses is the feed's own
        let dish = Reflector::prime_focus(Length::m(1.2), Length::m(0.5)).unwrap();
        let nodes = Nodes::smooth(&dish);
        let f = Frequency::ghz(2.4);
        let pure = Pattern::cos_n(3.0, Polarisation::circular(Sense::Left)).unwrap();
        let at = along_axis(&nodes, &pure, Aim::Bisector, &[Length::m(0.0)], f).unwrap();
        assert!(at[0].axial_ratio().0 < 1e-6, "{:?}", at[0]);
        let two = Polarisation::elliptical(
            Decibel(2.0),
            slantpath_quantity::Angle::deg(30.0),
            Sense::Left,
        )
        .unwrap();
        let grid = crate::pattern::GridPattern::sample(61, 36, |t, p| {
            Pattern::cos_n(3.0, two)
                .map(|x| x.field(t, p))
                .unwrap_or_default()
        })
        .unwrap();
        let feed = Pattern::grid(grid, Polarisation::circular(Sense::Left));
        let at = along_axis(&nodes, &feed, Aim::Bisector, &[Length::m(0.0)], f).unwrap();
        assert!(
            (at[0].axial_ratio().0 - 2.0).abs() < 0.02,
            "{:?}",
            at[0].axial_ratio()
        );
        // what goes into the wrong sense is missing in the right one
        let q = at[0].cross.norm_sqr();
        let whole =
            along_axis(&nodes, &pure, Aim::Bisector, &[Length::m(0.0)], f).unwrap()[0].boresight;
        assert!((at[0].boresight * (1.0 + q) / whole - 1.0).abs() < 5e-3);
    }
}
