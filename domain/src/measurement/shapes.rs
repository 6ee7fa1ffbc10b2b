//! Figures that a tape or a wheel can measure, worked out exactly.

use num_bigint::BigInt;
use num_rational::BigRational;
use serde::{Deserialize, Serialize};

use super::{MeasuredArea, MeasurementFault, outline::Outline};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::{Area, Distance},
};

/// How widths across a line make an area.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OffsetRule {
    /// Straight lines between the widths.
    Trapezoidal,
    /// Curves through every three widths; needs an even number of strips.
    Simpson,
}

/// One figure. Lengths are in feet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "shape", deny_unknown_fields)]
pub enum Shape {
    Rectangle {
        length_ft: Distance,
        width_ft: Distance,
    },
    Triangle {
        base_ft: Distance,
        height_ft: Distance,
    },
    Circle {
        radius_ft: Distance,
    },
    /// Two parallel sides and the distance between them.
    Trapezoid {
        side_ft: Distance,
        other_side_ft: Distance,
        height_ft: Distance,
    },
    /// Length x width x 0.8, the trade's rule for a lawn that is nearly an ellipse and a little fuller.
    Oval {
        length_ft: Distance,
        width_ft: Distance,
    },
    /// A true ellipse: length x width x pi / 4.
    Ellipse {
        length_ft: Distance,
        width_ft: Distance,
    },
    /// Widths across the longest line at even distances, the first and last at its ends.
    Offsets {
        spacing_ft: Distance,
        widths_ft: Vec<Distance>,
        rule: OffsetRule,
    },
    /// A circle with the mean of radii measured all around from one middle.
    AverageRadius {
        radii_ft: Vec<Distance>,
    },
    /// Walked or drawn on the map. Only a survey measures it, since it needs the earth and not a tape.
    Outline {
        outline: Outline,
        /// How far each corner may be off.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        position_error_ft: Option<Distance>,
    },
}

/// A measured section: figures that are lawn, less figures that are not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Figures {
    #[schema(min_items = 1, max_items = 100)]
    pub lawn: Vec<Shape>,
    /// House, drive, beds.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub not_lawn: Vec<Shape>,
    /// How far each length may be off.
    #[serde(default)]
    pub reading_error_ft: Option<Distance>,
}

/// Pi to fourteen digits: on the largest area that is stored it is off by less than a millionth of a square foot.
const PI: (i64, i64) = (314_159_265_358_979, 100_000_000_000_000);

pub(super) fn whole(number: i64) -> BigRational {
    BigRational::from_integer(BigInt::from(number))
}

fn ratio(numerator: i64, denominator: i64) -> BigRational {
    BigRational::new(BigInt::from(numerator), BigInt::from(denominator.max(1)))
}

impl Shape {
    /// Every length with the name of its field. A width may be nothing where the lawn comes to a point; no other length may.
    pub(super) fn lengths(&self) -> Vec<(&'static str, Distance)> {
        match self {
            Self::Rectangle { length_ft: a, width_ft: b }
            | Self::Oval { length_ft: a, width_ft: b }
            | Self::Ellipse { length_ft: a, width_ft: b } => vec![("length_ft", *a), ("width_ft", *b)],
            Self::Triangle { base_ft, height_ft } => vec![("base_ft", *base_ft), ("height_ft", *height_ft)],
            Self::Circle { radius_ft } => vec![("radius_ft", *radius_ft)],
            Self::Trapezoid { side_ft, other_side_ft, height_ft } => {
                vec![("side_ft", *side_ft), ("other_side_ft", *other_side_ft), ("height_ft", *height_ft)]
            }
            Self::Offsets { spacing_ft, .. } => vec![("spacing_ft", *spacing_ft)],
            Self::AverageRadius { radii_ft } => radii_ft.iter().map(|radius| ("radii_ft", *radius)).collect(),
            Self::Outline { .. } => Vec::new(),
        }
    }

    pub(super) fn check(&self) -> Result<(), MeasurementFault> {
        match self {
            Self::Outline { .. } => Err(MeasurementFault::OnTheMap),
            Self::Offsets { spacing_ft, widths_ft, .. } if widths_ft.len() < 2 || spacing_ft.raw() <= 0 => {
                Err(MeasurementFault::TooFewOffsets)
            }
            Self::Offsets { widths_ft, rule: OffsetRule::Simpson, .. } if widths_ft.len().is_multiple_of(2) => {
                Err(MeasurementFault::OddStrips)
            }
            Self::AverageRadius { radii_ft } if radii_ft.len() < 3 => Err(MeasurementFault::TooFewRadii),
            _ if self.lengths().iter().any(|(_, length)| length.raw() <= 0) => Err(MeasurementFault::NoLength),
            _ => Ok(()),
        }
    }

    /// `100 x 80`, no longer than an input of a derivation may be.
    pub(super) fn lengths_in_words(&self) -> String {
        let lengths: Vec<String> = match self {
            Self::Offsets { spacing_ft, widths_ft, .. } => {
                std::iter::once(spacing_ft).chain(widths_ft).map(ToString::to_string).collect()
            }
            other => other.lengths().iter().map(|(_, length)| length.to_string()).collect(),
        };
        crate::text::truncate_chars(&lengths.join(" x "), 120)
    }

    /// The area in ten-thousandths of a square foot, every length longer by `off` hundredths of a foot.
    pub(super) fn exact(&self, off: i64) -> BigRational {
        let at = |length: &Distance| whole((length.raw() + off).max(0));
        let pi = || ratio(PI.0, PI.1);
        match self {
            Self::Rectangle { length_ft, width_ft } => at(length_ft) * at(width_ft),
            Self::Triangle { base_ft, height_ft } => at(base_ft) * at(height_ft) / whole(2),
            Self::Circle { radius_ft } => pi() * at(radius_ft) * at(radius_ft),
            Self::Trapezoid { side_ft, other_side_ft, height_ft } => {
                (at(side_ft) + at(other_side_ft)) * at(height_ft) / whole(2)
            }
            Self::Oval { length_ft, width_ft } => at(length_ft) * at(width_ft) * ratio(4, 5),
            Self::Ellipse { length_ft, width_ft } => at(length_ft) * at(width_ft) * pi() / whole(4),
            Self::Offsets { spacing_ft, widths_ft, rule } => {
                let last = widths_ft.len().saturating_sub(1);
                let weight = |index: usize| match (rule, index) {
                    (OffsetRule::Trapezoidal, index) if index == 0 || index == last => ratio(1, 2),
                    (OffsetRule::Trapezoidal, _) => whole(1),
                    (OffsetRule::Simpson, index) if index == 0 || index == last => ratio(1, 3),
                    (OffsetRule::Simpson, index) if index % 2 == 1 => ratio(4, 3),
                    (OffsetRule::Simpson, _) => ratio(2, 3),
                };
                let sum: BigRational =
                    widths_ft.iter().enumerate().map(|(index, width)| at(width) * weight(index)).sum();
                sum * at(spacing_ft)
            }
            Self::AverageRadius { radii_ft } => {
                let count = i64::try_from(radii_ft.len()).unwrap_or(i64::MAX);
                let mean = radii_ft.iter().map(at).sum::<BigRational>() / whole(count);
                pi() * mean.clone() * mean
            }
            // Outlines are laid over each other on the map and not summed.
            Self::Outline { .. } => whole(0),
        }
    }

    /// How a sentence calls it.
    pub const fn label(&self) -> &'static str {
        match self {
            Self::Rectangle { .. } => "rectangle",
            Self::Triangle { .. } => "triangle",
            Self::Circle { .. } => "circle",
            Self::Trapezoid { .. } => "trapezoid",
            Self::Oval { .. } => "oval",
            Self::Ellipse { .. } => "ellipse",
            Self::Offsets { .. } => "offsets",
            Self::AverageRadius { .. } => "average radius",
            Self::Outline { .. } => "outline",
        }
    }

    /// The formula, and where it was read.
    pub(super) const fn formula(&self) -> (&'static str, &'static str, SourceMark) {
        match self {
            Self::Rectangle { .. } => ("length x width", "Western Australia TAFE, measuring areas", SourceMark::Read),
            Self::Triangle { .. } => ("base x height / 2", "Western Australia TAFE, measuring areas", SourceMark::Read),
            Self::Circle { .. } => ("pi x radius^2", "Western Australia TAFE, measuring areas", SourceMark::Read),
            Self::Trapezoid { .. } => {
                ("(side + other side) / 2 x height", "Missouri, Measuring Lawns (MEG 203)", SourceMark::Read)
            }
            Self::Oval { .. } => ("length x width x 0.8", "Missouri, Measuring Lawns (MEG 203)", SourceMark::Read),
            Self::Ellipse { .. } => ("length x width x pi / 4", "Geometry of the ellipse", SourceMark::Computed),
            Self::Offsets { rule: OffsetRule::Trapezoidal, .. } => (
                "spacing x (half the end widths + the others)",
                "Missouri, Measuring Lawns (MEG 203); trapezoidal rule",
                SourceMark::Read,
            ),
            Self::Offsets { rule: OffsetRule::Simpson, .. } => {
                ("spacing / 3 x (ends + 4 x odd + 2 x even widths)", "Simpson's rule", SourceMark::Computed)
            }
            Self::AverageRadius { .. } => {
                ("pi x (mean of the radii)^2", "How to Measure a Putting Green", SourceMark::Read)
            }
            Self::Outline { .. } => {
                ("area of the outline on the ellipsoid", super::outline::KARNEY, SourceMark::Computed)
            }
        }
    }
}

impl Figures {
    /// The area of what was taped, rounded down to the hundredth of a square foot.
    ///
    /// The error is what the area would change by if every length of the lawn were read too long and every length of the
    /// rest too short by the reading error, or the other way; offsets are held to be off by 5 % at least (Missouri).
    pub fn area_rounded_down(&self) -> Result<MeasuredArea, MeasurementFault> {
        for shape in self.lawn.iter().chain(&self.not_lawn) {
            shape.check()?;
        }
        let exact = self.exact(0);
        if exact <= whole(0) {
            return Err(MeasurementFault::NothingLeft);
        }
        let area = hundredths(&exact.floor(), 100).ok_or(MeasurementFault::OutOfRange)?;
        let error_sqft = self.tape_error(&exact).and_then(|error| {
            // Rounded up by taking the next hundredth whenever there is a rest.
            let up = (error / whole(100)).ceil();
            hundredths(&up, 1)
        });
        Ok(MeasuredArea { area_sqft: area, error_sqft, derivation: self.derivation(area) })
    }

    /// How far the taped figures may be off, in ten-thousandths of a square foot.
    pub(super) fn tape_error(&self, exact: &BigRational) -> Option<BigRational> {
        let error = self.reading_error_ft.map(|error| {
            let (more, less) = (self.exact(error.raw()) - exact, exact - self.exact(-error.raw()));
            more.max(less)
        });
        let by_method = self.offsets().then(|| exact / whole(20));
        error.into_iter().chain(by_method).max()
    }

    pub(super) fn offsets(&self) -> bool {
        self.lawn.iter().chain(&self.not_lawn).any(|shape| matches!(shape, Shape::Offsets { .. }))
    }

    pub(super) fn exact(&self, off: i64) -> BigRational {
        let sum = |shapes: &[Shape], off| shapes.iter().map(|shape| shape.exact(off)).sum::<BigRational>();
        sum(&self.lawn, off) - sum(&self.not_lawn, -off)
    }

    fn derivation(&self, area: Area) -> Derivation {
        let formulas: Vec<&str> = self.lawn.iter().chain(&self.not_lawn).map(|shape| shape.formula().0).collect();
        let (_, source, mark) = self.lawn.first().map_or(("", "Sum of figures", SourceMark::Computed), Shape::formula);
        let mut derivation =
            Derivation::of("area", &format!("sum of the lawn less what is not lawn: {}", unique(&formulas).join("; ")));
        for (name, shapes) in [("lawn", &self.lawn), ("not lawn", &self.not_lawn)] {
            for shape in shapes {
                derivation = derivation.with_text(name, &shape.lengths_in_words(), "ft");
            }
        }
        derivation.from_source(mark, source).gives(area, "down to the hundredth of a square foot").derivation
    }
}

fn unique<'a>(texts: &[&'a str]) -> Vec<&'a str> {
    let mut seen: Vec<&str> = Vec::new();
    for text in texts {
        if !seen.contains(text) {
            seen.push(text);
        }
    }
    seen
}

/// So many ten-thousandths of a square foot (or hundredths, with a divisor of 1) as an area, rounded down.
pub(super) fn hundredths(number: &BigRational, divisor: i64) -> Option<Area> {
    let raw = (number / whole(divisor)).floor().to_integer();
    i64::try_from(raw).ok().and_then(|raw| Area::checked(raw.max(0)).ok())
}
