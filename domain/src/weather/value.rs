//! Measured values from a service's text, exact to the billionth of their unit. No float is between what was written and
//! what is compared with a limit.

use crate::quantity::{RainDepth, Temperature, WindSpeed};

/// Digits after the point that are kept.
const DIGITS: i32 = 9;
const WHOLE: i128 = 1_000_000_000;

/// A number in billionths of its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Billionths(i64);

/// What a number measures. Each has one unit in which values are kept: °C, km/h, mm, percent, and for soil the share of its
/// volume that is water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    Temperature,
    Speed,
    Depth,
    Chance,
    SoilWater,
}

/// A unit that is not known. Nothing is assumed about it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no unit that this server knows for this measure")]
pub struct UnknownUnit(pub String);

/// From a unit to the one that is kept: times the first over the second, after the third was added (in billionths).
type Conversion = (i128, i128, i128);

impl Billionths {
    pub const fn from_raw(raw: i64) -> Self {
        Self(raw)
    }

    pub const fn raw(self) -> i64 {
        self.0
    }

    /// Reads a JSON number digit by digit; the ninth digit after the point is rounded, halves away from zero. Nothing if it is
    /// none, or cannot be kept.
    pub fn parse(text: &str) -> Option<Self> {
        let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
        let (digits, exponent) = match digits.split_once(['e', 'E']) {
            Some((digits, exponent)) => (digits, exponent.strip_prefix('+').unwrap_or(exponent).parse::<i32>().ok()?),
            None => (digits, 0),
        };
        let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
        let plain = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        if whole.is_empty() || !plain(whole) || !plain(fraction) || whole.len() + fraction.len() > 36 {
            return None;
        }
        let magnitude: i128 = format!("{whole}{fraction}").parse().ok()?;
        let shift = exponent.checked_add(DIGITS)?.checked_sub(i32::try_from(fraction.len()).ok()?)?;
        let scaled = match shift {
            0.. => magnitude.checked_mul(10_i128.checked_pow(shift.unsigned_abs())?)?,
            -37..=-1 => rounded(magnitude, 10_i128.checked_pow(shift.unsigned_abs())?),
            _ => 0,
        };
        i64::try_from(if negative { -scaled } else { scaled }).ok().map(Self)
    }

    /// The value in the unit that is kept, if the service's unit is known and the value is one that weather has.
    pub fn read(text: &str, measure: Measure, unit: &str) -> Result<Option<Self>, UnknownUnit> {
        let (times, over, plus) =
            conversion(measure, unit).ok_or_else(|| UnknownUnit(unit.chars().take(60).collect()))?;
        let kept = Self::parse(text).and_then(|value| {
            let value = (i128::from(value.0) + plus).checked_mul(times)?;
            i64::try_from(rounded(value, over)).ok().map(Self)
        });
        Ok(kept.filter(|value| value.is_weather(measure)))
    }

    /// Services are known to send temperatures in the thousands. What no weather brings is not known.
    fn is_weather(self, measure: Measure) -> bool {
        let (least, most) = match measure {
            Measure::Temperature => (-60, 60),
            Measure::Speed => (0, 400),
            Measure::Depth => (0, 600),
            Measure::Chance => (0, 100),
            Measure::SoilWater => (0, 1),
        };
        (least * WHOLE..=most * WHOLE).contains(&i128::from(self.0))
    }

    /// Share of this value, as if it was spread evenly, to the nearest billionth.
    #[must_use]
    pub fn share(self, part: i64, whole: i64) -> Self {
        let share = rounded(i128::from(self.0) * i128::from(part), i128::from(whole.max(1)));
        Self(i64::try_from(share).unwrap_or(i64::MAX))
    }

    /// Sum; the largest number there is when it cannot be kept.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// °C as hundredths of °F, to the nearest. Forecasts are made in whole °F and written in °C with all digits of a float, so
    /// what lies beyond the hundredth is noise: 29.444444444444443 °C is 85 °F.
    pub fn fahrenheit_hundredths(self) -> i64 {
        i64::try_from(rounded(i128::from(self.0) * 9, 5 * WHOLE / 100)).unwrap_or(i64::MAX).saturating_add(3_200)
    }

    /// °C as °F, rounded up to the tenth, for a limit that the air must stay below.
    pub fn fahrenheit_up(self) -> Temperature {
        Temperature::from_raw(self.fahrenheit_hundredths().saturating_add(9).div_euclid(10))
    }

    /// °C as °F, rounded down to the tenth.
    pub fn fahrenheit_down(self) -> Temperature {
        Temperature::from_raw(self.fahrenheit_hundredths().div_euclid(10))
    }

    /// A station's °C as °F. Stations measure in whole °F and report in tenths of °C, so 85 °F comes as 29.4 °C, which is
    /// 84.92 °F; the whole degree is taken unless the value itself is hotter.
    pub fn fahrenheit_observed(self) -> Temperature {
        let whole = self.fahrenheit_hundredths().saturating_add(50).div_euclid(100).saturating_mul(10);
        self.fahrenheit_up().max(Temperature::from_raw(whole))
    }

    /// km/h as hundredths of mph, to the nearest. A mile is 1.609344 km.
    pub fn mph(self) -> WindSpeed {
        WindSpeed::from_raw(i64::try_from(rounded(i128::from(self.0) * 100, 1_609_344_000)).unwrap_or(i64::MAX))
    }

    /// km/h as mph, rounded up to the hundredth, for a limit that the wind must stay below.
    pub fn mph_up(self) -> WindSpeed {
        WindSpeed::from_raw(up(i128::from(self.0) * 100, 1_609_344_000))
    }

    /// mm as thousandths of an inch, to the nearest. An inch is 25.4 mm.
    pub fn inches(self) -> RainDepth {
        RainDepth::from_raw(i64::try_from(rounded(i128::from(self.0), 25_400_000)).unwrap_or(i64::MAX))
    }

    /// mm as inches, rounded up to the thousandth: the most that can fall.
    pub fn inches_up(self) -> RainDepth {
        RainDepth::from_raw(up(i128::from(self.0), 25_400_000))
    }

    /// mm as inches, rounded down to the thousandth: the least that falls.
    pub fn inches_down(self) -> RainDepth {
        RainDepth::from_raw(i64::try_from(i128::from(self.0).div_euclid(25_400_000)).unwrap_or(i64::MAX))
    }

    /// The number with so many digits after the point, to the nearest, halves away from zero.
    pub fn to_digits(self, digits: u32) -> String {
        let step = 10_i128.pow(9_u32.saturating_sub(digits));
        let scaled = rounded(i128::from(self.0), step);
        let (one, magnitude) = (10_u128.pow(digits.min(9)), scaled.unsigned_abs());
        let sign = if scaled < 0 { "-" } else { "" };
        match digits {
            0 => format!("{sign}{magnitude}"),
            _ => format!("{sign}{}.{:0width$}", magnitude / one, magnitude % one, width = digits as usize),
        }
    }
}

/// Division to the nearest, halves away from zero.
fn rounded(value: i128, by: i128) -> i128 {
    let half = by / 2;
    if value < 0 { -((-value + half) / by) } else { (value + half) / by }
}

fn up(value: i128, by: i128) -> i64 {
    i64::try_from((value + by - 1).div_euclid(by)).unwrap_or(i64::MAX)
}

/// Units by the codes that services write, with and without the prefixes they were seen with.
fn conversion(measure: Measure, unit: &str) -> Option<Conversion> {
    let code = unit.rsplit_once(':').map_or(unit, |(_, code)| code);
    Some(match (measure, code) {
        (Measure::Temperature, "degC" | "°C")
        | (Measure::Speed, "km_h-1" | "km/h")
        | (Measure::Depth, "mm")
        | (Measure::Chance, "percent" | "%")
        | (Measure::SoilWater, "m³/m³") => (1, 1, 0),
        (Measure::Temperature, "degF" | "°F") => (5, 9, -32 * WHOLE),
        (Measure::Temperature, "K") => (1, 1, -273_150_000_000),
        (Measure::Speed, "m_s-1" | "m/s") => (36, 10, 0),
        (Measure::Speed, "kt" | "kn") => (1_852, 1_000, 0),
        (Measure::Speed, "mi_h-1" | "mph" | "mp/h") => (1_609_344, 1_000_000, 0),
        (Measure::Depth, "cm") => (10, 1, 0),
        (Measure::Depth, "m") => (1_000, 1, 0),
        (Measure::Depth, "in" | "inch") => (254, 10, 0),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, measure: Measure, unit: &str) -> Option<Billionths> {
        Billionths::read(text, measure, unit).expect("a known unit")
    }

    #[test]
    fn numbers_are_read_digit_by_digit() {
        let digits = |text| Billionths::parse(text).map(Billionths::raw);
        assert_eq!(digits("29.444444444444443"), Some(29_444_444_444));
        assert_eq!(digits("-0.5555555555555556"), Some(-555_555_556));
        assert_eq!(digits("25"), Some(25_000_000_000));
        assert_eq!(digits("2.54e1"), Some(25_400_000_000));
        assert_eq!(digits("1E-3"), Some(1_000_000));
        assert_eq!(digits("5e-10"), Some(1), "halves go away from zero");
        assert_eq!(digits("4e-99"), Some(0));
        for text in ["", "-", ".5", "1e", "NaN", "1e99", "0x1", "1_0", "\"1\"", "1,5"] {
            assert_eq!(digits(text), None, "{text:?}");
        }
    }

    #[test]
    fn units_are_converted_by_their_code_and_never_by_assumption() {
        for unit in ["wmoUnit:degC", "unit:degC", "wmo:degC", "uc:degC", "degC", "°C"] {
            assert_eq!(read("-40", Measure::Temperature, unit).map(Billionths::fahrenheit_hundredths), Some(-4_000));
        }
        assert_eq!(
            read("85", Measure::Temperature, "wmoUnit:degF").map(|t| t.to_digits(4)).as_deref(),
            Some("29.4444")
        );
        assert_eq!(read("300.15", Measure::Temperature, "wmoUnit:K").map(|t| t.to_digits(2)).as_deref(), Some("27.00"));
        assert_eq!(read("1", Measure::Speed, "wmoUnit:m_s-1").map(|v| v.mph().to_string()).as_deref(), Some("2.24"));
        assert_eq!(read("20", Measure::Speed, "kn").map(|v| v.mph().to_string()).as_deref(), Some("23.02"));
        assert_eq!(read("2", Measure::Depth, "in").map(|v| v.to_digits(1)).as_deref(), Some("50.8"));
        let unknown = Billionths::read("1", Measure::Speed, "wmoUnit:furlong_fortnight-1");
        assert_eq!(unknown, Err(UnknownUnit("wmoUnit:furlong_fortnight-1".to_owned())));
        assert!(Billionths::read("1", Measure::Depth, "wmoUnit:degC").is_err(), "a unit of another measure");
    }

    #[test]
    fn what_no_weather_brings_is_not_known() {
        assert_eq!(read("2944.4", Measure::Temperature, "wmoUnit:degC"), None);
        assert_eq!(read("-61", Measure::Temperature, "wmoUnit:degC"), None);
        assert_eq!(read("-0.1", Measure::Depth, "wmoUnit:mm"), None);
        assert_eq!(read("601", Measure::Depth, "wmoUnit:mm"), None);
        assert_eq!(read("401", Measure::Speed, "wmoUnit:km_h-1"), None);
        assert_eq!(read("101", Measure::Chance, "wmoUnit:percent"), None);
        assert!(read("60", Measure::Temperature, "wmoUnit:degC").is_some());
    }

    /// Every whole °F from -20 to 130 must come back from the °C that a float gives for it: 97, 106, 115 and 124 do not when
    /// they are worked out in floats. The texts are those of the shortest float, as services write them.
    #[test]
    fn whole_degrees_survive_the_way_through_celsius() {
        for (celsius, fahrenheit) in [
            ("-28.88888888888889", -20),
            ("-0.5555555555555556", 31),
            ("12.777777777777779", 55),
            ("29.444444444444443", 85),
            ("36.11111111111111", 97),
            ("41.11111111111111", 106),
            ("46.111111111111114", 115),
            ("51.111111111111114", 124),
        ] {
            let hundredths = read(celsius, Measure::Temperature, "degC").map(Billionths::fahrenheit_hundredths);
            assert_eq!(hundredths, Some(fahrenheit * 100), "{celsius}");
        }
    }

    /// METAR tenths: 84 °F is reported as 28.9 °C (84.02 °F), 85 °F as 29.4 °C (84.92 °F), 86 °F as 30.0 °C.
    #[test]
    fn an_observed_85_is_85() {
        let observed = |text| read(text, Measure::Temperature, "degC").map(|t| t.fahrenheit_observed().to_string());
        assert_eq!(observed("28.9").as_deref(), Some("84.1"), "the hotter reading of 84.02");
        assert_eq!(observed("29.4").as_deref(), Some("85"));
        assert_eq!(observed("30.0").as_deref(), Some("86"));
        let exact = read("29.4", Measure::Temperature, "degC").map(Billionths::fahrenheit_hundredths);
        assert_eq!(exact, Some(8_492));
    }

    #[test]
    fn depths_round_to_the_side_that_is_asked_for() {
        // 39.02 mm / 25.4 = 1.53622...; 50.8 mm is exactly 2 in; 50 mm is 1.9685 in, below 2 in.
        let depth = |text| read(text, Measure::Depth, "mm").expect("a depth");
        assert_eq!(depth("39.02").inches().to_string(), "1.536");
        assert_eq!(depth("39.02").inches_up().to_string(), "1.537");
        assert_eq!(depth("39.02").inches_down().to_string(), "1.536");
        assert_eq!(depth("50.8").inches_up().to_string(), "2");
        assert_eq!(depth("50.8").inches_down().to_string(), "2");
        assert_eq!(depth("50").inches_up().to_string(), "1.969");
    }
}
