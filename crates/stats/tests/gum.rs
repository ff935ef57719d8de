//! Examples of the GUM (JCGM 100:2008, annex H) and its Monte Carlo supplement (JCGM 101:2008, clause 9).

use serde_json::Value;
use slantpath_quantity::{Contributor, ContributorId, Distribution, Interval};
use slantpath_stats::draws::validates_first_order;
use slantpath_stats::intervals::{mean_of, student_factor};
use slantpath_stats::least_squares::{Noise, Scale, linear};
use slantpath_stats::propagate::{effective_dof, first_order, first_order_correlated};
use slantpath_stats::{Draws, Matrix, Settings, monte_carlo};

const TABLE: &str = include_str!("data/gum_examples.csv");

/// Published value of an example's quantity.
fn published(example: &str, quantity: &str) -> f64 {
    for line in TABLE.lines() {
        let Some(rest) = line.strip_prefix(example).and_then(|r| r.strip_prefix(',')) else {
            continue;
        };
        let rest = match rest.strip_prefix('"') {
            Some(r) => r.strip_prefix(quantity).and_then(|r| r.strip_prefix("\",")),
            None => rest
                .strip_prefix(quantity)
                .and_then(|r| r.strip_prefix(',')),
        };
        if let Some(value) = rest.and_then(|r| r.split(',').next()) {
            return value.parse().expect("a number");
        }
    }
    panic!("{example}, {quantity} is not in the table");
}

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!(
        (got - want).abs() <= tolerance,
        "{what}: {got} instead of {want}"
    );
}

fn normal(id: &str, mean: f64, u: f64) -> Contributor {
    contributor(id, Distribution::Normal { mean, u })
}
fn rectangular(id: &str, lo: f64, hi: f64) -> Contributor {
    contributor(id, Distribution::Rectangular { lo, hi })
}
fn contributor(id: &str, distribution: Distribution) -> Contributor {
    Contributor {
        id: ContributorId::new(id),
        label: id.to_string(),
        distribution,
        unit: "1",
        source: "example".to_string(),
    }
}

const TRIALS: usize = 400_000;

fn run(c: &[Contributor], model: impl Fn(&[f64]) -> f64 + Sync) -> (Draws, Interval) {
    let d = monte_carlo(c, 1, &Settings::new(20_260_901, TRIALS), |x, y| {
        y[0] = model(x)
    })
    .unwrap();
    let i = d.sorted(0).shortest(0.95).unwrap();
    (d, i)
}

#[test]
fn h1_end_gauge() {
    let e = "GUM H.1 end gauge";
    // Contributions in nm, degrees of freedom (table H.1). The model is linear in all but second-order terms.
    let nm = 1e-6;
    let ls = 50.000_623; // mm
    let c = [
        normal("l_s", ls, 25.0 * nm),
        normal("d", 215.0 * nm, 9.7 * nm),
        rectangular("delta_alpha", -1e-6, 1e-6),
        rectangular("delta_theta", -0.05, 0.05),
        normal("theta", -0.1, 0.41),
        normal("alpha_s", 11.5e-6, 1.2e-6),
    ];
    // Equation (H.2): l = l_s + d - l_s (delta_alpha theta + alpha_s delta_theta).
    let model = |x: &[f64], y: &mut [f64]| y[0] = x[0] + x[1] - x[0] * (x[2] * x[4] + x[5] * x[3]);
    let r = &first_order(&c, 1, model).unwrap()[0];
    close(r.value, published(e, "l"), 1e-8, "l");
    // H.1.4: the standard keeps 0.58e-6 x 0.1 as c u for delta_alpha and 16.6 nm for delta_theta.
    close(r.u / nm, published(e, "u_c (first order)"), 0.5, "u_c");
    let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    let nu = effective_dof(&parts);
    close(
        nu.floor(),
        published(e, "nu_eff (truncated 16; 16.7-16.8)"),
        0.0,
        "nu_eff",
    );
    let t = student_factor(0.99, nu.floor()).unwrap();
    close(t, published(e, "t99(16)"), 0.005, "t99");
    close(t * 32.0, published(e, "U99"), 0.6, "U99");
    // Second order (H.1.7): 34 nm, which the Monte Carlo method finds by itself.
    let (d, _) = run(&c, |x| x[0] + x[1] - x[0] * (x[2] * x[4] + x[5] * x[3]));
    close(
        d.sd(0).unwrap() / nm,
        published(e, "u_c incl. second order"),
        0.5,
        "u with second order",
    );
}

#[test]
fn h2_impedance() {
    let e = "GUM H.2 impedance";
    let data: Value = serde_json::from_str(include_str!("data/gum_H2_H3_data.json")).unwrap();
    let column = |k: &str| -> Vec<f64> {
        data["H2"][k]
            .as_array()
            .unwrap()
            .iter()
            .map(|x| x.as_f64().unwrap())
            .collect()
    };
    let x = [column("V"), column("I_A"), column("phi_rad")];
    let mean: Vec<f64> = x.iter().map(|v| mean_of(v, 0.95).unwrap().mean).collect();
    let v = Matrix::from_fn(3, 3, |i, j| {
        let s: f64 = x[i]
            .iter()
            .zip(&x[j])
            .map(|(a, b)| (a - mean[i]) * (b - mean[j]))
            .sum();
        s / 20.0
    });
    let (y, c) = first_order_correlated(&mean, &v, 3, |p, out| {
        let z = p[0] / p[1];
        (out[0], out[1], out[2]) = (z * p[2].cos(), z * p[2].sin(), z);
    })
    .unwrap();
    for (k, name) in ["R", "X", "Z"].into_iter().enumerate() {
        close(y[k], published(e, name), 6e-4, name);
        close(
            c[(k, k)].sqrt(),
            published(e, &format!("u({name})")),
            6e-4,
            "u",
        );
    }
    for (i, j, name) in [(0, 1, "r(R,X)"), (0, 2, "r(R,Z)"), (1, 2, "r(X,Z)")] {
        close(
            c[(i, j)] / (c[(i, i)] * c[(j, j)]).sqrt(),
            published(e, name),
            6e-4,
            name,
        );
    }
}

#[test]
fn h3_thermometer() {
    let e = "GUM H.3 thermometer";
    let data: Value = serde_json::from_str(include_str!("data/gum_H2_H3_data.json")).unwrap();
    let column = |k: &str| -> Vec<f64> {
        data["H3"][k]
            .as_array()
            .unwrap()
            .iter()
            .map(|x| x.as_f64().unwrap())
            .collect()
    };
    let (t, b) = (column("t_degC"), column("b_degC"));
    let a = Matrix::from_fn(t.len(), 2, |i, j| if j == 0 { 1.0 } else { t[i] - 20.0 });
    let fit = linear(&a, &b, Noise::Unit, &[], Scale::FromResiduals).unwrap();
    close(fit.x[0], published(e, "y1"), 5e-5, "y1");
    close(fit.u(0), published(e, "u(y1)"), 5e-5, "u(y1)");
    close(fit.x[1], published(e, "y2"), 5e-6, "y2");
    close(fit.u(1), published(e, "u(y2)"), 5e-6, "u(y2)");
    close(fit.correlation(0, 1), published(e, "r"), 5e-4, "r");
    close(
        (fit.chi2 / fit.dof as f64).sqrt(),
        published(e, "s"),
        5e-5,
        "s",
    );
    let (at30, u30) = fit.combination(&[1.0, 10.0]);
    close(at30, published(e, "b(30 degC)"), 5e-5, "b(30)");
    close(u30, published(e, "u(b(30))"), 5e-5, "u(b(30))");
}

/// JCGM 101 9.2: sums of four inputs.
#[test]
fn additive_models() {
    let sum = |x: &[f64]| x.iter().sum::<f64>();
    let four = |f: fn(&str) -> Contributor| ["a", "b", "c", "d"].map(f);
    let w = 3f64.sqrt();

    let (d, i) = run(&four(|id| normal(id, 0.0, 1.0)), sum);
    close(
        d.sd(0).unwrap(),
        published("JCGM 101 9.2.2 normal", "u"),
        0.01,
        "u",
    );
    close(
        i.half_width(),
        published("JCGM 101 9.2.2 normal", "95 % shortest +-"),
        0.02,
        "9.2.2",
    );
    assert!(validates_first_order(
        0.0,
        2.0,
        &d.sorted(0).symmetric(0.95).unwrap(),
        2
    ));

    let (_, i) = run(
        &four(|id| rectangular(id, -(3f64.sqrt()), 3f64.sqrt())),
        sum,
    );
    close(
        i.half_width(),
        published("JCGM 101 9.2.3 rectangular", "95 % shortest +- (MCM)"),
        0.02,
        "9.2.3",
    );

    let wide = [
        rectangular("a", -w, w),
        rectangular("b", -w, w),
        rectangular("c", -w, w),
        rectangular("d", -10.0 * w, 10.0 * w),
    ];
    let (d, i) = run(&wide, sum);
    close(
        d.sd(0).unwrap(),
        published("JCGM 101 9.2.4", "u"),
        0.06,
        "u",
    );
    close(
        i.half_width(),
        published("JCGM 101 9.2.4", "95 % shortest +- (MCM)"),
        0.06,
        "9.2.4",
    );
    assert!(
        !validates_first_order(0.0, 10.15, &i, 2),
        "19.9 is not 17.0"
    );
}

/// JCGM 101 9.3: mass calibration; the interval is the published one within its numerical tolerance.
#[test]
fn mass_calibration() {
    let e = "JCGM 101 9.3 mass";
    let c = [
        normal("m_R,c", 100_000.0, 0.050),
        normal("dm_R,c", 1.234, 0.020),
        rectangular("rho_a", 1.1, 1.3),
        rectangular("rho_W", 7000.0, 9000.0),
        rectangular("rho_R", 7950.0, 8050.0),
    ];
    let model =
        |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0;
    let (d, i) = run(&c, model);
    close(d.mean(0).unwrap(), published(e, "dm (MCM)"), 6e-4, "mean");
    close(d.sd(0).unwrap(), published(e, "u (MCM)"), 5e-4, "u");
    close(i.lo, published(e, "95 % low"), 3e-3, "low");
    close(i.hi, published(e, "95 % high"), 3e-3, "high");
    let first = &first_order(&c, 1, |x, y| y[0] = model(x)).unwrap()[0];
    close(
        first.u,
        published(e, "u (GUF first order)"),
        6e-5,
        "first order",
    );
}

/// JCGM 101 9.4: comparison loss of a microwave power meter, x1^2 + x2^2.
#[test]
fn comparison_loss() {
    for x1 in ["0", "0.01", "0.05"] {
        let e = format!("JCGM 101 9.4 comparison loss x1={x1}");
        let c = [
            normal("x1", x1.parse().unwrap(), 0.005),
            normal("x2", 0.0, 0.005),
        ];
        let (d, i) = run(&c, |x| x[0] * x[0] + x[1] * x[1]);
        let tolerance = 2e-6 + 5e-3 * published(&e, "u");
        close(d.mean(0).unwrap(), published(&e, "y"), tolerance, "y");
        close(d.sd(0).unwrap(), published(&e, "u"), tolerance, "u");
        close(i.lo, published(&e, "95 % low"), 1.5e-5, "low");
        close(i.hi, published(&e, "95 % high"), 1.5e-5, "high");
    }
}
