//! Ground floor: spectra, windows, filters, level and carrier estimators on samples.
