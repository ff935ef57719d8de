//! Physics: the waveforms on the transponder: DVB-S2, beacons, speech.
