//! Figures: SVG and HTML text with axes, units and hover text. No script, no outside reference, no identifiers that
//! could clash when several stand in one page; colours follow the page in light, dark and print.
//!
//! Values that are not finite leave a gap or the word "undetermined", never a broken drawing.

mod canvas;
mod chain;
mod constellation;
mod intervals;
mod ledger;
mod lines;
mod map;
mod markup;
mod section;
mod side_view;
mod spectrum;
mod stack;
mod trial;

pub(crate) use canvas::minus;
pub use chain::{ChainSheet, Stage, chain_html};
pub use constellation::{Constellation, constellation};
pub use intervals::{IntervalRow, interval_table};
pub use ledger::ledger;
pub use lines::lines;
pub use map::{MapFigure, map};
pub use markup::{MarkupError, escape, self_contained, well_formed};
pub use section::{CrossSection, Outline, Stroke, cross_section};
pub use side_view::{SideView, side_view};
pub use spectrum::spectrum;
pub use stack::{Stack, efficiency_stack};
pub use trial::trial;

#[cfg(test)]
mod tests {
    use super::*;

    const BAD: [f64; 6] = [
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        1e308,
        -1e308,
        5e-324,
    ];
    const HOSTILE: &str = "</title></svg><script>alert(\"1\")</script>&'\u{0}";

    fn sound(svg: &str) {
        self_contained(svg).unwrap_or_else(|e| panic!("{e}: {svg}"));
        for word in ["NaN", "inf", "<script"] {
            assert!(!svg.contains(word), "{word}: {svg}");
        }
    }

    #[test]
    fn any_number_and_any_text_give_a_sound_drawing() {
        let label = HOSTILE.to_string();
        for a in BAD.into_iter().chain([0.0, -3.0, 42.0]) {
            for b in BAD.into_iter().chain([0.0, -3.0, 42.0]) {
                sound(&ledger(
                    HOSTILE,
                    &[(label.clone(), a, b), (label.clone(), 1.0, 0.1)],
                ));
                sound(&spectrum(
                    HOSTILE,
                    &[a, b, 1.0, 2.0],
                    &[b, a, -100.0, a],
                    Some(&[a, b]),
                    &[(a, b, label.clone())],
                ));
                sound(&lines(
                    HOSTILE,
                    HOSTILE,
                    HOSTILE,
                    &[(label.clone(), vec![(a, b), (0.0, 1.0), (b, a)])],
                    &[(b, a, label.clone())],
                    Some((a, label.clone())),
                ));
                sound(&side_view(
                    HOSTILE,
                    &SideView {
                        diameter_m: a,
                        elevation_deg: b,
                        axis_m: (a, b),
                        limits: label.clone(),
                        ..SideView::default()
                    },
                ));
                sound(&cross_section(
                    HOSTILE,
                    &CrossSection {
                        outlines: vec![Outline {
                            points: vec![(a, b), (0.0, 1.0), (b, a)],
                            stroke: Stroke::Wire,
                            label: label.clone(),
                        }],
                        places: vec![(b, a, label.clone())],
                        unit: label.clone(),
                        notes: vec![label.clone()],
                    },
                ));
                sound(&map(
                    HOSTILE,
                    &MapFigure {
                        x_name: label.clone(),
                        y_name: label.clone(),
                        value_name: label.clone(),
                        xs: vec![0.0, a],
                        ys: vec![1.0, 2.0],
                        values: vec![Some(a), Some(b), None, Some(1.0)],
                        valley: vec![(a, b), (b, a)],
                        mark: Some((a, b, label.clone())),
                    },
                ));
                sound(&efficiency_stack(
                    HOSTILE,
                    &[
                        Stack {
                            label: label.clone(),
                            parts: vec![(label.clone(), a), ("x".into(), b)],
                        },
                        Stack {
                            label: label.clone(),
                            parts: vec![("x".into(), a)],
                        },
                    ],
                ));
                sound(&trial(
                    HOSTILE,
                    &[(a, b, true), (b, a, false)],
                    a,
                    b,
                    a,
                    HOSTILE,
                ));
                sound(&interval_table(
                    HOSTILE,
                    &[IntervalRow {
                        label: label.clone(),
                        unit: label.clone(),
                        predicted: Some((a, b)),
                        measured: Some((b, a)),
                        u_difference: Some(b),
                    }],
                ));
            }
        }
        sound(&ledger("", &[]));
        sound(&spectrum("", &[], &[], None, &[]));
        sound(&trial("", &[], 0.0, 0.0, 0.0, ""));
        sound(&interval_table("", &[]));
        sound(&cross_section("", &CrossSection::default()));
        sound(&map("", &MapFigure::default()));
        sound(&efficiency_stack("", &[]));
    }

    #[test]
    fn a_section_has_one_scale_for_both_directions() {
        let outline = |points| Outline {
            points,
            stroke: Stroke::Metal,
            label: String::new(),
        };
        let s = cross_section(
            "s",
            &CrossSection {
                outlines: vec![outline(vec![(0.0, 0.0), (2.0, 0.0), (2.0, 1.0)])],
                unit: "m".into(),
                ..CrossSection::default()
            },
        );
        let d = s
            .split("<path d=\"M")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        let p: Vec<f64> = d.split(['L', ' ']).map(|x| x.parse().unwrap()).collect();
        let (across, up) = (p[2] - p[0], p[3] - p[5]);
        assert!((across / up - 2.0).abs() < 0.01, "{d}");
    }

    #[test]
    fn stronger_cells_are_more() {
        let m = MapFigure {
            xs: vec![1.0, 2.0],
            ys: vec![1.0, 2.0],
            values: vec![Some(0.0), Some(1.0), None, Some(0.5)],
            ..MapFigure::default()
        };
        let s = map("m", &m);
        let cell = |text: &str| -> f64 {
            let rest = s.split(text).nth(1).unwrap();
            let v = rest.split("fill-opacity=\"").nth(1).unwrap();
            v.split('"').next().unwrap().parse().unwrap()
        };
        assert!(cell("1, 1: 0.00") < cell("2, 2: 0.50"));
        assert!(cell("2, 2: 0.50") < cell("2, 1: 1.00"));
        assert!(s.contains("1, 2: none"));
    }

    #[test]
    fn the_trial_tells_its_sides_without_colour() {
        let s = trial(
            "swap",
            &[(0.0, 49.0, false), (0.5, 48.3, true)],
            -0.7,
            -0.85,
            -0.55,
            "dBHz",
        );
        assert!(
            s.contains("<title>side A, 0.00 h: 49.000 dBHz</title><circle"),
            "{s}"
        );
        assert!(
            s.contains("<title>side B, 0.50 h: 48.300 dBHz</title><path"),
            "{s}"
        );
        assert!(
            s.contains("difference −0.70 dB, interval −0.85 to −0.55"),
            "{s}"
        );
        assert!(s.contains("no difference"));
    }

    #[test]
    fn a_row_is_placed_in_units_of_its_own_uncertainty() {
        let row = IntervalRow {
            label: "beacon C/N0".into(),
            unit: "dBHz".into(),
            predicted: Some((50.0, 0.3)),
            measured: Some((49.0, 0.4)),
            u_difference: None,
        };
        // hypot(0.3, 0.4) = 0.5, so the measurement lies 2 below.
        assert!(interval_table("t", &[row]).contains(">−2.0</text>"));
    }

    #[test]
    fn the_chain_reads_in_order_and_escapes() {
        let stage = |n: &str| Stage {
            name: n.into(),
            what: HOSTILE.into(),
            predicted: Some("<i>1</i>".into()),
            ..Stage::default()
        };
        let h = chain_html(&ChainSheet {
            receive: vec![stage("dish"), stage("LNB")],
            transmit: vec![stage("amplifier")],
        });
        well_formed(&h).unwrap();
        assert!(!h.contains("<i>") && !h.contains("<script"));
        let at = |s: &str| h.find(s).unwrap();
        assert!(at("dish") < at("LNB") && at("LNB") < at("amplifier"));
    }
}
