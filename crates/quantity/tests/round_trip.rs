//! Units and written values lead back to where they came from, and no text whatever makes the reader fall over.

use proptest::prelude::*;
use slantpath_quantity::{
    Dimension, Unit, amplitude_from_db, amplitude_to_db, from_db, read_written, to_db,
};

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn every_unit_is_written_read_and_turned_back(x in -1e6..1e6f64, u in 0.0..10.0f64) {
        for unit in Unit::ALL {
            let text = format!("{x} {} ± {u}", unit.symbol());
            let Ok(w) = read_written(&text, unit.dimension()) else {
                // A plain number and a percentage want no unit or none beside them.
                prop_assert!(matches!(unit, Unit::One | Unit::Percent), "{}", text);
                continue;
            };
            prop_assert_eq!(w.unit, *unit, "{}", text);
            let back = unit.of_base(unit.to_base(x));
            prop_assert!((back - x).abs() <= 1e-9 * x.abs().max(300.0), "{}: {} {}", text, back, x);
            for name in unit.aliases() {
                prop_assert_eq!(Unit::read(name), Some(*unit), "{}", name);
            }
        }
    }

    #[test]
    fn decibels_lead_back(db in -300.0..300.0f64) {
        prop_assert!((to_db(from_db(db)) - db).abs() < 1e-10);
        prop_assert!((amplitude_to_db(amplitude_from_db(db)) - db).abs() < 1e-10);
        prop_assert!((amplitude_from_db(db).powi(2) / from_db(db) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn any_text_is_a_value_or_an_error(text in "\\PC{0,30}", nearly in "[-+0-9.eE±%a-zA-Z/ ]{0,24}") {
        for text in [&text, &nearly] {
            for dim in [Dimension::Length, Dimension::Ratio, Dimension::PowerLevel, Dimension::Frequency] {
                if let Err(e) = read_written(text, dim) {
                    prop_assert!(text.get(e.at.clone()).is_some(), "{:?} in {:?}", e.at, text);
                }
            }
            let _ = Unit::read(text);
        }
    }
}
