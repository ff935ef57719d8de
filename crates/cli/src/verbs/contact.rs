//! `contact`.

use super::book::{loaded, path, reading, which};
use crate::book_args::{Contact, ContactWhat};
use crate::show::Output;
use jiff::Timestamp;
use slantpath_book::contact::Heard;
use slantpath_quantity::Estimate;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::open;
use slantpath_workflow::contacts::{
    add, adif_in, adif_out, brought_sheet, contact_map, echo_sheet, fill, list_sheet,
};
use slantpath_workflow::echo::measure_echo;
use slantpath_workflow::files::{load_station, write_new};

/// Writes, lists, exchanges and maps contacts.
pub fn run(a: &Contact, out: &Output) -> Result<u8, WorkflowError> {
    let now = Timestamp::now();
    match &a.what {
        ContactWhat::Add {
            of,
            call,
            mode,
            up,
            down,
            locator,
            sent,
            received,
            power,
            comment,
            dated,
        } => {
            let file = loaded(of, out)?;
            let station = file.station(of.station.variant.as_deref())?;
            let (mut book, _) = open(&path(of), now)?;
            let mut heard = Heard {
                call: call.clone(),
                at: dated.at.unwrap_or(now),
                mode: mode.clone(),
                up_mhz: *up,
                down_mhz: *down,
                locator: locator.clone(),
                sent: sent.clone(),
                received: received.clone(),
                power_w: *power,
                comment: comment.clone(),
                ..Heard::default()
            };
            fill(station, &book, &mut heard)?;
            out.sheets(&[add(&mut book, station, &heard, dated.corrects, now)?])
        }
        ContactWhat::List { of, which: w } => {
            out.sheets(&[list_sheet(&reading(of)?, &which(w, &[], false)?)?])
        }
        ContactWhat::AdifOut {
            of,
            out: file,
            which: w,
        } => {
            let (text, n) = adif_out(&reading(of)?, &which(w, &[], false)?, now)?;
            write_new(file, &text)?;
            out.done(
                "contact",
                &format!("wrote {}: {n} contact(s)", file.display()),
            )
        }
        ContactWhat::AdifIn {
            of,
            file,
            skip_faulty,
        } => {
            let station = loaded(of, out)?;
            let station = station.station(of.station.variant.as_deref())?;
            let (mut book, _) = open(&path(of), now)?;
            let brought = adif_in(&mut book, station, file, *skip_faulty, now)?;
            out.warnings(&brought.warnings);
            out.sheets(&[brought_sheet(&book, &brought)])
        }
        ContactWhat::Map {
            of,
            out: file,
            exact_place,
            which: w,
        } => {
            let station = loaded(of, out)?;
            let station = station.station(of.station.variant.as_deref())?;
            let map = contact_map(&reading(of)?, station, &which(w, &[], false)?, *exact_place)?;
            write_new(file, &map.geojson)?;
            let place = if *exact_place {
                "the own place exact"
            } else {
                "the own place as the centre of its four-character square"
            };
            out.done(
                "contact",
                &format!(
                    "wrote {}: {} contact(s), {} without a readable locator left out; {place}",
                    file.display(),
                    map.drawn,
                    map.without_locator
                ),
            )
        }
        ContactWhat::Echo {
            station,
            recording,
            processing,
            longest,
            off_tune,
            at,
        } => {
            let file = load_station(&station.station)?;
            out.warnings(&file.warnings);
            let s = file.station(station.variant.as_deref())?;
            let stated = match processing.as_slice() {
                [ms, u] if ms.is_finite() && u.is_finite() && *ms >= 0.0 && *u >= 0.0 => {
                    Estimate::normal(*ms, *u)
                }
                _ => {
                    return Err(WorkflowError::argument(
                        "--processing cannot be used",
                        "a delay and its standard uncertainty in ms, neither negative",
                    ));
                }
            };
            let measured = recording
                .as_ref()
                .map(|r| measure_echo(r, *longest, *off_tune))
                .transpose()?;
            out.sheets(&[echo_sheet(s, &stated, measured, at.unwrap_or(now))?])
        }
    }
}
