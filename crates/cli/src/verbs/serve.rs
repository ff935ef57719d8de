//! `serve`.

use crate::args::Serve;
use crate::show::Output;
use slantpath_capture::source::SampleFormat;
use slantpath_web::{Announcement, ServeError, ServeOptions, serve};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::live::{LiveInput, LiveOptions};

/// Serves the pages of a station until it is stopped.
pub fn run(a: &Serve, out: &Output) -> Result<u8, WorkflowError> {
    let options = ServeOptions {
        station: a.station.clone(),
        port: a.port,
        lan: a.lan.then_some(a.lan_port),
        live: live(a)?,
        book: a.book.clone(),
        metrics: a.metrics,
    };
    serve(&options, |said| out.line(&text(said)))
        .map(|()| 0)
        .map_err(|e| match e {
            ServeError::Station(e) => e,
            ServeError::Machine { what, cause } => WorkflowError::Machine { path: what, cause },
        })
}

/// The live source of the arguments.
fn live(a: &Serve) -> Result<Option<LiveOptions>, WorkflowError> {
    let Some(source) = &a.live else {
        return Ok(None);
    };
    let format = a
        .format
        .as_deref()
        .map(|f| {
            f.parse::<SampleFormat>().map_err(|known| {
                WorkflowError::argument(
                    format!("`{f}` is not a sample format"),
                    format!("known are {known}"),
                )
            })
        })
        .transpose()?;
    Ok(Some(LiveOptions {
        input: LiveInput::read(source)?,
        format,
        rate_hz: a.rate,
        center_hz: a.center.map(|m| m * 1e6),
        branch: a.branch.clone(),
        lo_tolerance_hz: a.lo_tolerance.map(|k| k * 1e3),
    }))
}

fn text(said: &Announcement) -> String {
    let mut out = format!(
        "The chain sheet is at {}\nStop with Ctrl-C.\n",
        said.loopback
    );
    if let Some(n) = &said.network {
        out.push_str(&format!(
            "\nFor one phone on this network (the key works once):\n{}\n{}\n\n\
             The browser will warn that it does not know the certificate. Go on only if the\n\
             SHA-256 fingerprint that it shows is this one:\n{}\n\
             Without this the page would be readable by everybody on the network, the screen\n\
             could not be kept awake and tilt could not be read.\n",
            n.code, n.address, n.fingerprint
        ));
    }
    out
}
