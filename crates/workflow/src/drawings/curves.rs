//! Pattern cuts, purity over the cone, currents, and a small shadow map.

use slantpath_antenna::budget::{Aim, cut};
use slantpath_antenna::dish::Stand;
use slantpath_antenna::pattern::Pattern;
use slantpath_link::{Model, Mounted, arm, reflector};
use slantpath_quantity::{Angle, Contributor, Frequency, Length, amplitude_to_db, show};
use slantpath_report::Figure;
use slantpath_report::figure::{MapFigure, lines, map};
use slantpath_station::Station;
use slantpath_station::checked::{CoilFeed, FeedPattern, Memo};
use slantpath_wire::Density;
use slantpath_wire::feed::shadow::{Bench, Dish, Surroundings, map as solve_map};
use slantpath_wire::feed::uplink::{Ground, HelixFeed, Tube, UplinkFeed};
use slantpath_wire::feed::{Coil, CoilDimension, Horn};

/// Columns (diameter) and rows (wire) of the map in a report.
const MAP: (usize, usize) = (9, 5);

fn ghz(f: Frequency) -> String {
    show::significant(f.as_hz() / 1e9, 3)
}

/// Both beams of the dish in the plane of symmetry.
pub(super) fn dish_cuts(receive: &Mounted, transmit: Option<&Mounted>) -> Option<Figure> {
    let of = |m: &Mounted, name: &str, reach: Angle| -> Option<(String, Vec<(f64, f64)>)> {
        let points = cut(
            &m.reflector,
            &m.pattern,
            &m.placement,
            m.frequency,
            Angle::deg(90.0),
            reach,
            161,
        )
        .ok()?;
        let line = points
            .iter()
            .map(|p| (p.angle.as_deg(), p.co.0))
            .filter(|p| p.1 > -15.0)
            .collect();
        Some((format!("{name}, {} GHz", ghz(m.frequency)), line))
    };
    // three beamwidths of the wider beam: beyond, diffraction at the edge rules
    let wide = transmit.unwrap_or(receive);
    let beam = 70.0 * wide.frequency.wavelength().as_m() / wide.reflector.diameter().as_m();
    let reach = Angle::deg((3.0 * beam).clamp(2.0, 40.0));
    let mut all = vec![of(receive, "receive", reach)?];
    all.extend(transmit.and_then(|t| of(t, "transmit", reach)));
    Some(Figure {
        key: "dish_cut".into(),
        caption: "Cut through the dish's beams in its plane of symmetry. Sidelobes far out are not credible: diffraction at the \
                  edge is not in the model."
            .into(),
        svg: lines(
            "Beams of the dish",
            "angle from the dish's axis, deg",
            "gain, dBi",
            &all,
            &[],
            None,
        ),
    })
}

/// What only a feed by its dimensions has.
pub(super) fn of_radiator(
    station: &Station,
    model: &Model,
    transmit: Option<&Mounted>,
    up: Frequency,
    down: Frequency,
) -> Vec<Figure> {
    let mut out = Vec::new();
    let best = |c: &Contributor| c.distribution.mean();
    let Some(radiator) = &station.feed.radiator else {
        return out;
    };
    let what = radiator.name();
    let computed = station
        .feed
        .transmit
        .as_ref()
        .is_some_and(|t| t.pattern == FeedPattern::FromDimensions);
    if let Some(t) = transmit.filter(|_| computed) {
        let cone = t.reflector.half_angle();
        out.push(feed_cut(what, &t.pattern, t.frequency, cone));
        out.push(axial_ratio(what, &t.pattern, cone));
    }
    let Some(c) = station.feed.coil() else {
        return out;
    };
    let coil = c.coil(super::sense(station), &best);
    let Ok((dish, _)) = reflector(&station.reflector.shape, &best) else {
        return out;
    };
    let Some(horn) = c.receive_feed(&best) else {
        return out;
    };
    let elevation = Angle::deg(model.geometry().apparent.elevation_deg);
    let stand = Stand {
        elevation,
        arm: arm(station.reflector.feed_arm),
    };
    let bench = || Bench::new(&horn, &Dish::new(&dish, Aim::Bisector, stand), down).ok();
    out.extend(currents(c, &coil, &horn, dish.half_angle(), up, bench()));
    out.extend(shadow_map(
        &station.feed.memo,
        &coil,
        &horn,
        &dish,
        stand,
        down,
        &bench,
    ));
    out
}

fn feed_cut(what: &str, p: &Pattern, f: Frequency, cone: Angle) -> Figure {
    let axis = p.co_polar(0.0, 0.0).norm();
    // mean of four planes, both halves of each
    let level = |deg: f64, get: &dyn Fn(f64, f64) -> f64| {
        let t = deg.to_radians();
        let mean = (0..8)
            .map(|k| get(t, std::f64::consts::PI * f64::from(k) / 4.0).powi(2))
            .sum::<f64>()
            / 8.0;
        amplitude_to_db(mean.sqrt() / axis)
    };
    let line = |get: &dyn Fn(f64, f64) -> f64| -> Vec<(f64, f64)> {
        (0..=60)
            .map(|i| 3.0 * f64::from(i))
            .map(|d| (d, level(d, get)))
            .filter(|p| p.1 > -35.0)
            .collect()
    };
    let co = line(&|t, phi| p.co_polar(t, phi).norm());
    let cross = line(&|t, phi| p.cross_polar(t, phi).norm());
    let edge = cone.as_deg();
    Figure {
        key: format!("{what}_cut"),
        caption: format!(
            "Pattern of the bare uplink {what}, mean of eight azimuths. What lies beyond the dish's edge passes it."
        ),
        svg: lines(
            &format!("Uplink {what} at {} GHz", ghz(f)),
            "angle from the feed's axis, deg",
            "level, dB",
            &[("wanted sense".into(), co), ("other sense".into(), cross)],
            &[(
                edge,
                level(edge, &|t, phi| p.co_polar(t, phi).norm()),
                format!("edge of the dish, {} deg", show::fixed(edge, 0)),
            )],
            None,
        ),
    }
}

fn axial_ratio(what: &str, p: &Pattern, cone: Angle) -> Figure {
    let at = |t: f64| -> Vec<f64> {
        (0..24)
            .filter_map(|k| {
                p.polarisation_at(Angle::deg(t), Angle::deg(15.0 * f64::from(k)))
                    .map(|s| s.axial_ratio().0.min(20.0))
            })
            .collect()
    };
    let end = (cone.as_deg() * 1.25).min(90.0);
    let angles: Vec<f64> = (0..=40).map(|i| end * f64::from(i) / 40.0).collect();
    let worst = angles
        .iter()
        .map(|&t| (t, at(t).into_iter().fold(0.0, f64::max)))
        .collect();
    let mean = angles
        .iter()
        .map(|&t| {
            let all = at(t);
            (t, all.iter().sum::<f64>() / all.len().max(1) as f64)
        })
        .collect();
    let edge = at(cone.as_deg()).into_iter().fold(0.0, f64::max);
    Figure {
        key: format!("{what}_axial_ratio"),
        caption: format!(
            "Axial ratio of the uplink {what} over the cone under which it sees the dish: 0 dB is a circle, 20 dB and more is \
             drawn as 20."
        ),
        svg: lines(
            &format!("Axial ratio of the uplink {what}"),
            "angle from the feed's axis, deg",
            "axial ratio, dB",
            &[
                ("worst azimuth".into(), worst),
                ("mean over azimuth".into(), mean),
            ],
            &[(
                cone.as_deg(),
                edge,
                format!("edge of the dish, {} deg", show::fixed(cone.as_deg(), 0)),
            )],
            None,
        ),
    }
}

fn currents(
    c: &CoilFeed,
    coil: &Coil,
    horn: &Horn,
    cone: Angle,
    up: Frequency,
    bench: Option<Bench>,
) -> Option<Figure> {
    let feed = UplinkFeed::Helix(HelixFeed {
        coil: *coil,
        ground: Ground::Disc(c.disc),
        tube: Some(Tube {
            radius: horn.outer_radius,
            front: horn.front,
            behind: Length::mm(20.0),
        }),
    });
    let driven = feed.solve(up, cone, Density::default()).ok()?.currents;
    let bench = bench?;
    let density = slantpath_wire::feed::shadow::shadow_density();
    let induced = bench.currents(coil, density).ok()?;
    // places along the wire from steps between middles
    let mut s = 0.0;
    let mut last: Option<[f64; 3]> = None;
    let induced: Vec<(f64, f64)> = induced
        .iter()
        .map(|(at, [x, y])| {
            if let Some(l) = last {
                s += (0..3).map(|i| (at[i] - l[i]).powi(2)).sum::<f64>().sqrt();
            }
            last = Some(*at);
            (s, (0.5 * (x * x + y * y)).sqrt())
        })
        .collect();
    let unit = |line: Vec<(f64, f64)>| -> Vec<(f64, f64)> {
        let most = line.iter().map(|p| p.1).fold(f64::MIN_POSITIVE, f64::max);
        line.into_iter().map(|(s, i)| (s * 1e3, i / most)).collect()
    };
    Some(Figure {
        key: "coil_currents".into(),
        caption: "Currents along the coil's wire from the disc to its open end, each over its own greatest: driven by the \
                  uplink, and induced by what the receive feed would radiate."
            .into(),
        svg: lines(
            "Currents on the coil",
            "along the wire, mm",
            "current over its greatest",
            &[
                (format!("uplink, {} GHz", ghz(up)), unit(driven)),
                (
                    format!("receive, {} GHz", ghz(bench.frequency())),
                    unit(induced),
                ),
            ],
            &[],
            None,
        ),
    })
}

fn shadow_map(
    memo: &Memo,
    coil: &Coil,
    horn: &Horn,
    dish: &slantpath_antenna::reflector::Reflector,
    stand: Stand,
    down: Frequency,
    bench: &dyn Fn() -> Option<Bench>,
) -> Option<Figure> {
    let (nx, ny) = MAP;
    let (d, w) = (coil.diameter.as_m(), coil.wire.as_m());
    let most = down.wavelength().as_m() * 0.115;
    let lo = (0.8 * d).max(2.0 * horn.outer_radius.as_m() + w + 1e-3);
    let (hi, thin, thick) = (1.3 * d, 0.5 * w, (1.75 * w).min(most));
    if !(hi > lo && thick > thin) {
        return None;
    }
    let xs: Vec<f64> = (0..nx)
        .map(|i| lo + (hi - lo) * i as f64 / (nx - 1) as f64)
        .collect();
    let ys: Vec<f64> = (0..ny)
        .map(|j| thin + (thick - thin) * j as f64 / (ny - 1) as f64)
        .collect();
    let coils: Vec<Coil> = ys
        .iter()
        .flat_map(|&y| xs.iter().map(move |&x| (x, y)))
        .map(|(x, y)| {
            coil.with(CoilDimension::Diameter, x)
                .with(CoilDimension::Wire, y)
        })
        .collect();
    let key = format!(
        "map 1 {} {coil:?} {horn:?} {dish:?} {stand:?} {down:?} {nx} {ny}",
        env!("CARGO_PKG_VERSION")
    );
    let density = Density {
        per_wavelength: 10.0,
        per_turn: 14.0,
        factor: 1.0,
    };
    let values = memo
        .figures(&key, || -> Result<Vec<f64>, ()> {
            let bench = bench().ok_or(())?;
            let points = solve_map(&bench, &coils, density, Surroundings::Free, &|| true);
            Ok(points
                .iter()
                .map(|p| p.shadow.as_ref().map_or(f64::NAN, |s| s.loss().0))
                .collect())
        })
        .ok()?;
    let values: Vec<Option<f64>> = values.iter().map(|v| v.is_finite().then_some(*v)).collect();
    let mm = |v: &[f64]| v.iter().map(|x| x * 1e3).collect::<Vec<f64>>();
    let (xs, ys) = (mm(&xs), mm(&ys));
    let valley = ys
        .iter()
        .enumerate()
        .filter_map(|(j, &y)| {
            xs.iter()
                .enumerate()
                .filter_map(|(i, &x)| Some((x, values.get(j * nx + i).copied().flatten()?)))
                .min_by(|a, b| a.1.total_cmp(&b.1))
                .map(|(x, _)| (x, y))
        })
        .collect();
    Some(Figure {
        key: "shadow_map".into(),
        caption: "What the uplink coil takes from the dish's receive signal, in best focus, over its diameter and wire; the rest \
                  of the coil as described."
            .into(),
        svg: map(
            "Receive shadow of the coil",
            &MapFigure {
                x_name: "coil diameter to the middle of the wire, mm".into(),
                y_name: "wire, mm".into(),
                value_name: "loss of the receive signal, dB (stronger: more)".into(),
                xs,
                ys,
                values,
                valley,
                mark: Some((d * 1e3, w * 1e3, "the coil as described".into())),
            },
        ),
    })
}
