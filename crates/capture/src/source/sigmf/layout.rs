//! Where the captures of a metadata file lie: among the bytes of the dataset, and in time.

use super::meta::{Capture, Meta};
use crate::source::about::Segment;
use crate::source::stream::Region;

impl Meta {
    /// Makes the stretches out of the captures. Samples before the first capture belong to none: left out.
    pub(super) fn settle(&mut self) {
        let Some(first) = self.captures.first().map(|c| c.start) else {
            return;
        };
        if first > 0 {
            self.about.warnings.push(format!(
                "no capture describes the first {first} samples; they were left out"
            ));
        }
        let fs = self.about.sample_rate_hz;
        let mut segments: Vec<Segment> = Vec::with_capacity(self.captures.len());
        for (k, c) in self.captures.iter().enumerate() {
            let before = k.checked_sub(1).and_then(|j| self.captures.get(j));
            segments.push(Segment {
                start_sample: c.start - first,
                center_hz: c.center_hz,
                datetime: c.datetime,
                contiguous: before.is_none_or(|b| follows(b, c, fs)),
            });
        }
        self.about.center_hz = segments.first().and_then(|s| s.center_hz);
        self.about.start = segments.first().and_then(|s| s.datetime);
        self.about.segments = segments;
        for a in &mut self.about.annotations {
            a.start_sample = a.start_sample.saturating_sub(first);
        }
    }

    /// Where samples lie in a dataset file of `length` bytes, and how many there are.
    pub(super) fn regions(&mut self, length: Option<u64>) -> Vec<Region> {
        let frame = (self.about.format.bytes_per_sample() * self.channels) as u64;
        let mut regions: Vec<Region> = Vec::new();
        let mut at = 0u64; // first sample not yet laid out
        let mut used = 0u64; // bytes laid out
        let mut skip = 0u64;
        let mut headers = false;
        for (k, c) in self.captures.iter().enumerate() {
            let samples = (c.start - at).saturating_mul(frame);
            if k == 0 {
                // Nothing describes what stands before the first capture.
                skip = samples;
            } else if c.header_bytes > 0 {
                regions.push(Region {
                    skip,
                    take: Some(samples),
                });
                skip = 0;
            } else {
                continue;
            }
            headers |= c.header_bytes > 0;
            used = used.saturating_add(samples).saturating_add(c.header_bytes);
            skip = skip.saturating_add(c.header_bytes);
            at = c.start;
        }
        let last = length.map(|n| n.saturating_sub(self.trailing_bytes).saturating_sub(used));
        regions.push(Region { skip, take: last });
        let bytes: Option<u64> = last.map(|l| {
            regions
                .iter()
                .rev()
                .skip(1)
                .filter_map(|r| r.take)
                .fold(l, u64::saturating_add)
        });
        self.about.total_samples = bytes.map(|b| b / frame);
        if headers && length.is_none() {
            self.about.warnings.push(
                "the length of the dataset is not known; trailing bytes count as samples".into(),
            );
        }
        if let Some(total) = self.about.total_samples {
            let described = self.about.segments.len();
            self.about
                .segments
                .retain(|s| s.start_sample == 0 || s.start_sample < total);
            let lost = described - self.about.segments.len();
            if lost > 0 {
                self.about.warnings.push(format!(
                    "{lost} capture(s) begin after the last of {total} samples"
                ));
            }
        }
        regions
    }
}

/// Whether `c` begins when `b` ends: by index into the original stream, else by time within 2 ms and half a
/// sample (times are often written to the millisecond), else as nothing says otherwise.
fn follows(b: &Capture, c: &Capture, fs: Option<f64>) -> bool {
    let samples = c.start - b.start;
    if let (Some(gb), Some(gc)) = (b.global_index, c.global_index) {
        return gb.checked_add(samples) == Some(gc);
    }
    if let (Some(tb), Some(tc), Some(fs)) = (b.datetime, c.datetime, fs) {
        let expected = samples as f64 / fs;
        return (tc.duration_since(tb).as_secs_f64() - expected).abs() <= 2e-3 + 0.5 / fs;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::sigmf::meta::read_meta;

    fn with(global: &str, captures: &str) -> Meta {
        let text = format!(
            "{{\"global\":{{\"core:datatype\":\"cu8\"{global}}},\"captures\":[{captures}]}}"
        );
        read_meta("x.sigmf-meta", "x", text.as_bytes()).unwrap()
    }

    #[test]
    fn headers_and_offsets_are_laid_out() {
        let mut m = with(
            ",\"core:offset\":100,\"core:trailing_bytes\":4",
            "{\"core:sample_start\":102,\"core:header_bytes\":16},
             {\"core:sample_start\":105},
             {\"core:sample_start\":110,\"core:header_bytes\":8,\"core:frequency\":1e9}",
        );
        let regions = m.regions(Some(4 + 16 + 16 + 8 + 20 + 4));
        assert_eq!(
            regions,
            [
                Region {
                    skip: 20,
                    take: Some(16)
                },
                Region {
                    skip: 8,
                    take: Some(20)
                }
            ]
        );
        assert_eq!(m.about.total_samples, Some(18));
        assert_eq!(
            m.about
                .segments
                .iter()
                .map(|s| s.start_sample)
                .collect::<Vec<_>>(),
            [0, 3, 8]
        );
        assert_eq!(m.about.segments[2].center_hz, Some(1e9));
    }

    #[test]
    fn a_gap_shows_in_time_or_index() {
        let c = |a: &str, b: &str| {
            let two = format!("{{\"core:sample_start\":0,{a}}},{{\"core:sample_start\":1000,{b}}}");
            with(",\"core:sample_rate\":1000", &two).about.segments[1].contiguous
        };
        let t = |s: &str| format!("\"core:datetime\":\"2031-04-02T09:00:{s}Z\"");
        assert!(c(&t("00.000"), &t("01.000")));
        assert!(!c(&t("00.000"), &t("01.100")));
        assert!(c("\"core:global_index\":7", "\"core:global_index\":1007"));
        assert!(!c("\"core:global_index\":7", "\"core:global_index\":1008"));
    }
}
