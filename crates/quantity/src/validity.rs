//! Inside or outside a model's range, and why. Nothing is silently clamped.

/// Whether a value stands inside the range in which its model was validated.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Validity {
    /// Every model used was inside its stated range.
    #[default]
    Inside,
    /// At least one model was used outside its stated range; each reason says which, where, and the range.
    Outside(Vec<String>),
}

impl Validity {
    /// Outside for one reason.
    pub fn outside(reason: impl Into<String>) -> Self {
        Self::Outside(vec![reason.into()])
    }
    /// True when inside.
    pub fn is_inside(&self) -> bool {
        matches!(self, Self::Inside)
    }
    /// The reasons, empty when inside.
    pub fn reasons(&self) -> &[String] {
        match self {
            Self::Inside => &[],
            Self::Outside(r) => r,
        }
    }
    /// Both validities together, reasons kept once each in order.
    pub fn and(self, other: Validity) -> Self {
        let mut reasons: Vec<String> = self.reasons().to_vec();
        for r in other.reasons() {
            if !reasons.contains(r) {
                reasons.push(r.clone());
            }
        }
        if reasons.is_empty() {
            Self::Inside
        } else {
            Self::Outside(reasons)
        }
    }
    /// `Inside` when `value` is within `range`, else the reason names model, symbol, value and range.
    pub fn check(
        model: &str,
        symbol: &str,
        value: f64,
        range: std::ops::RangeInclusive<f64>,
        unit: &str,
    ) -> Self {
        if range.contains(&value) {
            Self::Inside
        } else {
            let show = |x: f64| crate::show::significant(x, 4);
            Self::outside(format!(
                "{model}: {symbol} = {} {unit} is outside {}..{} {unit}",
                show(value),
                show(*range.start()),
                show(*range.end())
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn reasons_add_up_once() {
        let a = Validity::check("P.618-13", "f", 80.0, 1.0..=55.0, "GHz");
        assert!(!a.is_inside());
        let both = a.clone().and(a.clone()).and(Validity::Inside);
        assert_eq!(both.reasons().len(), 1);
        assert!(both.reasons()[0].contains("P.618-13") && both.reasons()[0].contains("80"));
    }
}
