//! Physics: the waveforms on the transponder: DVB-S2, beacons, speech.

mod modcod;

pub use modcod::{MODCODS, Modcod, Modulation, modcod, threshold_es_n0_db};
