//! Every page in every light kept to the rules that matter for people who do not see, hear or point as others do.
//!
//! With the path of axe-core's script in `SLANTPATH_AXE` its rules are asked too.

use crate::driver::browser;
use crate::{Server, station};
use serde_json::Value;

const PAGES: &[&str] = &[
    "/",
    "/?part=part.lnb&part.lnb.noise_figure=0.3%20dB%20%C2%B1%200.1",
    "/?part=reflector",
    "/figures",
    "/drawings/dish",
    "/drawings/noise?part.lnb.noise_figure=0.3%20dB",
    "/drawings/budget",
    "/drawings/spectrum",
    "/drawings/trial",
    "/drawings/drive",
    "/sky",
    "/recordings",
    "/book",
    "/book/write",
    "/book/contact",
    "/book/series",
    "/book/echo",
    "/sheet",
    "/phone",
    "/live",
    "/dish",
];

#[test]
fn every_page_can_be_used_by_everybody() {
    let axe = std::env::var_os("SLANTPATH_AXE")
        .map(|p| std::fs::read_to_string(p).expect("the script that SLANTPATH_AXE names"));
    if axe.is_none() {
        println!("axe-core is not given (SLANTPATH_AXE): own rules only");
    }
    let (_folder, path) = station();
    let s = Server::start(&path, &["--port", "0", "--live", "simulated"]);
    let mut wrong = Vec::new();
    for (width, height) in [(1280, 800), (390, 844)] {
        let Some(b) = browser(width, height) else {
            return;
        };
        for page in PAGES {
            b.open(&s.at(page));
            b.until("whole", "return document.readyState === 'complete' && !document.querySelector('[data-solving]')");
            for light in ["", "light", "dark"] {
                b.run(&format!("document.documentElement.className = '{light}'"));
                let found = b.run(include_str!("audit.js"));
                for f in found.as_array().into_iter().flatten() {
                    let f = f.as_str().unwrap_or_default();
                    wrong.push(format!("{width} px, {page}, {light}: {f}"));
                }
            }
            let Some(axe) = &axe else { continue };
            b.run(axe);
            b.run(
                "window.said = null; axe.run(document, { resultTypes: ['violations'] }).then(r => { window.said = \
                 r.violations.filter(v => ['serious', 'critical'].includes(v.impact)).map(v => v.id + ': ' + \
                 v.nodes.map(n => n.html).join(' | ').slice(0, 300)); }, e => { window.said = [String(e)]; })",
            );
            b.until("axe", "return window.said !== null");
            for v in b.run("return window.said").as_array().into_iter().flatten() {
                wrong.push(format!(
                    "{width} px, {page}: axe: {}",
                    Value::as_str(v).unwrap_or_default()
                ));
            }
        }
    }
    wrong.sort();
    wrong.dedup();
    assert!(
        wrong.is_empty(),
        "{} faults:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}
