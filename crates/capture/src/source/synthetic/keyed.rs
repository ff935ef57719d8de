//! A carrier keyed with Morse code (ITU-R M.1677-1: dot 1, dash 3, gaps 1, 3 and 7 units).

/// Dots and dashes of a character, or `None` if it has none here.
pub(super) fn code(c: char) -> Option<&'static str> {
    Some(match c {
        'A' => ".-",
        'B' => "-...",
        'C' => "-.-.",
        'D' => "-..",
        'E' => ".",
        'F' => "..-.",
        'G' => "--.",
        'H' => "....",
        'I' => "..",
        'J' => ".---",
        'K' => "-.-",
        'L' => ".-..",
        'M' => "--",
        'N' => "-.",
        'O' => "---",
        'P' => ".--.",
        'Q' => "--.-",
        'R' => ".-.",
        'S' => "...",
        'T' => "-",
        'U' => "..-",
        'V' => "...-",
        'W' => ".--",
        'X' => "-..-",
        'Y' => "-.--",
        'Z' => "--..",
        '0' => "-----",
        '1' => ".----",
        '2' => "..---",
        '3' => "...--",
        '4' => "....-",
        '5' => ".....",
        '6' => "-....",
        '7' => "--...",
        '8' => "---..",
        '9' => "----.",
        _ => return None,
    })
}

/// Length of an edge.
const EDGE_S: f64 = 5e-3;

/// A key line that repeats: pieces of key up and key down.
pub(super) struct Key {
    /// End of each piece within the round, and whether the key is down in it; states alternate.
    pieces: Vec<(f64, bool)>,
    round_s: f64,
}

impl Key {
    pub(super) fn new(text: &str, words_per_minute: f64, dash_s: f64) -> Self {
        let unit = 1.2 / words_per_minute;
        let mut pieces: Vec<(f64, bool)> = Vec::new();
        let mut end = 0.0;
        let mut add = |down: bool, units: f64, unit: f64| {
            if units * unit <= 0.0 {
                return;
            }
            end += units * unit;
            match pieces.last_mut() {
                Some(last) if last.1 == down => last.0 = end,
                _ => pieces.push((end, down)),
            }
        };
        for c in text.chars() {
            for element in code(c).unwrap_or_default().chars() {
                add(true, if element == '.' { 1.0 } else { 3.0 }, unit);
                add(false, 1.0, unit);
            }
            add(false, if c == ' ' { 4.0 } else { 2.0 }, unit);
        }
        add(true, 1.0, dash_s);
        add(false, 7.0, unit);
        Self {
            round_s: end,
            pieces,
        }
    }

    /// The key line at a time: 0 up, 1 down, raised-cosine edges between.
    pub(super) fn at(&self, t_s: f64) -> f64 {
        let t = t_s.rem_euclid(self.round_s);
        let k = self.pieces.partition_point(|(end, _)| *end <= t);
        let Some((end, down)) = self.pieces.get(k) else {
            return 0.0;
        };
        let start = k
            .checked_sub(1)
            .and_then(|j| self.pieces.get(j))
            .map_or(0.0, |p| p.0);
        // Rounds begin and end differently (key down after the gap), so that their seam is an edge as any other.
        let near = (t - start).min(end - t);
        let inside = edge(near);
        if *down { inside } else { 1.0 - inside }
    }
}

/// The edge at a distance into the new state.
fn edge(d_s: f64) -> f64 {
    let x = d_s / EDGE_S;
    if x >= 0.5 {
        1.0
    } else {
        0.5 + x + (std::f64::consts::TAU * x).sin() / std::f64::consts::TAU
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paris_is_fifty_units() {
        // ITU-R M.1677-1: the standard word with its gap lasts 50 units.
        let key = Key::new("PARIS", 12.0, 0.0);
        assert!(
            (key.round_s - (50.0 + 3.0) * 0.1).abs() < 1e-9,
            "{}",
            key.round_s
        );
        // 22 of them key-down; edges are symmetric and do not change the mean.
        let n = 530_000;
        let mean: f64 = (0..n).map(|k| key.at(f64::from(k) * 1e-5)).sum::<f64>() / f64::from(n);
        assert!((mean - 22.0 / 53.0).abs() < 1e-4, "{mean}");
    }

    #[test]
    fn the_line_is_smooth_over_the_seam() {
        let key = Key::new("QQ0AAA", 20.0, 1.0);
        let mut before = key.at(0.0);
        for k in 1..2_000_000 {
            let now = key.at(f64::from(k) * 1e-5);
            assert!((now - before).abs() < 0.005, "{k}");
            assert!((0.0..=1.0).contains(&now));
            before = now;
        }
    }
}
