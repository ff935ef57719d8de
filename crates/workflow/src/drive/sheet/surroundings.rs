//! Distances to keep, and the wind's load.

use super::super::surroundings::Surroundings;
use super::{answer, number};
use crate::predict::Predicted;
use slantpath_antenna::wind::WindLoad;
use slantpath_plan::Known;
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::figure::{SideView, side_view};
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Figure, Section, Sheet};
use slantpath_station::Station;

pub(super) fn exposure_section(
    sheet: &mut Sheet,
    station: &Station,
    p: &Predicted,
    x: &Surroundings,
) {
    let e = &x.exposure;
    let mut t = Table::new(
        "places",
        &[
            ("place", "place"),
            ("density", "mean density"),
            ("public", "distance, public limit"),
            ("occupational", "distance, occupational limit"),
        ],
    );
    for place in &e.places {
        let away = |k: Known| {
            if k.value > 0.0 {
                number(k.value + 2.0 * k.u, 1, "m")
            } else {
                Cell::Missing("not reached, or no place to be at all".into())
            }
        };
        t.rows.push(vec![
            Cell::Text(place.name.into()),
            number(
                place.w_m2.value,
                show::decimals_for(place.w_m2.u).unwrap_or(0),
                "W/m2",
            ),
            away(place.public),
            away(place.occupational),
        ]);
    }
    let get = |k: &str| e.place(k);
    let mut answers = Vec::new();
    for (key, id, label) in [
        ("axis", "exposure.axis", "in the beam"),
        ("rim", "exposure.rim", "past the rim, from the feed"),
        ("bare", "exposure.bare", "before the bare feed"),
    ] {
        if let Some(place) = get(key) {
            answers.push(answer(
                format!("{id}.public"),
                &format!("keep-out distance, public, {label}"),
                Unit::M,
                place.public,
            ));
            answers.push(answer(
                format!("{id}.occupational"),
                &format!("keep-out distance, occupational, {label}"),
                Unit::M,
                place.occupational,
            ));
        }
    }
    if let Some(b) = get("between") {
        answers.push(answer(
            "exposure.between".into(),
            b.name,
            Unit::WPerM2,
            b.w_m2,
        ));
    }
    let offered: Vec<String> = x
        .offered
        .iter()
        .map(|l| {
            format!(
                "{}: {} and {} W/m2",
                l.name,
                show::significant(l.public_w_m2, 3),
                show::significant(l.occupational_w_m2, 3)
            )
        })
        .collect();
    let mut s = Section::new("exposure", "where people must not be", answers).table(t).say(format!(
        "For {} W mean at the feed (strongest use: {}), limits {} and {} W/m2 for public and occupational exposure ({}). The table's distances hold two standard uncertainties more.",
        show::significant(e.mean_w.value, 3),
        x.passband,
        show::significant(e.limits.public_w_m2, 3),
        show::significant(e.limits.occupational_w_m2, 3),
        e.limits.name
    ));
    s.text.push(format!(
        "Offered, to be checked against what binds you: {}.",
        offered.join("; ")
    ));
    s.text.push(format!(
        "The near field ends {} m before the dish, the far field begins at {} m (OET 65).",
        show::significant(e.zones.0.as_m(), 2),
        show::significant(e.zones.1.as_m(), 2)
    ));
    sheet.sections.push(s);
    let pair = |k: &str| {
        get(k).map_or((0.0, 0.0), |p| {
            (
                p.public.value + 2.0 * p.public.u,
                p.occupational.value + 2.0 * p.occupational.u,
            )
        })
    };
    sheet.figures.push(Figure {
        key: "side_view".into(),
        caption: "The dish from the side with the distances to keep in the beam and past the rim."
            .into(),
        svg: side_view(
            "Keep-out distances",
            &SideView {
                diameter_m: x.radiating.diameter.as_m(),
                elevation_deg: p.model.geometry().apparent.elevation_deg,
                to_feed_m: x.radiating.to_dish.as_m(),
                axis_m: pair("axis"),
                rim_m: pair("rim"),
                height_m: station.site.height_above_ground.distribution.mean(),
                limits: e.limits.name.clone(),
            },
        ),
    });
}

/// Force, moment and pull on a bolt, or what to give for them.
pub(super) fn wind_section(wind: Option<(WindLoad, Option<f64>)>) -> Section {
    let Some((w, bolt)) = wind else {
        return Section::new("wind", "wind load", Vec::new()).say(
            "Give the gust and the force coefficient of your local code (`[wind]`, or --gust and --force-coefficient) for \
             force and moment.",
        );
    };
    let exact = |id: &str, label: &str, unit, v| Answer::known(id, label, unit, Estimate::exact(v));
    let mut answers = vec![
        exact(
            "wind.force",
            "force on the dish in the gust",
            Unit::N,
            w.force_n.round(),
        ),
        exact(
            "wind.moment",
            "moment at the clamp",
            Unit::Nm,
            w.moment_n_m.round(),
        ),
    ];
    if let Some(b) = bolt {
        answers.push(exact(
            "wind.bolt",
            "pull on one bolt by the moment, preload and shear apart",
            Unit::N,
            b.round(),
        ));
    }
    Section::new("wind", "wind load", answers)
        .say("Gust and force coefficient are yours, from the local code; nothing here replaces it.")
}
