//! `design`.

use super::command;
use crate::design_args::{Design, HornKind};
use crate::show::{Output, stop_on_interrupt};
use slantpath_quantity::{Decibel, Length};
use slantpath_report::{Provenance, Sheet};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::design::{
    Aperture, DesignOptions, Dimension, DimensionRange, HornChoice, PatchOptions, design_sheet,
    patch_sheet,
};
use slantpath_workflow::files::{load_station, write_new};
use slantpath_workflow::page::written_by;
use std::path::Path;

/// Searches and shows the curve; writes page and drawings when asked.
pub fn run(a: &Design, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let sheet = match patch(a)? {
        Some(p) => patch_sheet(station, &p)?,
        None => design_sheet(
            station,
            &options(a)?,
            &stop_on_interrupt(),
            &out.progress("designing"),
        )?,
    };
    if let Some(folder) = &a.drawings {
        drawings(folder, &sheet)?;
    }
    if let Some(page) = &a.out {
        let provenance = Provenance {
            inputs: loaded.inputs.clone(),
            seed: a.seed,
            trials: usize::try_from(a.tries).unwrap_or(usize::MAX),
            written_by: written_by(),
            command: command(),
        };
        let sheets = std::slice::from_ref(&sheet);
        write_new(
            page,
            &slantpath_report::page::html(&sheet.title, sheets, None, &provenance),
        )?;
    }
    out.sheets(&[sheet])
}

fn drawings(folder: &Path, sheet: &Sheet) -> Result<(), WorkflowError> {
    std::fs::create_dir_all(folder).map_err(|cause| WorkflowError::Machine {
        path: folder.display().to_string(),
        cause,
    })?;
    for f in &sheet.figures {
        write_new(&folder.join(format!("{}.svg", f.key)), &f.svg)?;
    }
    Ok(())
}

/// The patch that was asked for; its dimensions are judged by the model.
fn patch(a: &Design) -> Result<Option<PatchOptions>, WorkflowError> {
    let [outer, inner, height] = a.patch.as_slice() else {
        return Ok(None);
    };
    Ok(Some(PatchOptions {
        outer: Length::mm(*outer),
        inner: Length::mm(*inner),
        height: Length::mm(*height),
        joined: a.joined,
        four: !a.two_posts,
        feed_radius: a.post_radius.map(|x| mm("--post-radius", x)).transpose()?,
        post: mm("--post", a.post)?,
        disc: a.disc.map(|d| mm("--disc", d)).transpose()?,
        passband: a.passband.clone(),
    }))
}

fn mm(option: &str, x: f64) -> Result<Length, WorkflowError> {
    if x > 0.0 && x < 1000.0 {
        Ok(Length::mm(x))
    } else {
        Err(WorkflowError::argument(
            format!("{option} {x} is no size of a feed"),
            "give millimetres, above 0 and below 1000",
        ))
    }
}

fn options(a: &Design) -> Result<DesignOptions, WorkflowError> {
    let mut ranges = Vec::new();
    for (option, v, typed) in [
        ("--diameter", Dimension::Diameter, &a.diameter),
        ("--wire", Dimension::Wire, &a.wire),
        ("--pitch", Dimension::Pitch, &a.pitch),
        ("--turns", Dimension::Turns, &a.turns),
        ("--stub", Dimension::Stub, &a.stub),
        ("--front", Dimension::Front, &a.front),
    ] {
        if let Some(t) = typed {
            ranges.push((v, range(option, v, t)?));
        }
    }
    let horn = match (a.horn, a.horn_radius) {
        (Some(kind), Some(r)) => {
            let radius = mm("--horn-radius", r)?;
            Some(HornChoice {
                aperture: match kind {
                    HornKind::Te11 => Aperture::Te11,
                    HornKind::He11 => Aperture::He11,
                },
                radius,
                outer_radius: match a.horn_outer {
                    Some(o) => mm("--horn-outer", o)?,
                    None => radius + Length::mm(1.0),
                },
            })
        }
        _ => None,
    };
    let size = |k: usize| a.map_size.get(k).copied().unwrap_or(20);
    if !(2..=200).contains(&size(0)) || !(2..=200).contains(&size(1)) {
        return Err(WorkflowError::argument(
            format!("--map-size {} {} is no size of a map", size(0), size(1)),
            "give 2 to 200 coils each way, for example --map-size 20 20",
        ));
    }
    if !(a.axial_ratio > 0.0 && a.axial_ratio <= 40.0) {
        return Err(WorkflowError::argument(
            format!("--axial-ratio {} dB is no limit", a.axial_ratio),
            "give dB above 0: 0 is a perfect circle, 3 is usual",
        ));
    }
    Ok(DesignOptions {
        ranges,
        horn,
        disc: a.disc.map(|d| mm("--disc", d)).transpose()?,
        passband: a.passband.clone(),
        tries: usize::try_from(a.tries).unwrap_or(usize::MAX),
        shown: usize::try_from(a.rows).unwrap_or(usize::MAX),
        axial_ratio: Decibel(a.axial_ratio),
        seed: a.seed,
        choose: a.choose,
        map: a.map.as_deref().map(axes).transpose()?,
        map_size: [size(0), size(1)],
        error: mm("--error", a.error)?,
    })
}

/// `LOW..HIGH` or one value, in mm (turns: a number).
fn range(option: &str, v: Dimension, typed: &str) -> Result<DimensionRange, WorkflowError> {
    let (lo, hi) = typed.split_once("..").unwrap_or((typed, typed));
    let scale = if v == Dimension::Turns { 1.0 } else { 1e-3 };
    let read = |t: &str| {
        let t = t.trim().trim_end_matches("mm").trim();
        t.parse::<f64>().ok().filter(|x| x.abs() < 1000.0)
    };
    let fits = |x: f64| x > 0.0 || v == Dimension::Front;
    match (read(lo), read(hi)) {
        (Some(lo), Some(hi)) if lo <= hi && fits(lo) => Ok(DimensionRange {
            lo: lo * scale,
            hi: hi * scale,
        }),
        _ => Err(WorkflowError::argument(
            format!("{option} {typed} is no range"),
            format!(
                "give LOW..HIGH{}, the lower end first, for example {option} {}, or one value to fix it",
                if v == Dimension::Turns { "" } else { " in mm" },
                match v {
                    Dimension::Diameter => "36..48",
                    Dimension::Wire => "1..2",
                    Dimension::Pitch => "22..32",
                    Dimension::Turns => "2..4",
                    Dimension::Stub => "3..8",
                    Dimension::Front => "-6..6",
                }
            ),
        )),
    }
}

fn axes(typed: &str) -> Result<[Dimension; 2], WorkflowError> {
    let one = |t: &str| {
        Some(match t.trim() {
            "diameter" => Dimension::Diameter,
            "wire" => Dimension::Wire,
            "pitch" => Dimension::Pitch,
            "turns" => Dimension::Turns,
            "stub" => Dimension::Stub,
            _ => return None,
        })
    };
    typed
        .split_once(',')
        .and_then(|(x, y)| Some([one(x)?, one(y)?]))
        .filter(|[x, y]| x != y)
        .ok_or_else(|| {
            WorkflowError::argument(
                format!("--map {typed} does not name two dimensions"),
                "two of diameter, wire, pitch, turns, stub, for example --map diameter,pitch",
            )
        })
}
