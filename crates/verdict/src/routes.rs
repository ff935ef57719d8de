//! One quantity by several routes: do they agree, and what do they say together?
//!
//! Absolute G/T can be had from the Sun, the Moon, the noise step with the satellite's own figure, a beacon's C/N0, an
//! absorber. Each route has an error of its own and errors that it shares with others (the same path loss, the same
//! published flux): contributors of one identity are one error. Combined by generalised least squares with the covariance
//! that follows (GUM F.1.2.3; K. Weise, W. Woeger, and any text on Aitken's estimator). When the routes differ by more
//! than chance allows (chi-square, Birge's test) nothing is averaged: the sheet names what stands apart.

use slantpath_link::Model;
use slantpath_quantity::{ContributorId, Estimate, from_db, to_db};
use slantpath_stats::matrix::{Cholesky, Matrix, dot};
use slantpath_stats::{StatsError, intervals};

/// A named part of a route's error: its effect on the route's value per one standard uncertainty, signed.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Identity: routes that have the same one share it.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Effect of one standard uncertainty, signed, in the value's unit.
    pub effect: f64,
}

/// One route.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// What a person calls it.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// Parts of its error.
    pub parts: Vec<Part>,
}

impl Route {
    /// Standard uncertainty of the route alone.
    pub fn u(&self) -> f64 {
        self.parts
            .iter()
            .map(|p| p.effect * p.effect)
            .sum::<f64>()
            .sqrt()
    }
}

/// A route against all others.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The route's name.
    pub name: String,
    /// Its value less what the others together say; 0 with one route.
    pub off: f64,
    /// Standard uncertainty of that difference.
    pub u: f64,
    /// Its weight in the combination; weights sum to one and may be negative between strongly correlated routes.
    pub weight: f64,
    /// Chance of a disagreement as large among the others alone, 1 when they agree for certain.
    pub others_chance: f64,
}

/// What the routes say together.
#[derive(Debug, Clone, PartialEq)]
pub struct Together {
    /// The combination; `None` when the routes disagree by more than chance allows.
    pub combined: Option<Estimate>,
    /// Sum of squares of the disagreements in units of their covariance.
    pub chi2: f64,
    /// Degrees of freedom: routes less one.
    pub dof: usize,
    /// Probability of a sum as large by chance.
    pub chance: f64,
    /// Each route.
    pub standing: Vec<Standing>,
    /// Positions of the routes without which the others agree, the best first; empty when all agree.
    pub apart: Vec<usize>,
}

/// Level of the test: routes that agree are told to disagree once in twenty times.
pub const SIZE: f64 = 0.05;

/// Covariance of the routes: parts of one identity are one error.
pub fn covariance(routes: &[Route]) -> Matrix {
    Matrix::from_fn(routes.len(), routes.len(), |i, j| {
        routes[i]
            .parts
            .iter()
            .flat_map(|p| {
                routes[j]
                    .parts
                    .iter()
                    .filter(move |q| q.id == p.id)
                    .map(move |q| p.effect * q.effect)
            })
            .sum()
    })
}

struct Mean {
    value: f64,
    u: f64,
    weights: Vec<f64>,
    chi2: f64,
}

/// Aitken's estimator of one mean: weights V^-1 1 / (1' V^-1 1).
fn mean(y: &[f64], v: &Matrix) -> Result<Mean, StatsError> {
    let c = Cholesky::new(v)?;
    let w = c.solve(&vec![1.0; y.len()]);
    let sum: f64 = w.iter().sum();
    let weights: Vec<f64> = w.iter().map(|w| w / sum).collect();
    let value = dot(&weights, y);
    let left: Vec<f64> = y.iter().map(|y| y - value).collect();
    let z = c.whiten(&left);
    Ok(Mean {
        value,
        u: sum.sqrt().recip(),
        weights,
        chi2: dot(&z, &z),
    })
}

fn chance(chi2: f64, dof: usize) -> Result<f64, StatsError> {
    if dof == 0 {
        Ok(1.0)
    } else {
        intervals::chi2_exceeded(chi2, dof as f64)
    }
}

/// Combines the routes, or says which stand apart.
///
/// # Errors
/// No route; a value that is no number; routes whose errors are wholly the same (their covariance is singular).
pub fn together(routes: &[Route]) -> Result<Together, StatsError> {
    if routes.is_empty() {
        return Err(StatsError::TooFew { have: 0, need: 1 });
    }
    if let Some(k) = routes
        .iter()
        .position(|r| !r.value.is_finite() || !r.u().is_finite())
    {
        return Err(StatsError::NotFinite {
            output: k,
            trial: 0,
        });
    }
    let n = routes.len();
    let v = covariance(routes);
    let y: Vec<f64> = routes.iter().map(|r| r.value).collect();
    let all = mean(&y, &v)?;
    let p = chance(all.chi2, n - 1)?;
    let mut standing = Vec::with_capacity(n);
    for k in 0..n {
        let kept: Vec<usize> = (0..n).filter(|i| *i != k).collect();
        if kept.is_empty() {
            standing.push(Standing {
                name: routes[k].name.clone(),
                off: 0.0,
                u: 0.0,
                weight: 1.0,
                others_chance: 1.0,
            });
            continue;
        }
        let sub = Matrix::from_fn(kept.len(), kept.len(), |i, j| v[(kept[i], kept[j])]);
        let ys: Vec<f64> = kept.iter().map(|i| y[*i]).collect();
        let others = mean(&ys, &sub)?;
        // Variance of y_k - sum w_i y_i.
        let cross: f64 = kept
            .iter()
            .zip(&others.weights)
            .map(|(i, w)| w * v[(*i, k)])
            .sum();
        let var = v[(k, k)] + others.u * others.u - 2.0 * cross;
        standing.push(Standing {
            name: routes[k].name.clone(),
            off: y[k] - others.value,
            u: var.max(0.0).sqrt(),
            weight: all.weights[k],
            others_chance: chance(others.chi2, kept.len() - 1)?,
        });
    }
    let agree = p >= SIZE;
    let mut apart = Vec::new();
    if !agree && n > 2 {
        apart = (0..n)
            .filter(|k| standing[*k].others_chance >= SIZE)
            .collect();
        apart.sort_by(|a, b| {
            standing[*b]
                .others_chance
                .total_cmp(&standing[*a].others_chance)
        });
    } else if !agree {
        // Two routes: neither can be told from the other.
        apart = (0..n).collect();
    }
    Ok(Together {
        combined: agree.then(|| Estimate::normal(all.value, all.u)),
        chi2: all.chi2,
        dof: n - 1,
        chance: p,
        standing,
        apart,
    })
}

/// A measurement from which a route to G/T begins.
#[derive(Debug, Clone, PartialEq)]
pub struct Start {
    /// Identity of the measurand, as the model has it.
    pub id: String,
    /// Value, in decibels.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

/// What a measurand in decibels says of G/T: a figure proportional to G/T when all else stands still.
///
/// A noise step and a Y factor h of the satellite, the Sun or a load: `10^(h/10) - 1`; a beacon against the station's own
/// noise: its C/N0. In an absorber's Y factor it is one over the system temperature that is proportional.
fn proportional(id: &str, value: f64) -> f64 {
    if id.contains("cn0_station") {
        from_db(value)
    } else {
        from_db(value) - 1.0
    }
}

/// Routes to the G/T of a passband on a branch from what was measured there: noise step (with the satellite's own noise as
/// prior), beacons (C/N0 and noise step together, with their EIRP as prior), absorber and Sun.
///
/// With R the figure proportional to G/T, `G/T = G/T(x) + 10 log R_measured - 10 log R(x)`: what the station's own inputs do
/// to both cancels, and what is left of each input is its part in the route's error, by identity.
pub fn to_g_over_t(model: &Model, passband: &str, branch: &str, starts: &[Start]) -> Vec<Route> {
    let at = |what: &str| format!("{passband}.{what}@{branch}");
    let find = |id: &str| starts.iter().find(|s| s.id == id);
    let step = find(&at("noise_step"));
    let mut routes = Vec::new();
    // Name, identity of the model's figure, measured value, and the measurements with their slopes.
    type Slopes<'a> = Vec<(&'a Start, f64)>;
    let mut wanted: Vec<(String, String, f64, Slopes<'_>)> = Vec::new();
    for (what, name) in [
        ("noise_step", "noise step with the satellite's own noise"),
        ("y_absorber", "absorber"),
        ("y_sun", "Sun"),
    ] {
        if let Some(s) = find(&at(what)) {
            // d(10 log(10^(h/10) - 1))/dh = r/(r - 1), r = 10^(h/10)
            let r = from_db(s.value);
            wanted.push((name.into(), at(what), s.value, vec![(s, r / (r - 1.0))]));
        }
    }
    for s in starts {
        let beacon =
            s.id.strip_prefix(&format!("{passband}."))
                .and_then(|r| r.strip_suffix(&format!(".cn0@{branch}")));
        // C/N0 against the station's own noise: what the satellite's noise took is what the step shows.
        if let (Some(b), Some(h)) = (beacon.filter(|b| *b != "own"), step) {
            wanted.push((
                format!("C/N0 of {b} with its EIRP"),
                at(&format!("{b}.cn0_station")),
                s.value + h.value,
                vec![(s, 1.0), (h, 1.0)],
            ));
        }
    }
    let outputs = model.outputs();
    let position = |id: &str| outputs.iter().position(|o| o.id == id);
    let Some(g) = position(&at("g_over_t")) else {
        return routes;
    };
    let contributors = model.inputs().contributors();
    let best = model.inputs().best();
    for (name, id, value, measured) in wanted {
        let Some(k) = position(&id) else { continue };
        let target = to_db(proportional(&id, value));
        let mut all = vec![0.0; outputs.len()];
        let mut route_at = |x: &[f64]| {
            model.evaluate(x, &mut all);
            let of = |i: usize| all.get(i).copied().unwrap_or(f64::NAN);
            of(g) + target - to_db(proportional(&id, of(k)))
        };
        let at_best = route_at(&best);
        let mut parts: Vec<Part> = measured
            .iter()
            .map(|(s, slope)| Part {
                id: ContributorId::new(format!("measured.{}", s.id)),
                label: format!("reading of {}", s.id),
                effect: slope * s.u,
            })
            .collect();
        let mut x = best.clone();
        for (i, c) in contributors.iter().enumerate() {
            let u = c.distribution.u();
            let (Some(v), Some(b)) = (x.get_mut(i), best.get(i)) else {
                continue;
            };
            if u == 0.0 {
                continue;
            }
            *v = b + u;
            let up = route_at(&x);
            x[i] = b - u;
            let effect = 0.5 * (up - route_at(&x));
            x[i] = *b;
            if effect.is_finite() && effect.abs() > 1e-6 {
                parts.push(Part {
                    id: c.id.clone(),
                    label: c.label.clone(),
                    effect,
                });
            }
        }
        if at_best.is_finite() {
            routes.push(Route {
                name,
                value: at_best,
                parts,
            });
        }
    }
    routes
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    fn route(name: &str, value: f64, parts: &[(&str, f64)]) -> Route {
        Route {
            name: name.into(),
            value,
            parts: parts
                .iter()
                .map(|(id, effect)| Part {
                    id: ContributorId::new(*id),
                    label: (*id).into(),
                    effect: *effect,
                })
                .collect(),
        }
    }

    #[test]
    fn independent_routes_are_the_weighted_mean() {
        // Closed form: sum(y/u2)/sum(1/u2), u = 1/sqrt(sum 1/u2).
        let r = [
            route("sun", 19.8, &[("a", 0.25)]),
            route("step", 19.5, &[("b", 0.4)]),
            route("beacon", 20.1, &[("c", 0.6)]),
        ];
        let w = [16.0, 6.25, 1.0 / 0.36];
        let sum: f64 = w.iter().sum();
        let x = (19.8 * w[0] + 19.5 * w[1] + 20.1 * w[2]) / sum;
        let t = together(&r).unwrap();
        let e = t.combined.unwrap();
        assert!((e.value - x).abs() < 1e-12 && (e.u - sum.sqrt().recip()).abs() < 1e-12);
        let chi2: f64 = r
            .iter()
            .zip(w)
            .map(|(r, w)| w * (r.value - x).powi(2))
            .sum();
        assert!((t.chi2 - chi2).abs() < 1e-12);
    }

    #[test]
    fn two_correlated_routes_in_closed_form() {
        // Weight of the first (v2 - c)/(v1 + v2 - 2 c), variance (v1 v2 - c2)/(v1 + v2 - 2 c).
        let r = [
            route("step", 19.0, &[("path", 0.3), ("a", 0.2)]),
            route("beacon", 19.4, &[("path", 0.3), ("b", 0.5)]),
        ];
        let (v1, v2, c): (f64, f64, f64) = (0.13, 0.34, 0.09);
        let d = v1 + v2 - 2.0 * c;
        let t = together(&r).unwrap();
        let e = t.combined.clone().unwrap();
        assert!((t.standing[0].weight - (v2 - c) / d).abs() < 1e-12);
        assert!((e.u - ((v1 * v2 - c * c) / d).sqrt()).abs() < 1e-12);
        // What both share does not enter their difference: sqrt(0.04 + 0.25).
        assert!((t.standing[0].u - 0.29f64.sqrt()).abs() < 1e-12);
        assert!((t.standing[0].off + 0.4).abs() < 1e-12);
    }

    #[test]
    fn the_one_that_stands_apart_is_named_and_nothing_is_averaged() {
        let r = [
            route("sun", 19.8, &[("a", 0.25)]),
            route("step", 19.6, &[("b", 0.25)]),
            route("absorber", 17.5, &[("c", 0.25)]),
        ];
        let t = together(&r).unwrap();
        assert!(t.combined.is_none() && t.chance < 1e-6);
        assert_eq!(t.apart, [2]);
        let two = together(&[r[0].clone(), r[2].clone()]).unwrap();
        assert!(two.combined.is_none());
        assert_eq!(two.apart, [0, 1]);
    }

    #[test]
    fn agreeing_routes_are_accused_once_in_twenty_times() {
        let mut rng = named_stream(11, "routes.size", 0);
        let n = 20_000;
        let mut accused = 0;
        for _ in 0..n {
            let shared = 0.3 * normal(&mut rng);
            let mut y = |own: f64| 19.0 + shared + own * normal(&mut rng);
            let r = [
                route("step", y(0.2), &[("path", 0.3), ("a", 0.2)]),
                route("beacon", y(0.5), &[("path", 0.3), ("b", 0.5)]),
                route("sun", y(0.35), &[("path", 0.3), ("c", 0.35)]),
                route("moon", y(0.8), &[("path", 0.3), ("d", 0.8)]),
            ];
            if together(&r).unwrap().combined.is_none() {
                accused += 1;
            }
        }
        // Four standard errors of a share of 5 % in 20000: 0.6 %.
        let share = f64::from(accused) / f64::from(n);
        assert!((share - 0.05).abs() < 0.0062, "{share}");
    }

    #[test]
    fn what_cannot_be_combined_is_refused() {
        assert!(together(&[]).is_err());
        let same = route("a", 1.0, &[("x", 0.3)]);
        assert!(together(&[same.clone(), same]).is_err());
        assert!(together(&[route("a", f64::NAN, &[("x", 0.3)])]).is_err());
        let one = together(&[route("a", 1.0, &[("x", 0.3)])]).unwrap();
        assert_eq!(
            (one.dof, one.chance, one.combined.unwrap().u),
            (0, 1.0, 0.3)
        );
    }
}
