//! A whole number with a declared scale and a unit that the compiler knows.

use std::{cmp::Ordering, fmt, hash::Hash, hash::Hasher, marker::PhantomData};

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What a number counts, how finely, and within which bounds.
pub trait Unit: 'static {
    /// How the unit is called in a message: `lb`, `sq ft`.
    const SYMBOL: &'static str;
    /// Digits after the point that are stored.
    const SCALE: u32;
    /// Digits after the point that a person may write.
    const INPUT_DECIMALS: u32;
    /// Smallest and largest stored value, in stored units.
    const MIN: i64;
    const MAX: i64;
    /// Name of the schema in the API document.
    const SCHEMA: &'static str;
    /// One sentence for the API document.
    const ABOUT: &'static str;
    /// A value to show.
    const EXAMPLE: &'static str;
}

/// A whole number of 10^-SCALE units.
pub struct Quantity<U> {
    raw: i64,
    unit: PhantomData<fn() -> U>,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityFault {
    #[error("write a plain decimal number such as \"{example}\", in {symbol}, without sign, exponent or spaces")]
    NotDecimal { symbol: &'static str, example: &'static str },
    #[error("at most {allowed} digits after the point are kept; write no more, so that nothing is rounded away")]
    TooManyDecimals { allowed: u32 },
    #[error("must lie between {min} and {max} {symbol}")]
    OutOfRange { min: String, max: String, symbol: &'static str },
}

impl<U: Unit> Quantity<U> {
    pub const ZERO: Self = Self::from_raw(0);

    /// Takes a number already in stored units.
    pub const fn from_raw(raw: i64) -> Self {
        Self { raw, unit: PhantomData }
    }

    /// The number in stored units.
    pub const fn raw(self) -> i64 {
        self.raw
    }

    pub const fn is_zero(self) -> bool {
        self.raw == 0
    }

    /// Reads decimal text such as `12.5`. Refuses signs where the unit has no negative values, exponents, spaces and
    /// digits that could not be kept.
    pub fn parse(text: &str) -> Result<Self, QuantityFault> {
        let not_decimal = QuantityFault::NotDecimal { symbol: U::SYMBOL, example: U::EXAMPLE };
        let (negative, digits) = match text.strip_prefix('-') {
            Some(rest) if U::MIN < 0 => (true, rest),
            Some(_) => return Err(not_decimal),
            None => (false, text),
        };
        let (whole, fraction) = match digits.split_once('.') {
            Some((_, "")) => return Err(not_decimal),
            Some(parts) => parts,
            None => (digits, ""),
        };
        let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        let leading_zero = whole.len() > 1 && whole.starts_with('0');
        if whole.is_empty() || leading_zero || !plain(whole) || !plain(fraction) {
            return Err(not_decimal);
        }
        if fraction.len() > U::INPUT_DECIMALS as usize {
            return Err(QuantityFault::TooManyDecimals { allowed: U::INPUT_DECIMALS });
        }
        let padded = format!("{whole}{fraction:0<width$}", width = U::SCALE as usize);
        let magnitude: i64 = padded.parse().map_err(|_| Self::out_of_range())?;
        Self::checked(if negative { -magnitude } else { magnitude })
    }

    /// Takes a number in stored units if it lies within the unit's bounds.
    pub fn checked(raw: i64) -> Result<Self, QuantityFault> {
        if (U::MIN..=U::MAX).contains(&raw) { Ok(Self::from_raw(raw)) } else { Err(Self::out_of_range()) }
    }

    fn out_of_range() -> QuantityFault {
        QuantityFault::OutOfRange {
            min: Self::from_raw(U::MIN).to_string(),
            max: Self::from_raw(U::MAX).to_string(),
            symbol: U::SYMBOL,
        }
    }

    /// Sum, or nothing if it cannot be stored.
    pub fn checked_add(self, other: Self) -> Option<Self> {
        self.raw.checked_add(other.raw).map(Self::from_raw)
    }

    /// Difference, or nothing if it cannot be stored.
    pub fn checked_sub(self, other: Self) -> Option<Self> {
        self.raw.checked_sub(other.raw).map(Self::from_raw)
    }

    /// The number with its unit, for a sentence.
    pub fn with_unit(self) -> String {
        format!("{self} {}", U::SYMBOL)
    }

    /// The pattern that every written value follows, for the API document.
    pub fn pattern() -> String {
        let sign = if U::MIN < 0 { "-?" } else { "" };
        let whole = (U::MAX.unsigned_abs() / 10_u64.pow(U::SCALE)).to_string().len() - 1;
        let fraction = format!(r"(\.[0-9]{{1,{}}})?", U::INPUT_DECIMALS);
        if U::MIN > 0 {
            // Above zero: the whole part or one of the written decimals is not zero.
            let small: Vec<String> = (0..U::INPUT_DECIMALS)
                .map(|zeros| format!("{}[1-9][0-9]{{0,{}}}", "0".repeat(zeros as usize), U::INPUT_DECIMALS - zeros - 1))
                .collect();
            return format!(r"^([1-9][0-9]{{0,{whole}}}{fraction}|0\.({}))$", small.join("|"));
        }
        format!("^{sign}(0|[1-9][0-9]{{0,{whole}}}){fraction}$")
    }
}

impl<U: Unit> fmt::Display for Quantity<U> {
    /// Every stored digit that matters, no trailing zeros: `6.15`, `0.0000000001`, `-2`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = 10_u64.pow(U::SCALE);
        let magnitude = self.raw.unsigned_abs();
        let sign = if self.raw < 0 { "-" } else { "" };
        let fraction = format!("{:0width$}", magnitude % unit, width = U::SCALE as usize);
        let fraction = fraction.trim_end_matches('0');
        let text = match fraction {
            "" => format!("{sign}{}", magnitude / unit),
            digits => format!("{sign}{}.{digits}", magnitude / unit),
        };
        f.pad(&text)
    }
}

impl<U: Unit> fmt::Debug for Quantity<U> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self} {}", U::SYMBOL)
    }
}

impl<U> Clone for Quantity<U> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<U> Copy for Quantity<U> {}

impl<U> PartialEq for Quantity<U> {
    fn eq(&self, other: &Self) -> bool {
        self.raw == other.raw
    }
}

impl<U> Eq for Quantity<U> {}

impl<U> PartialOrd for Quantity<U> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<U> Ord for Quantity<U> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.raw.cmp(&other.raw)
    }
}

impl<U> Hash for Quantity<U> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.raw.hash(state);
    }
}

impl<U: Unit> Serialize for Quantity<U> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de, U: Unit> Deserialize<'de> for Quantity<U> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

/// How many digits may follow the point.
fn decimals(most: u32) -> String {
    match most {
        0 => "without a point".to_owned(),
        1 => "with at most one digit after the point".to_owned(),
        more => format!("with at most {more} digits after the point"),
    }
}

impl<U: Unit> utoipa::PartialSchema for Quantity<U> {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        utoipa::openapi::ObjectBuilder::new()
            .schema_type(utoipa::openapi::schema::Type::String)
            .description(Some(format!(
                "{} Decimal text in {}, from {} to {}, {}.",
                U::ABOUT,
                U::SYMBOL,
                Self::from_raw(U::MIN),
                Self::from_raw(U::MAX),
                decimals(U::INPUT_DECIMALS)
            )))
            .pattern(Some(Self::pattern()))
            .max_length(Some(24))
            .examples([U::EXAMPLE])
            .into()
    }
}

impl<U: Unit> utoipa::ToSchema for Quantity<U> {
    fn name() -> std::borrow::Cow<'static, str> {
        U::SCHEMA.into()
    }
}

#[cfg(test)]
mod tests {
    use crate::quantity::{Area, Percent, ProductMass, QuantityFault};

    #[test]
    fn text_is_read_and_printed_without_loss() {
        for text in ["0", "0.000001", "26", "26.5", "999999.999999"] {
            assert_eq!(ProductMass::parse(text).map(|m| m.to_string()).as_deref(), Ok(text));
        }
        assert_eq!(ProductMass::parse("26.500000").map(|m| m.to_string()).as_deref(), Ok("26.5"));
    }

    #[test]
    fn anything_but_a_plain_decimal_is_refused() {
        for text in
            ["", "-1", "+1", "1e3", ".5", "1.", " 1", "1 ", "01", "NaN", "inf", "\u{0661}", "1,5", "0x1", "1_000"]
        {
            assert!(ProductMass::parse(text).is_err(), "{text:?} was read as a mass");
        }
        assert_eq!(ProductMass::parse("0.0000001"), Err(QuantityFault::TooManyDecimals { allowed: 6 }));
        assert!(matches!(Percent::parse("100.01"), Err(QuantityFault::OutOfRange { .. })));
        assert!(matches!(Area::parse("0"), Err(QuantityFault::OutOfRange { .. })));
        assert!(matches!(Area::parse("99999999999999999999"), Err(QuantityFault::OutOfRange { .. })));
    }

    #[test]
    fn a_tenth_ten_thousand_times_is_a_thousand() {
        let tenth = ProductMass::parse("0.1").unwrap_or(ProductMass::ZERO);
        let sum = (0..10_000).try_fold(ProductMass::ZERO, |sum, _| sum.checked_add(tenth));
        assert_eq!(sum.map(|m| m.to_string()).as_deref(), Some("1000"));
    }
}
