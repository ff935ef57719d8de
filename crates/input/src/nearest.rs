//! The nearest known name.

/// The candidate nearest to `word`, if one is near enough to be meant.
///
/// Near enough: the Damerau-Levenshtein distance (case ignored, `_` and `-` alike) is at most a third of the longer
/// length, at least 1; or one begins with the other and three letters agree. Ties go to the earlier candidate.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Nobody means a name by a text of this length, and the distance costs its square.
    const LONGEST: usize = 80;
    let word = folded(word);
    if word.is_empty() || word.len() > LONGEST {
        return None;
    }
    let mut best: Option<(usize, &str)> = None;
    for c in candidates {
        let f = folded(c);
        if f.is_empty() || f.len() > LONGEST {
            continue;
        }
        let longer = word.chars().count().max(f.chars().count());
        let shorter = word.chars().count().min(f.chars().count());
        let mut d = strsim::damerau_levenshtein(&word, &f);
        if d > (longer / 3).max(1) {
            if shorter >= 3 && (f.starts_with(&word) || word.starts_with(&f)) {
                d = longer; // acceptable, but behind every true near miss
            } else {
                continue;
            }
        }
        if best.is_none_or(|(b, _)| d < b) {
            best = Some((d, c));
        }
    }
    best.map(|(_, c)| c)
}

fn folded(s: &str) -> String {
    s.chars()
        .map(|c| if c == '-' || c == ' ' { '_' } else { c })
        .flat_map(char::to_lowercase)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_misses() {
        let known = ["noise_figure", "gain", "current", "lo", "lo_tolerance"];
        assert_eq!(nearest("noise_figuer", known), Some("noise_figure"));
        assert_eq!(nearest("noise-figure", known), Some("noise_figure"));
        assert_eq!(nearest("noise", known), Some("noise_figure"));
        assert_eq!(nearest("gian", known), Some("gain"));
        assert_eq!(nearest("Current", known), Some("current"));
        assert_eq!(nearest("l0", known), Some("lo"));
        assert_eq!(nearest("polarisation", known), None);
        assert_eq!(nearest("", known), None);
        assert_eq!(nearest(&"x".repeat(100_000), known), None);
    }
}
