//! What the solver says of itself, every time.

use crate::fill::block;
use crate::solution::Solution;
use crate::system::System;
use slantpath_quantity::{Contributor, ContributorId, Distribution, Validity};
use std::f64::consts::PI;

/// Figures by which a solution is trusted or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Unknowns.
    pub unknowns: usize,
    /// Fewest segments per wavelength (from the longest segment).
    pub segments_per_wavelength: f64,
    /// Least ratio of segment length to wire radius.
    pub least_length_over_radius: f64,
    /// Greatest wire radius over wavelength.
    pub greatest_radius_over_wavelength: f64,
    /// (radiated + lost)/drawn; 1 but for numerical error.
    pub power_balance: f64,
    /// Share of the drawn power lost in conductors and loads.
    pub lost_share: f64,
    /// Greatest relative difference between coefficients computed with source and observer exchanged (the matrix itself is
    /// made symmetric): error of the near quadrature.
    pub reciprocity: f64,
    /// Estimated condition number in the 1-norm.
    pub condition: f64,
    /// Inside the model's range, or why not.
    pub validity: Validity,
    /// Remarks on the geometry.
    pub remarks: Vec<String>,
}

/// Power balance outside 1 +- this is a reason for distrust.
pub const BALANCE_TOLERANCE: f64 = 0.005;

impl Solution<'_> {
    /// The report on this solution. Costs a far-field integral and a few solves.
    pub fn report(&self) -> Report {
        let mesh = self.system.mesh();
        let longest = mesh.segments.iter().map(|s| s.len).fold(0.0, f64::max);
        let slender = mesh
            .segments
            .iter()
            .map(|s| s.len / s.radius)
            .fold(f64::INFINITY, f64::min);
        let thick = mesh.segments.iter().map(|s| s.radius).fold(0.0, f64::max) / mesh.lambda;
        let (radiated, lost, drawn) = (self.radiated(), self.lost(), self.drawn());
        let power_balance = (radiated + lost) / drawn;
        let condition = self.system.condition();
        let mut validity = mesh.validity().clone().and(Validity::check(
            "wire solver",
            "power balance",
            power_balance,
            1.0 - BALANCE_TOLERANCE..=1.0 + BALANCE_TOLERANCE,
            "",
        ));
        // fifteen digits of the processor less those of the condition must leave some for the answer
        validity = validity.and(Validity::check(
            "wire solver",
            "condition",
            condition,
            0.0..=1e10,
            "",
        ));
        Report {
            unknowns: mesh.unknowns(),
            segments_per_wavelength: mesh.lambda / longest,
            least_length_over_radius: slender,
            greatest_radius_over_wavelength: thick,
            power_balance,
            lost_share: lost / drawn,
            reciprocity: reciprocity(self.system),
            condition,
            validity,
            remarks: mesh.remarks().to_vec(),
        }
    }
}

/// Compares both orders of up to some 200 neighbouring pairs, where the quadrature is hardest.
fn reciprocity(system: &System) -> f64 {
    let mesh = system.mesh();
    let n = mesh.segments.len();
    let k = 2.0 * PI / mesh.lambda;
    let step = (n / 100).max(1);
    let mut worst = 0.0_f64;
    for i in (0..n).step_by(step) {
        for d in 1..=2 {
            let j = i + d;
            if j >= n {
                continue;
            }
            let (a, b) = (block(mesh, i, j, k), block(mesh, j, i, k));
            let size = a.iter().flatten().map(|x| x.norm()).fold(0.0, f64::max);
            for e in 0..2 {
                for f in 0..2 {
                    worst = worst.max((a[e][f] - b[f][e]).norm() / size);
                }
            }
        }
    }
    worst
}

/// One quantity at two densities: the fine value, and the difference as its uncertainty from dividing the wires.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refined {
    /// At the given density.
    pub coarse: f64,
    /// At the finer one.
    pub fine: f64,
}

impl Refined {
    /// Standard uncertainty from the division: the whole difference. The true rest is less while the answer converges; the
    /// whole is kept because two densities cannot show that it does.
    pub fn u(self) -> f64 {
        (self.fine - self.coarse).abs()
    }
    /// As a contributor around 0, to be added to the quantity, in its unit.
    pub fn contributor(self, id: &str, label: &str, unit: &'static str) -> Contributor {
        let distribution = if self.u() > 0.0 {
            Distribution::Normal {
                mean: 0.0,
                u: self.u(),
            }
        } else {
            Distribution::Exact(0.0)
        };
        Contributor {
            id: ContributorId::new(id),
            label: label.to_owned(),
            distribution,
            unit,
            source: "wire solver at two densities".to_owned(),
        }
    }
}
