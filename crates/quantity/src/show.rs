//! How many digits may be shown.
//!
//! GUM 7.2.6: the uncertainty is quoted with at most two significant digits and the value is rounded to match.
//! Rule used here: two digits when the leading digits of `u` are 10..=35, else one (as the Particle Data Group
//! rounds; from memory).

/// Decimal places to show for a value with standard uncertainty `u` (may be negative: round to tens, hundreds ...).
/// `None` when `u` is zero or not finite.
pub fn decimals_for(u: f64) -> Option<i32> {
    if !(u.is_finite() && u > 0.0) {
        return None;
    }
    let exponent = u.log10().floor() as i32;
    let lead = u / 10f64.powi(exponent - 1); // 10.0 ..= 99.9
    Some(if lead < 35.5 { 1 - exponent } else { -exponent })
}

/// Formats `x` with `places` decimals; negative places round to tens, hundreds ...
pub fn fixed(x: f64, places: i32) -> String {
    let text = if places >= 0 {
        format!("{x:.p$}", p = places.min(15) as usize)
    } else {
        let scale = 10f64.powi(-places);
        format!("{:.0}", (x / scale).round() * scale)
    };
    // "-0.00" is not a number a person expects.
    if text.starts_with('-') && text[1..].chars().all(|c| c == '0' || c == '.') {
        text[1..].to_string()
    } else {
        text
    }
}

/// `("12.34", "0.05")`: value and u with the digits that are known. Without u the value keeps four significant digits.
pub fn value_and_u(value: f64, u: f64) -> (String, String) {
    match decimals_for(u) {
        Some(p) => (fixed(value, p), fixed(u, p)),
        None => (significant(value, 4), "0".to_string()),
    }
}

/// `x` with at most `n` significant digits, trailing zeros dropped.
pub fn significant(x: f64, n: i32) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let exponent = x.abs().log10().floor() as i32;
    let s = fixed(x, n - 1 - exponent);
    if s.contains('.') {
        s.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn never_more_digits_than_known() {
        assert_eq!(
            value_and_u(12.3456, 0.0512),
            ("12.35".into(), "0.05".into())
        );
        assert_eq!(
            value_and_u(12.3456, 0.0123),
            ("12.346".into(), "0.012".into())
        );
        assert_eq!(value_and_u(12.3456, 2.4), ("12.3".into(), "2.4".into()));
        assert_eq!(value_and_u(1234.0, 72.0), ("1230".into(), "70".into()));
        assert_eq!(value_and_u(1234.0, 220.0), ("1230".into(), "220".into()));
        assert_eq!(value_and_u(-0.001, 0.5), ("0.0".into(), "0.5".into()));
        assert_eq!(significant(22.0, 6), "22");
        assert_eq!(significant(0.012345678, 3), "0.0123");
    }
}
