//! Drawings of a search: the curve, wider and narrower coils, the map.

use super::Designed;
use super::words::value;
use slantpath_plan::design::{ShadowMap, Variable};
use slantpath_report::Figure;
use slantpath_report::figure::{MapFigure, lines, map};

pub(super) fn front_figure(d: &Designed) -> Figure {
    let curve: Vec<(f64, f64)> = d.found.coarse.iter().map(|[g, t]| (*g, *t)).collect();
    let marks: Vec<(f64, f64, String)> = d
        .found
        .front
        .iter()
        .map(|p| {
            let g = &p.solved.geometry;
            (
                p.pair.gain_dbi,
                p.pair.g_over_t_db,
                format!(
                    "{} mm coil, {} mm wire, {} turns",
                    value(Variable::Diameter, g.get(Variable::Diameter)),
                    value(Variable::Wire, g.get(Variable::Wire)),
                    value(Variable::Turns, g.get(Variable::Turns)),
                ),
            )
        })
        .collect();
    Figure {
        key: "front".into(),
        caption: "What gain costs in G/T: the curve of all designs tried (coarse), the numbered ones solved again (fine).".into(),
        svg: lines(
            "Uplink gain against receive G/T",
            "uplink gain of the dish, right sense, dBi",
            "change of G/T, dB",
            &[("best of all designs tried".into(), curve)],
            &marks,
            None,
        ),
    }
}

pub(super) fn wider_figure(d: &Designed) -> Figure {
    let line = |k: usize| -> Vec<(f64, f64)> {
        d.wider.points.iter().map(|p| (p[0] * 1e3, p[k])).collect()
    };
    Figure {
        key: "wider".into(),
        caption: "The chosen coil made narrower and wider: what the dish loses of its receive signal, and what the feed loses on \
                  its own axis, which is not the answer."
            .into(),
        svg: lines(
            "Receive loss against coil diameter",
            "coil diameter to the middle of the wire, mm",
            "loss, dB",
            &[
                ("dish, in best focus".into(), line(1)),
                ("on the feed's axis".into(), line(2)),
            ],
            &[],
            None,
        ),
    }
}

pub(super) fn map_figure(d: &Designed, m: &ShadowMap) -> Figure {
    let scale = |v: Variable| if v == Variable::Turns { 1.0 } else { 1e3 };
    let name = |v: Variable| {
        if v == Variable::Turns {
            v.name().to_string()
        } else {
            format!("{}, mm", v.name())
        }
    };
    let values = |all: &[f64], v: Variable| all.iter().map(|x| x * scale(v)).collect();
    let mark = d.point().map(|p| {
        let g = &p.solved.geometry;
        (
            g.get(m.x) * scale(m.x),
            g.get(m.y) * scale(m.y),
            format!("row {}", d.chosen + 1),
        )
    });
    Figure {
        key: "shadow_map".into(),
        caption: "What the coil takes from the receive signal, in best focus, everything but these two dimensions as in the chosen \
                  row."
            .into(),
        svg: map(
            "Receive shadow of the coil",
            &MapFigure {
                x_name: name(m.x),
                y_name: name(m.y),
                value_name: "loss of the receive signal, dB (stronger: more)".into(),
                xs: values(&m.xs, m.x),
                ys: values(&m.ys, m.y),
                values: m.loss_db.clone(),
                valley: m
                    .valley()
                    .into_iter()
                    .map(|(x, y, _)| (x * scale(m.x), y * scale(m.y)))
                    .collect(),
                mark,
            },
        ),
    }
}
