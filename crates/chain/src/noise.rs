//! Noise of a cascade and its ledger (Friis 1944, Proc. IRE 32:419; IEEE definition of noise figure, T0 = 290 K).
//!
//! Each stage is a power gain `g` and an equivalent input noise temperature `te_k`. Referred to a plane before
//! stage `r`, stage `i` contributes `te_i * G(r) / G(i)`, where `G(n)` is the gain of all stages before `n`. With
//! the plane at the input this is Friis's formula; moving the plane scales every line alike, so that G/T does not
//! depend on it. Noise temperatures are those of `kT` power density (Rayleigh-Jeans); see
//! [`planck_noise_temperature`] for what that leaves out.

use crate::error::{ChainError, Result, finite, not_negative, positive};
use slantpath_quantity::constants::{BOLTZMANN, PLANCK, T0_K};
use slantpath_quantity::{ContributorId, Frequency, Temperature, from_db, to_db};

/// A stage reduced to what the cascade needs; cheap to copy and to perturb in a draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Linear {
    /// Available power gain, ratio, above zero.
    pub gain: f64,
    /// Equivalent noise temperature at the stage's own input, K.
    pub te_k: f64,
}

impl Linear {
    /// A matched passive loss at a physical temperature: gain `1/L`, `te = T (L - 1)`.
    ///
    /// `loss_db` zero or more is the caller's duty here; [`Stage::passive`] checks it.
    pub fn passive(loss_db: f64, t_phys_k: f64) -> Self {
        let l = from_db(loss_db);
        Self {
            gain: 1.0 / l,
            te_k: t_phys_k * (l - 1.0),
        }
    }
    /// A part given by gain and noise figure (at T0 = 290 K).
    pub fn active(gain_db: f64, nf_db: f64) -> Self {
        Self {
            gain: from_db(gain_db),
            te_k: T0_K * (from_db(nf_db) - 1.0),
        }
    }
}

/// Equivalent noise temperature at the input of the first stage, K (Friis).
pub fn equivalent_te_k(stages: &[Linear]) -> f64 {
    let mut before = 1.0;
    let mut te = 0.0;
    for s in stages {
        te += s.te_k / before;
        before *= s.gain;
    }
    te
}

/// Noise temperature at the output of a matched loss at `t_phys_k` whose input is at `t_in_k`:
/// `T/L + Tphys (1 - 1/L)`. The same form holds for a medium along a path (ITU-R P.618, sky noise).
pub fn through_loss_k(t_in_k: f64, loss_db: f64, t_phys_k: f64) -> f64 {
    let inv = from_db(-loss_db);
    t_in_k * inv + t_phys_k * (1.0 - inv)
}

/// Noise temperature whose `kT` equals the Planck density of a black body: `(hf/k) / (exp(hf/kT) - 1)`.
///
/// The zero-point half quantum is not added (it is common to every term of a comparison). At 10.5 GHz and 290 K
/// the difference from `T` is 0.25 K.
pub fn planck_noise_temperature(t: Temperature, f: Frequency) -> Temperature {
    let hf_k = PLANCK * f.as_hz() / BOLTZMANN;
    Temperature::k(hf_k / (hf_k / t.as_k()).exp_m1())
}

/// A named stage of the cascade.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Identity of the part, for example `rx.main.cable`.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Gain and noise.
    pub linear: Linear,
}

impl Stage {
    /// A matched passive loss at its physical temperature.
    ///
    /// # Errors
    /// Negative or not finite loss, temperature not above 0 K.
    pub fn passive(
        id: impl Into<String>,
        label: impl Into<String>,
        loss_db: f64,
        t_phys: Temperature,
    ) -> Result<Self> {
        let label = label.into();
        not_negative(&label, "loss_db", loss_db)?;
        positive(&label, "t_phys_k", t_phys.as_k())?;
        Ok(Self {
            id: ContributorId::new(id),
            linear: Linear::passive(loss_db, t_phys.as_k()),
            label,
        })
    }
    /// A part with gain (or conversion loss, negative) and noise figure at 290 K.
    ///
    /// # Errors
    /// Negative noise figure, or a value that is not finite.
    pub fn active(
        id: impl Into<String>,
        label: impl Into<String>,
        gain_db: f64,
        nf_db: f64,
    ) -> Result<Self> {
        let label = label.into();
        finite(&label, "gain_db", gain_db)?;
        not_negative(&label, "nf_db", nf_db)?;
        Ok(Self {
            id: ContributorId::new(id),
            linear: Linear::active(gain_db, nf_db),
            label,
        })
    }
    /// A part with gain and noise temperature at its input.
    ///
    /// # Errors
    /// Negative temperature, or a value that is not finite.
    pub fn with_temperature(
        id: impl Into<String>,
        label: impl Into<String>,
        gain_db: f64,
        te: Temperature,
    ) -> Result<Self> {
        let label = label.into();
        finite(&label, "gain_db", gain_db)?;
        not_negative(&label, "te_k", te.as_k())?;
        Ok(Self {
            id: ContributorId::new(id),
            linear: Linear {
                gain: from_db(gain_db),
                te_k: te.as_k(),
            },
            label,
        })
    }
    /// A mismatch before a part: of the incoming wave the fraction `rho` (power reflection) does not enter, and of
    /// the noise wave that the part sends back (`t_back`) the same fraction is returned into it.
    ///
    /// By energy this is a loss `1/(1 - rho)` at temperature `t_back` (noise-wave description, Penfield 1962; from
    /// memory). For a matched resistive input `t_back` is its physical temperature; for a low-noise amplifier it
    /// is a property of the device, often well below 290 K.
    ///
    /// # Errors
    /// `rho` outside 0..1 (1 excluded) or `t_back` below 0 K.
    pub fn mismatch(
        id: impl Into<String>,
        label: impl Into<String>,
        rho: f64,
        t_back: Temperature,
    ) -> Result<Self> {
        let label = label.into();
        if !(0.0..1.0).contains(&rho) {
            return Err(ChainError::Impossible {
                part: label,
                symbol: "rho",
                value: rho,
                must: "zero or more and below 1",
            });
        }
        not_negative(&label, "t_back_k", t_back.as_k())?;
        Ok(Self {
            id: ContributorId::new(id),
            linear: Linear {
                gain: 1.0 - rho,
                te_k: t_back.as_k() * rho / (1.0 - rho),
            },
            label,
        })
    }
    /// Gain in dB.
    pub fn gain_db(&self) -> f64 {
        to_db(self.linear.gain)
    }
}

/// Noise that arrives at the input of the first stage: sky, ground seen by spill, shadowed rays.
#[derive(Debug, Clone, PartialEq)]
pub struct Incoming {
    /// Identity.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Noise temperature at the first stage's input, K.
    pub t_k: f64,
}

impl Incoming {
    /// A named incoming noise.
    ///
    /// # Errors
    /// Negative or not finite.
    pub fn new(id: impl Into<String>, label: impl Into<String>, t: Temperature) -> Result<Self> {
        let label = label.into();
        Ok(Self {
            id: ContributorId::new(id),
            t_k: not_negative(&label, "t_k", t.as_k())?,
            label,
        })
    }
}

/// Where a ledger is referred to: the input of stage `n` (0: the feed aperture; the number of stages: the output).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plane(pub usize);

/// One line of the noise ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct LedgerLine {
    /// Identity of the part or incoming noise.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Contribution at the ledger's plane, K.
    pub k: f64,
    /// Fraction of the total; zero when the total is zero.
    pub share: f64,
}

/// System noise temperature at a plane, with what makes it up in chain order.
#[derive(Debug, Clone, PartialEq)]
pub struct Ledger {
    /// The plane.
    pub plane: Plane,
    /// Lines: incoming first, then stages in order.
    pub lines: Vec<LedgerLine>,
    /// The sum of the lines in their order, K.
    pub total_k: f64,
    /// Gain from the feed aperture to the plane, dB.
    pub gain_to_plane_db: f64,
}

impl Ledger {
    /// G/T in dB/K of an antenna whose gain at the feed aperture is `gain_dbi`. Independent of the plane.
    pub fn g_over_t_db(&self, gain_dbi: f64) -> f64 {
        gain_dbi + self.gain_to_plane_db - to_db(self.total_k)
    }
    /// The line of a part.
    pub fn line(&self, id: &str) -> Option<&LedgerLine> {
        self.lines.iter().find(|l| l.id.as_str() == id)
    }
}

/// An ordered chain with the noise that enters it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cascade {
    /// Noise arriving at the first stage.
    pub incoming: Vec<Incoming>,
    /// Stages from the feed aperture on.
    pub stages: Vec<Stage>,
}

impl Cascade {
    /// Gain of the stages before `n`, ratio.
    fn gain_before(&self, n: usize) -> f64 {
        self.stages.iter().take(n).map(|s| s.linear.gain).product()
    }
    fn check(&self, plane: Plane) -> Result<()> {
        if plane.0 > self.stages.len() {
            return Err(ChainError::Missing {
                part: "cascade".into(),
                what: format!(
                    "plane {} in a chain of {} stages",
                    plane.0,
                    self.stages.len()
                ),
            });
        }
        Ok(())
    }
    /// Equivalent noise temperature of the stages alone at the first input, K.
    pub fn te_k(&self) -> f64 {
        let mut before = 1.0;
        let mut te = 0.0;
        for s in &self.stages {
            te += s.linear.te_k / before;
            before *= s.linear.gain;
        }
        te
    }
    /// Noise figure of the stages in dB.
    pub fn nf_db(&self) -> f64 {
        Temperature::k(self.te_k()).as_noise_figure_db()
    }
    /// Gain of all stages in dB.
    pub fn gain_db(&self) -> f64 {
        to_db(self.gain_before(self.stages.len()))
    }
    /// The plane before the stage with this identity.
    ///
    /// # Errors
    /// No such stage.
    pub fn plane_before(&self, id: &str) -> Result<Plane> {
        self.stages
            .iter()
            .position(|s| s.id.as_str() == id)
            .map(Plane)
            .ok_or_else(|| ChainError::Missing {
                part: "cascade".into(),
                what: format!("stage `{id}`"),
            })
    }
    /// The noise ledger at a plane.
    ///
    /// # Errors
    /// A plane beyond the chain's end.
    pub fn ledger(&self, plane: Plane) -> Result<Ledger> {
        self.check(plane)?;
        let to_plane = self.gain_before(plane.0);
        let mut lines: Vec<LedgerLine> =
            Vec::with_capacity(self.incoming.len() + self.stages.len());
        let mut push = |id: &ContributorId, label: &str, k: f64| {
            lines.push(LedgerLine {
                id: id.clone(),
                label: label.to_string(),
                k,
                share: 0.0,
            })
        };
        for n in &self.incoming {
            push(&n.id, &n.label, n.t_k * to_plane);
        }
        let mut before = 1.0;
        for s in &self.stages {
            push(&s.id, &s.label, s.linear.te_k / before * to_plane);
            before *= s.linear.gain;
        }
        let total_k: f64 = lines.iter().map(|l| l.k).sum();
        if total_k > 0.0 {
            for l in &mut lines {
                l.share = l.k / total_k;
            }
        }
        Ok(Ledger {
            plane,
            lines,
            total_k,
            gain_to_plane_db: to_db(to_plane),
        })
    }
    /// Change of G/T in dB if a matched loss at `t_phys` were inserted before stage `n` (the number of stages:
    /// at the output). Exact, never positive unless the loss is colder than the noise it replaces.
    ///
    /// # Errors
    /// A place beyond the chain's end, a negative loss, or a chain without any noise.
    pub fn g_over_t_change_db(&self, n: usize, loss_db: f64, t_phys: Temperature) -> Result<f64> {
        self.check(Plane(n))?;
        let mut with = self.clone();
        with.stages.insert(
            n,
            Stage::passive("inserted", "inserted loss", loss_db, t_phys)?,
        );
        let a = self.ledger(Plane(0))?.total_k;
        let b = with.ledger(Plane(0))?.total_k;
        positive("cascade", "total_k", a)?;
        Ok(to_db(a / b))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn chain() -> Cascade {
        Cascade {
            incoming: vec![
                Incoming::new("sky", "sky", Temperature::k(8.0)).unwrap(),
                Incoming::new("spill", "spill", Temperature::k(20.0)).unwrap(),
            ],
            stages: vec![
                Stage::passive("feed", "feed", 0.1, Temperature::k(290.0)).unwrap(),
                Stage::active("lnb", "LNB", 55.0, 0.7).unwrap(),
                Stage::passive("cable", "cable", 4.0, Temperature::k(280.0)).unwrap(),
                Stage::active("rx", "receiver", 0.0, 8.0).unwrap(),
            ],
        }
    }

    #[test]
    fn ledger_is_friis_and_g_over_t_ignores_the_plane() {
        let c = chain();
        let at_feed = c.ledger(Plane(0)).unwrap();
        assert!((at_feed.total_k - (28.0 + c.te_k())).abs() < 1e-10);
        let gt = at_feed.g_over_t_db(40.2);
        for n in 0..=4 {
            assert!((c.ledger(Plane(n)).unwrap().g_over_t_db(40.2) - gt).abs() < 1e-11);
        }
        assert!(c.ledger(Plane(5)).is_err());
        assert_eq!(c.plane_before("lnb").unwrap(), Plane(1));
        assert!(c.plane_before("nothing").is_err());
    }

    #[test]
    fn the_output_plane_carries_what_leaves_the_chain() {
        // Passing the noise through stage by stage must give the ledger at the output.
        let c = chain();
        let mut t = 28.0;
        for s in &c.stages {
            t = (t + s.linear.te_k) * s.linear.gain;
        }
        let out = c.ledger(Plane(4)).unwrap().total_k;
        assert!((out / t - 1.0).abs() < 1e-13);
    }

    #[test]
    fn impossible_parts_are_refused() {
        let t = Temperature::k(290.0);
        assert!(Stage::passive("a", "a", -0.1, t).is_err());
        assert!(Stage::passive("a", "a", 1.0, Temperature::k(0.0)).is_err());
        assert!(Stage::active("a", "a", f64::NAN, 1.0).is_err());
        assert!(Stage::active("a", "a", 1.0, -1.0).is_err());
        assert!(Stage::mismatch("a", "a", 1.0, t).is_err());
        assert!(Incoming::new("a", "a", Temperature::k(-1.0)).is_err());
    }

    #[test]
    fn mismatch_is_a_loss_at_the_returned_waves_temperature() {
        let m = Stage::mismatch("m", "m", 0.1, Temperature::k(290.0)).unwrap();
        let p = Linear::passive(to_db(1.0 / 0.9), 290.0);
        assert!((m.linear.te_k - p.te_k).abs() < 1e-10 && (m.linear.gain - p.gain).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn shares_sum_and_a_cable_may_be_cut_anywhere(
            loss in 0.0..20.0f64, cut in 0.0..1.0f64, t in 200.0..340.0f64,
            gain in -10.0..60.0f64, nf in 0.0..15.0f64, at in 0usize..3) {
            let lnb = Stage::active("lnb", "lnb", gain, nf).unwrap();
            let rx = Stage::active("rx", "rx", 0.0, 8.0).unwrap();
            let t = Temperature::k(t);
            let mut whole = Cascade { incoming: chain().incoming, stages: vec![lnb, rx] };
            let mut parts = whole.clone();
            whole.stages.insert(at, Stage::passive("cable", "cable", loss, t).unwrap());
            parts.stages.insert(at, Stage::passive("c2", "c2", loss * (1.0 - cut), t).unwrap());
            parts.stages.insert(at, Stage::passive("c1", "c1", loss * cut, t).unwrap());
            let (a, b) = (whole.ledger(Plane(0)).unwrap(), parts.ledger(Plane(0)).unwrap());
            prop_assert!((a.total_k / b.total_k - 1.0).abs() < 1e-12);
            prop_assert!((whole.gain_db() - parts.gain_db()).abs() < 1e-11);
            prop_assert_eq!(a.total_k, a.lines.iter().map(|l| l.k).sum::<f64>());
            prop_assert!((a.lines.iter().map(|l| l.share).sum::<f64>() - 1.0).abs() < 1e-14);
        }

        #[test]
        fn order_matters_exactly_as_friis_says(
            g1 in -5.0..40.0f64, n1 in 0.0..10.0f64, g2 in -5.0..40.0f64, n2 in 0.0..10.0f64) {
            // Te(1,2) - Te(2,1) = T1 (1 - 1/G2) - T2 (1 - 1/G1): the noise measures decide the order.
            let (a, b) = (Linear::active(g1, n1), Linear::active(g2, n2));
            let got = equivalent_te_k(&[a, b]) - equivalent_te_k(&[b, a]);
            let want = a.te_k * (1.0 - 1.0 / b.gain) - b.te_k * (1.0 - 1.0 / a.gain);
            prop_assert!((got - want).abs() < 1e-8 * (1.0 + a.te_k + b.te_k));
        }

        #[test]
        fn a_loss_never_helps(n in 0usize..5, loss in 0.0..10.0f64) {
            let d = chain().g_over_t_change_db(n, loss, Temperature::k(290.0)).unwrap();
            prop_assert!(d <= 1e-12);
        }
    }
}
