//! `design`: which coils around the receive feed suit this dish.

mod figures;
mod patch;
mod setting;
mod sheet;
mod words;

use crate::WorkflowError;
use crate::drawings::{FeedOutline, UplinkOutline, dish_section, feed_section};
use slantpath_plan::design::{
    Effect, Found, FrontPoint, Range, Search, ShadowMap, Space, Sweep, Variable, Workbench, map,
    search, sweep, tolerance,
};
use slantpath_quantity::{Decibel, Length};
use slantpath_report::Sheet;
use slantpath_station::Station;
use slantpath_stats::{Progress, Stop};

pub use patch::{PatchOptions, patch_sheet};
pub use setting::HornChoice;
pub use slantpath_plan::design::{Range as DimensionRange, Variable as Dimension};
pub use slantpath_wire::feed::Aperture;

/// What was asked.
#[derive(Debug, Clone)]
pub struct DesignOptions {
    /// Ranges in place of the usual ones.
    pub ranges: Vec<(Variable, Range)>,
    /// Receive feed in place of the station file's.
    pub horn: Option<HornChoice>,
    /// Disc in place of the station file's.
    pub disc: Option<Length>,
    /// Passband whose frequencies are meant; the first that has an uplink.
    pub passband: Option<String>,
    /// Designs tried.
    pub tries: usize,
    /// Designs shown.
    pub shown: usize,
    /// Greatest axial ratio of the beam.
    pub axial_ratio: Decibel,
    /// Seed.
    pub seed: u64,
    /// Row of the curve to build, from 1; else the balanced one.
    pub choose: Option<usize>,
    /// Dimensions of the map.
    pub map: Option<[Variable; 2]>,
    /// Columns and rows of the map.
    pub map_size: [usize; 2],
    /// Error of every length whose effect is told.
    pub error: Length,
}

impl Default for DesignOptions {
    fn default() -> Self {
        Self {
            ranges: Vec::new(),
            horn: None,
            disc: None,
            passband: None,
            tries: 400,
            shown: 8,
            axial_ratio: Decibel(3.0),
            seed: 1,
            choose: None,
            map: None,
            map_size: [20, 20],
            error: Length::mm(0.5),
        }
    }
}

/// Everything that was worked out, for the sheet.
pub(crate) struct Designed {
    pub bench: Workbench,
    pub space: Space,
    pub found: Found,
    pub chosen: usize,
    pub effects: Vec<Effect>,
    /// Receive loss over the diameter, and what it teaches.
    pub wider: Sweep,
    pub map: Option<ShadowMap>,
    /// Receive figures are for this branch.
    pub heard: setting::Heard,
}

impl Designed {
    pub fn point(&self) -> Option<&FrontPoint> {
        self.found.front.get(self.chosen)
    }
}

/// Searches and writes the sheet with its drawings.
///
/// # Errors
/// A station without a receive feed by its dimensions, options that cannot be, nothing that can be built, a request to stop.
pub fn design_sheet(
    station: &Station,
    o: &DesignOptions,
    stop: &Stop,
    progress: &Progress,
) -> Result<Sheet, WorkflowError> {
    let (setting, mut space, heard) = setting::setting(station, o)?;
    for (v, r) in &o.ranges {
        space = space.with(*v, *r)?;
    }
    let bench = Workbench::new(setting, &space)?;
    let mapped = if o.map.is_some() { 0.7 } else { 1.0 };
    let asked = Search {
        space,
        tries: o.tries,
        shown: o.shown,
        axial_ratio: o.axial_ratio,
        seed: o.seed,
    };
    let found = search(&bench, &asked, stop, &progress.part(0.0, 0.9 * mapped))?;
    let chosen = match o.choose {
        Some(n) if (1..=found.front.len()).contains(&n) => n - 1,
        Some(n) => {
            return Err(WorkflowError::argument(
                format!("the curve has no row {n}"),
                format!("it has rows 1 to {}", found.front.len()),
            ));
        }
        None => found.balanced().unwrap_or(0),
    };
    let Some(point) = found.front.get(chosen) else {
        return Err(WorkflowError::argument(
            "the curve is empty",
            "allow wider ranges",
        ));
    };
    let effects = tolerance(&bench, point, o.error, stop)?;
    let wide = space.range(Variable::Diameter);
    let own = point.solved.geometry.get(Variable::Diameter);
    let around = Range {
        lo: wide.lo.min(0.8 * own),
        hi: wide.hi.max(1.3 * own),
    };
    let wider = sweep(
        &bench,
        &point.solved.geometry,
        (Variable::Diameter, around),
        9,
        stop,
    )?;
    let map = o
        .map
        .map(|[x, y]| {
            let axis = |v: Variable| {
                let r = space.range(v);
                let at = point.solved.geometry.get(v);
                let open = if r.is_open() {
                    r
                } else {
                    Range {
                        lo: 0.8 * at,
                        hi: 1.25 * at,
                    }
                };
                (v, open)
            };
            map(
                &bench,
                &point.solved.geometry,
                [axis(x), axis(y)],
                o.map_size,
                stop,
                &progress.part(0.9 * mapped, 1.0),
            )
        })
        .transpose()?;
    let d = Designed {
        bench,
        space,
        found,
        chosen,
        effects,
        wider,
        map,
        heard,
    };
    let mut sheet = sheet::sheet(station, o, &d);
    if let Some(p) = d.point() {
        let s = d.bench.setting();
        let outline = FeedOutline {
            radiator: Some(UplinkOutline::Coil(p.solved.geometry.coil)),
            horn: Some(slantpath_wire::feed::Horn {
                front: p.solved.geometry.front,
                ..s.horn.clone()
            }),
            disc: s.disc,
            disc_at: p.pair.disc,
        };
        sheet.figures.push(feed_section(&outline));
        sheet.figures.push(dish_section(
            &s.dish,
            Some(&outline),
            s.stand.elevation,
            s.stand.arm,
        ));
    }
    progress.report(1.0, "done");
    Ok(sheet)
}
