//! `[part.NAME]`.

use super::bounds as b;
use super::desk::{Kind, Scope};
use super::{part_active, part_passive};
use crate::checked::{Part, PartKind};
use slantpath_quantity::{Dimension, Distribution, Frequency};

#[derive(Clone, Copy)]
enum Word {
    Lnb,
    Cable,
    Splitter,
    Connector,
    Attenuator,
    Filter,
    BiasTee,
    Amplifier,
    Receiver,
    Transmitter,
}

const WORDS: &[(&str, Word)] = &[
    ("lnb", Word::Lnb),
    ("cable", Word::Cable),
    ("splitter", Word::Splitter),
    ("connector", Word::Connector),
    ("attenuator", Word::Attenuator),
    ("filter", Word::Filter),
    ("bias-tee", Word::BiasTee),
    ("amplifier", Word::Amplifier),
    ("receiver", Word::Receiver),
    ("transmitter", Word::Transmitter),
];

/// A part; `None` when its kind is not known, which is noted.
pub(crate) fn part(name: &str, mut s: Scope<'_, '_>) -> Option<Part> {
    if let Some(l) = s.sec.text("label", &mut s.desk.problems) {
        s.label = l.to_string();
    }
    if !s.sec.has("kind") {
        let kinds: Vec<String> = WORDS.iter().map(|(w, _)| format!("\"{w}\"")).collect();
        s.sec
            .missing("kind", &kinds.join(", "), &mut s.desk.problems);
        return None;
    }
    let word = s.sec.choice("kind", WORDS, &mut s.desk.problems)?;
    let kind = match word {
        Word::Lnb => PartKind::Lnb(part_active::lnb(&mut s)),
        Word::Cable => PartKind::Cable(part_passive::cable(&mut s)),
        Word::Splitter => PartKind::Splitter(part_passive::splitter(&mut s)),
        Word::Connector => PartKind::Connector(part_passive::connector(&mut s)),
        Word::Attenuator => PartKind::Attenuator(part_passive::attenuator(&mut s)),
        Word::Filter => PartKind::Filter(part_passive::filter(&mut s)),
        Word::BiasTee => PartKind::BiasTee(part_passive::bias_tee(&mut s)),
        Word::Amplifier => PartKind::Amplifier(part_active::amplifier(&mut s)),
        Word::Receiver => PartKind::Receiver(part_active::receiver(&mut s)),
        Word::Transmitter => PartKind::Transmitter(part_active::transmitter(&mut s)),
    };
    let label = s.label.clone();
    s.done();
    Some(Part {
        name: name.to_string(),
        label,
        kind,
    })
}

/// A tolerance either way in Hz, written as a frequency or in ppm of `of`.
pub(crate) fn tolerance_hz(
    s: &mut Scope<'_, '_>,
    key: &'static str,
    of: Frequency,
) -> Option<Distribution> {
    let node = s.sec.get(key)?;
    let in_ppm = matches!(&node.value, slantpath_input::toml::Value::Text(t) if t.trim_end().ends_with("ppm"));
    let hz = if in_ppm {
        let ppm = s
            .desk
            .exact(node, key, Kind::Plain(Dimension::PartsPerMillion), b::PPM)?;
        ppm * 1e-6 * of.as_hz()
    } else {
        s.desk.exact(
            node,
            key,
            Kind::Plain(Dimension::Frequency),
            b::FREQUENCY_SHIFT,
        )?
    };
    Some(super::desk::either_way(0.0, hz))
}
