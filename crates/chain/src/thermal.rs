//! Heat: a network of heat capacities and thermal resistances from device to air, exact in time.
//!
//! The network is linear, so that its answer to constant powers is a sum of exponentials, found from the
//! eigenvalues of `C^-1/2 G C^-1/2` (G: conductances, C: capacities). Steps, duty cycles and the time to a limit
//! need no time step. [`fit`] finds the exponentials from a temperature log, [`foldback`] a protection that acts; [`air`] says what thin or hot air does.

pub mod air;
pub mod duty;
pub mod fit;
pub mod foldback;

use crate::dense::Symmetric;
use crate::error::{ChainError, Result, not_negative, positive, rows};
use slantpath_quantity::Temperature;

/// A network of heat capacities.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ThermalNetwork {
    names: Vec<String>,
    capacity: Vec<f64>,
    links: Vec<(usize, usize, f64)>,
    to_air: Vec<(usize, f64)>,
}

/// A node of a [`ThermalNetwork`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ThermalNode(usize);

impl ThermalNode {
    /// Its index in the order of adding.
    pub fn index(self) -> usize {
        self.0
    }
}

impl ThermalNetwork {
    /// An empty network.
    pub fn new() -> Self {
        Self::default()
    }
    /// A chain from the device outward: (name, heat capacity J/K, resistance to the next one or, for the last, to
    /// the air, K/W).
    ///
    /// # Errors
    /// No stage, or a value not above zero.
    pub fn ladder(stages: &[(&str, f64, f64)]) -> Result<Self> {
        rows("thermal chain", stages.len(), 1)?;
        let mut net = Self::new();
        let mut before: Option<(ThermalNode, f64)> = None;
        for &(name, c, r) in stages {
            let n = net.node(name, c)?;
            if let Some((b, rb)) = before {
                net.between(b, n, rb)?;
            }
            before = Some((n, r));
        }
        if let Some((n, r)) = before {
            net.to_air(n, r)?;
        }
        Ok(net)
    }
    /// Adds a body of heat capacity `c` (J/K).
    ///
    /// # Errors
    /// Not above zero.
    pub fn node(&mut self, name: impl Into<String>, c_j_per_k: f64) -> Result<ThermalNode> {
        let name = name.into();
        positive(&name, "c_j_per_k", c_j_per_k)?;
        self.names.push(name);
        self.capacity.push(c_j_per_k);
        Ok(ThermalNode(self.names.len() - 1))
    }
    /// Joins two bodies by a resistance (K/W).
    ///
    /// # Errors
    /// Not above zero, or bodies that are not in this network or the same.
    pub fn between(&mut self, a: ThermalNode, b: ThermalNode, r_k_per_w: f64) -> Result<()> {
        positive("thermal link", "r_k_per_w", r_k_per_w)?;
        self.known(a)?;
        self.known(b)?;
        if a == b {
            return Err(ChainError::Undetermined {
                part: "thermal link".into(),
                why: "it joins a body to itself".into(),
            });
        }
        self.links.push((a.0, b.0, 1.0 / r_k_per_w));
        Ok(())
    }
    /// Joins a body to the air by a resistance (K/W).
    ///
    /// # Errors
    /// Not above zero, or a body that is not in this network.
    pub fn to_air(&mut self, a: ThermalNode, r_k_per_w: f64) -> Result<()> {
        positive("thermal link to the air", "r_k_per_w", r_k_per_w)?;
        self.known(a)?;
        self.to_air.push((a.0, 1.0 / r_k_per_w));
        Ok(())
    }
    /// Names of the bodies.
    pub fn names(&self) -> &[String] {
        &self.names
    }
    fn known(&self, n: ThermalNode) -> Result<()> {
        if n.0 < self.names.len() {
            Ok(())
        } else {
            Err(ChainError::Missing {
                part: "thermal network".into(),
                what: "such body".into(),
            })
        }
    }
    /// The modes.
    ///
    /// # Errors
    /// An empty network, or a body from which no way leads to the air (it would heat without end).
    pub fn modes(&self) -> Result<Modes> {
        let n = self.names.len();
        rows("thermal network", n, 1)?;
        let mut g = Symmetric::zero(n);
        for &(a, b, k) in &self.links {
            g.stamp(a, b, k);
        }
        for &(a, k) in &self.to_air {
            g.add(a, a, k);
        }
        // Reachability decides; a tiny eigenvalue would only tell to rounding.
        let mut cooled = vec![false; n];
        self.to_air.iter().for_each(|&(a, _)| cooled[a] = true);
        for _ in 0..n {
            for &(a, b, _) in &self.links {
                let any = cooled[a] || cooled[b];
                (cooled[a], cooled[b]) = (any, any);
            }
        }
        if let Some(k) = cooled.iter().position(|c| !c) {
            return Err(ChainError::Undetermined {
                part: self.names[k].clone(),
                why: "no way leads from it to the air".into(),
            });
        }
        let root: Vec<f64> = self.capacity.iter().map(|c| c.sqrt()).collect();
        let mut s = Symmetric::zero(n);
        for i in 0..n {
            for j in 0..=i {
                s.add(i, j, g.get(i, j) / (root[i] * root[j]));
            }
        }
        let (rate, vectors) = s.eigen();
        Ok(Modes {
            rate,
            vectors,
            root,
        })
    }
}

/// Temperatures of a network's bodies, K, in the order of adding.
pub type Temperatures = Vec<f64>;

/// A network's exponentials.
#[derive(Debug, Clone, PartialEq)]
pub struct Modes {
    /// Decay rates, 1/s.
    rate: Vec<f64>,
    vectors: Vec<Vec<f64>>,
    /// Square roots of the capacities.
    root: Vec<f64>,
}

impl Modes {
    /// Number of bodies.
    pub fn size(&self) -> usize {
        self.root.len()
    }
    /// Time constants in seconds, longest first.
    pub fn time_constants_s(&self) -> Vec<f64> {
        let mut t: Vec<f64> = self.rate.iter().map(|r| 1.0 / r).collect();
        t.sort_by(|a, b| b.total_cmp(a));
        t
    }
    /// Modal amplitudes of temperatures above the air.
    pub(crate) fn amplitudes(&self, t_k: &[f64], air_k: f64) -> Result<Vec<f64>> {
        self.sized(t_k)?;
        Ok(self
            .vectors
            .iter()
            .map(|v| {
                (0..self.size())
                    .map(|i| v[i] * self.root[i] * (t_k[i] - air_k))
                    .sum()
            })
            .collect())
    }
    /// Modal amplitudes to which constant powers lead.
    pub(crate) fn limits(&self, power_w: &[f64]) -> Result<Vec<f64>> {
        self.sized(power_w)?;
        for &p in power_w {
            not_negative("thermal network", "power_w", p)?;
        }
        Ok(self
            .vectors
            .iter()
            .zip(&self.rate)
            .map(|(v, rate)| {
                (0..self.size())
                    .map(|i| v[i] / self.root[i] * power_w[i])
                    .sum::<f64>()
                    / rate
            })
            .collect())
    }
    /// Temperatures of modal amplitudes.
    pub(crate) fn temperatures(&self, q: &[f64], air_k: f64) -> Temperatures {
        (0..self.size())
            .map(|i| air_k + self.temperature_of(q, i))
            .collect()
    }
    /// Rise of one body above the air.
    pub(crate) fn temperature_of(&self, q: &[f64], body: usize) -> f64 {
        q.iter()
            .zip(&self.vectors)
            .map(|(q, v)| q * v[body])
            .sum::<f64>()
            / self.root[body]
    }
    /// Amplitudes after `t_s` seconds on the way from `q` to `limit`.
    pub(crate) fn step(&self, q: &[f64], limit: &[f64], t_s: f64) -> Vec<f64> {
        q.iter()
            .zip(limit)
            .zip(&self.rate)
            .map(|((q, l), r)| l + (q - l) * (-r * t_s).exp())
            .collect()
    }
    fn sized(&self, x: &[f64]) -> Result<()> {
        if x.len() == self.size() {
            Ok(())
        } else {
            Err(ChainError::Missing {
                part: "thermal network".into(),
                what: format!(
                    "match between {} values and {} bodies",
                    x.len(),
                    self.size()
                ),
            })
        }
    }
    pub(crate) fn body(&self, n: ThermalNode) -> Result<usize> {
        if n.0 < self.size() {
            Ok(n.0)
        } else {
            Err(ChainError::Missing {
                part: "thermal network".into(),
                what: "such body".into(),
            })
        }
    }
    /// Temperatures to which constant powers (W, per body) lead.
    ///
    /// # Errors
    /// A wrong number of powers, or a negative one.
    pub fn steady(&self, power_w: &[f64], air: Temperature) -> Result<Temperatures> {
        Ok(self.temperatures(&self.limits(power_w)?, air.as_k()))
    }
    /// Temperatures `t_s` seconds after `start` at constant powers.
    ///
    /// # Errors
    /// Wrong numbers of values, negative power or time.
    pub fn after(
        &self,
        t_s: f64,
        start_k: &[f64],
        power_w: &[f64],
        air: Temperature,
    ) -> Result<Temperatures> {
        not_negative("thermal network", "t_s", t_s)?;
        let q = self.amplitudes(start_k, air.as_k())?;
        let q = self.step(&q, &self.limits(power_w)?, t_s);
        Ok(self.temperatures(&q, air.as_k()))
    }
    /// Steady rise of `body` per watt put into `source`, K/W.
    ///
    /// # Errors
    /// Bodies that are not in the network.
    pub fn rise_per_watt(&self, body: ThermalNode, source: ThermalNode) -> Result<f64> {
        let (b, s) = (self.body(body)?, self.body(source)?);
        let mut p = vec![0.0; self.size()];
        p[s] = 1.0;
        Ok(self.temperature_of(&self.limits(&p)?, b))
    }
    /// Largest steady power into `source` that keeps `body` at or below `limit` in air of this temperature, W
    /// (zero when the air alone is above the limit).
    ///
    /// # Errors
    /// Bodies that are not in the network.
    pub fn power_for_limit(
        &self,
        body: ThermalNode,
        source: ThermalNode,
        limit: Temperature,
        air: Temperature,
    ) -> Result<f64> {
        Ok(((limit - air).as_k() / self.rise_per_watt(body, source)?).max(0.0))
    }
    /// How far `body` has settled after `t_s` seconds of constant power from the air's temperature: its rise over
    /// the final rise, 0..1. This is what a run without a trip proves.
    ///
    /// # Errors
    /// As [`Self::after`]; no power at all.
    pub fn settled(&self, body: ThermalNode, t_s: f64, power_w: &[f64]) -> Result<f64> {
        let b = self.body(body)?;
        let limit = self.limits(power_w)?;
        let end = positive(
            "thermal network",
            "final rise",
            self.temperature_of(&limit, b),
        )?;
        let q = self.step(
            &vec![0.0; self.size()],
            &limit,
            not_negative("thermal network", "t_s", t_s)?,
        );
        Ok(self.temperature_of(&q, b) / end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const AIR: Temperature = Temperature::celsius(25.0);

    #[test]
    fn one_body_is_the_closed_form() {
        // R = 0.25 K/W, tau = 8 min: step response P R (1 - exp(-t/tau)).
        let net = ThermalNetwork::ladder(&[("sink", 480.0 / 0.25, 0.25)]).unwrap();
        let m = net.modes().unwrap();
        assert!((m.time_constants_s()[0] - 480.0).abs() < 1e-9);
        for t in [0.0, 60.0, 480.0, 3600.0] {
            let got = m.after(t, &[AIR.as_k()], &[158.0], AIR).unwrap()[0] - AIR.as_k();
            let want = 158.0 * 0.25 * (1.0 - (-t / 480.0f64).exp());
            assert!((got - want).abs() < 1e-9);
        }
        assert!(
            (m.power_for_limit(
                ThermalNode(0),
                ThermalNode(0),
                Temperature::celsius(75.0),
                AIR
            )
            .unwrap()
                - 200.0)
                .abs()
                < 1e-9
        );
    }

    #[test]
    fn two_bodies_are_the_closed_form() {
        // Device and sink: rates are the roots of the 2 x 2 characteristic polynomial.
        let (c1, r1, c2, r2) = (40.0, 0.3, 2000.0, 0.25);
        let m = ThermalNetwork::ladder(&[("device", c1, r1), ("sink", c2, r2)])
            .unwrap()
            .modes()
            .unwrap();
        let (a, b, d, e) = (
            1.0 / (r1 * c1),
            1.0 / (r1 * c2),
            1.0 / (r2 * c2),
            1.0 / (r1 * c1),
        );
        let tr = a + b + d;
        let det = a * (b + d) - e * b;
        let root = (tr * tr - 4.0 * det).sqrt();
        let t = m.time_constants_s();
        assert!((t[0] * (tr - root) / 2.0 - 1.0).abs() < 1e-10);
        assert!((t[1] * (tr + root) / 2.0 - 1.0).abs() < 1e-10);
        let steady = m.steady(&[100.0, 0.0], AIR).unwrap();
        assert!(
            (steady[0] - AIR.as_k() - 55.0).abs() < 1e-9
                && (steady[1] - AIR.as_k() - 25.0).abs() < 1e-9
        );
    }

    #[test]
    fn an_hour_proves_the_sink_but_not_the_cabinet() {
        // Sink of 8 min and a cabinet of about 40 min; common practice takes an hour for proof.
        let net =
            ThermalNetwork::ladder(&[("sink", 1920.0, 0.25), ("cabinet", 24_000.0, 0.1)]).unwrap();
        let m = net.modes().unwrap();
        let s = m.settled(ThermalNode(1), 3600.0, &[100.0, 0.0]).unwrap();
        assert!((0.6..0.9).contains(&s), "{s}");
        assert!(m.settled(ThermalNode(0), 3600.0, &[100.0, 0.0]).unwrap() > s);
    }

    #[test]
    fn what_cannot_cool_is_refused() {
        let mut n = ThermalNetwork::new();
        assert!(n.modes().is_err());
        let a = n.node("a", 1.0).unwrap();
        let b = n.node("b", 1.0).unwrap();
        n.to_air(a, 1.0).unwrap();
        assert!(n.modes().unwrap_err().to_string().contains("air"));
        assert!(n.between(a, a, 1.0).is_err() && n.between(a, b, 0.0).is_err());
        n.between(a, b, 1.0).unwrap();
        assert!(n.modes().is_ok());
        assert!(
            n.modes()
                .unwrap()
                .after(1.0, &[1.0], &[0.0, 0.0], AIR)
                .is_err()
        );
    }

    proptest! {
        #[test]
        fn the_heat_equation_holds(
            c in prop::collection::vec(5.0..5000.0f64, 3), r in prop::collection::vec(0.05..3.0f64, 3),
            p in prop::collection::vec(0.0..200.0f64, 3), t in 1.0..2000.0f64) {
            let net = ThermalNetwork::ladder(&[("a", c[0], r[0]), ("b", c[1], r[1]), ("c", c[2], r[2])]).unwrap();
            let m = net.modes().unwrap();
            let start = [300.0, 310.0, 298.15];
            let at = |t: f64| m.after(t, &start, &p, AIR).unwrap();
            // two steps are one
            let half = at(t / 2.0);
            let twice = m.after(t / 2.0, &half, &p, AIR).unwrap();
            let x = at(t);
            for i in 0..3 { prop_assert!((twice[i] - x[i]).abs() < 1e-8); }
            // C dT/dt = P - flow out, with a central difference
            let h = 1e-3;
            let (up, down) = (at(t + h), at(t - h));
            let flow = [(x[0] - x[1]) / r[0], (x[1] - x[2]) / r[1], (x[2] - AIR.as_k()) / r[2]];
            for i in 0..3 {
                let dt = (up[i] - down[i]) / (2.0 * h);
                let inflow = if i == 0 { 0.0 } else { flow[i - 1] };
                let scale = p[i] + flow[i].abs() + inflow.abs() + 1.0;
                prop_assert!((c[i] * dt - (p[i] + inflow - flow[i])).abs() < 1e-4 * scale);
            }
        }
    }
}
