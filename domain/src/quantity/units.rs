//! The units of the trade. Masses of different nutrients are different types, so phosphorus is never added to phosphate.

use super::number::{Quantity, Unit};

/// Declares one unit. A function cannot declare a type, so this one macro stands.
macro_rules! unit {
    ($(#[$doc:meta])* $marker:ident as $name:ident, $symbol:literal, scale $scale:literal, written $written:literal, $min:literal..=$max:literal, eg $example:literal, $about:literal) => {
        #[derive(Debug)]
        pub enum $marker {}
        impl Unit for $marker {
            const SYMBOL: &'static str = $symbol;
            const SCALE: u32 = $scale;
            const INPUT_DECIMALS: u32 = $written;
            const MIN: i64 = $min;
            const MAX: i64 = $max;
            const SCHEMA: &'static str = stringify!($name);
            const ABOUT: &'static str = $about;
            const EXAMPLE: &'static str = $example;
        }
        $(#[$doc])*
        pub type $name = Quantity<$marker>;
    };
}

unit!(
    /// Product as it leaves the bag, in millionths of a pound.
    ProductPound as ProductMass, "lb", scale 6, written 6, 0..=1_000_000_000_000, eg "25.6", "Mass of product, not of nutrient.");
unit!(
    /// Product in a store, which may be below nothing when the book has missed a delivery.
    StockPound as StockBalance, "lb", scale 6, written 6, -1_000_000_000_000_000..=1_000_000_000_000_000, eg "1250", "Mass of product in stock; below zero when more was used than the book knows of.");
unit!(
    /// Nitrogen of every form.
    TotalNitrogenPound as TotalNitrogen, "lb N", scale 10, written 10, 0..=9_000_000_000_000_000_000, eg "6.15", "Mass of nitrogen of every form.");
unit!(
    /// Nitrogen that is available at once.
    QuickNitrogenPound as QuickNitrogen, "lb quick-release N", scale 10, written 10, 0..=9_000_000_000_000_000_000, eg "4.305", "Mass of quick-release (water-soluble, readily available) nitrogen.");
unit!(
    /// Phosphate, P2O5, as labels state it.
    PhosphatePound as Phosphate, "lb P2O5", scale 10, written 10, 0..=9_000_000_000_000_000_000, eg "0.5", "Mass of phosphate (P2O5), as labels state it.");
unit!(
    /// Potash, K2O, as labels state it.
    PotashPound as Potash, "lb K2O", scale 10, written 10, 0..=9_000_000_000_000_000_000, eg "2.56", "Mass of potash (K2O), as labels state it.");
unit!(
    /// Ground, in hundredths of a square foot.
    SquareFoot as Area, "sq ft", scale 2, written 2, 1..=1_000_000_000, eg "8200", "Area of ground, above zero.");
unit!(
    /// Ground as a metric plan or tape gives it, in ten-thousandths of a square meter.
    SquareMeter as MetricArea, "m2", scale 4, written 2, 1..=9_290_304_000, eg "761.8", "Area of ground in square meters, kept as entered beside its square feet.");
unit!(
    /// Tons of lime on an acre, in thousandths.
    TonPerAcre as LimeCredit, "tons per acre", scale 3, written 3, 0..=100_000, eg "0.25", "Lime of earlier years that still works, in tons on the acre, as a laboratory credits it.");
unit!(
    /// A share of weight, in hundredths of a percent.
    PercentPoint as Percent, "%", scale 2, written 2, 0..=10_000, eg "24", "Share by weight.");
unit!(
    /// Pounds of a nutrient on 1,000 square feet, in millionths. A year's loads add up, so it reaches far beyond one load.
    NutrientPoundPerKsf as NutrientRate, "lb per 1,000 sq ft", scale 6, written 6, 0..=1_000_000_000_000_000, eg "0.75", "Pounds of nutrient per 1,000 square feet.");
unit!(
    /// What is left under a cap, in millionths of a pound on 1,000 square feet; below zero past the cap.
    RoomPerKsf as NutrientRoom, "lb per 1,000 sq ft", scale 6, written 6, -1_000_000_000_000_000..=1_000_000_000_000_000, eg "0.33", "Pounds of nutrient per 1,000 square feet that are left under a cap; below zero past it.");
unit!(
    /// Product of many lines, in millionths of a pound.
    ProductPoundsTogether as ProductTotal, "lb", scale 6, written 6, 0..=1_000_000_000_000_000_000, eg "1250", "Mass of product of many lines together, not of nutrient.");
unit!(
    /// A year's nitrogen beside its limit, in hundredths of a percent.
    PercentOfLimit as LimitShare, "%", scale 2, written 2, 0..=1_000_000_000_000_000_000, eg "92.5", "What was put down in percent of a limit; above 100 past it.");
unit!(
    /// Pounds of product on 1,000 square feet, in millionths.
    ProductPoundPerKsf as ProductRate, "lb of product per 1,000 sq ft", scale 6, written 6, 0..=1_000_000_000_000, eg "3.125", "Pounds of product per 1,000 square feet.");
unit!(
    /// A length on the ground, in hundredths of a foot.
    Foot as Distance, "ft", scale 2, written 2, 0..=10_000_000, eg "15", "Distance on the ground.");
unit!(
    /// Depth of rain, in thousandths of an inch.
    RainInch as RainDepth, "in", scale 3, written 3, 0..=100_000, eg "0.25", "Depth of rain.");
unit!(
    /// Air temperature, in tenths of a degree.
    Fahrenheit as Temperature, "°F", scale 1, written 1, -1_000..=1_500, eg "72.5", "Temperature of the air in degrees Fahrenheit.");
unit!(
    /// Wind, in hundredths of a mile an hour.
    WindMilePerHour as WindSpeed, "mph", scale 2, written 2, 0..=30_000, eg "8.5", "Speed of the wind.");
unit!(
    /// Acidity of soil, in hundredths.
    PhPoint as SoilPh, "pH", scale 2, written 2, 0..=1_400, eg "6.4", "Acidity of soil, as the laboratory measured it.");
unit!(
    /// Weight of a gallon of a liquid product, in ten-thousandths of a pound.
    PoundPerGallon as Density, "lb per gal", scale 4, written 4, 1..=400_000, eg "10.66", "Weight of one US gallon of a liquid, as its label prints it.");
unit!(
    /// Liquid, in millionths of a US gallon.
    Gallon as Volume, "gal", scale 6, written 6, 0..=1_000_000_000_000, eg "2.5", "Volume in US gallons.");
unit!(
    /// Money, in cents.
    Dollar as Price, "USD", scale 2, written 2, 0..=100_000_000_000, eg "39", "Money in US dollars.");
unit!(
    /// Price of a pound, in ten-thousandths of a dollar.
    DollarPerPound as PricePerPound, "USD per lb", scale 4, written 4, 0..=100_000_000_000, eg "2.1739", "Price of one pound of a nutrient.");
unit!(
    /// Phosphorus as the element P, in ten-billionths of a pound. Never added to phosphate.
    PhosphorusPound as Phosphorus, "lb P", scale 10, written 10, 0..=100_000_000_000_000_000, eg "0.25", "Mass of elemental phosphorus (P).");
unit!(
    /// Potassium as the element K, in ten-billionths of a pound. Never added to potash.
    PotassiumPound as Potassium, "lb K", scale 10, written 10, 0..=100_000_000_000_000_000, eg "0.83", "Mass of elemental potassium (K).");
unit!(
    /// Spray on 1,000 square feet, in millionths of a gallon.
    GallonPerKsf as SprayRate, "gal per 1,000 sq ft", scale 6, written 6, 0..=1_000_000_000, eg "5.25", "Gallons of spray per 1,000 square feet.");
unit!(
    /// Spray on an acre, in ten-thousandths of a gallon.
    GallonPerAcre as AcreRate, "gal per acre", scale 4, written 4, 0..=1_000_000_000, eg "228.69", "Gallons of spray per acre of 43,560 square feet.");
unit!(
    /// A short time, in hundredths of a second.
    Second as Seconds, "s", scale 2, written 2, 0..=10_000_000, eg "78", "Seconds, as a stop watch shows them.");
unit!(
    /// Speed over ground, in hundredths of a mile an hour.
    GroundMilePerHour as Speed, "mph", scale 2, written 2, 0..=10_000, eg "3", "Speed over ground in miles per hour.");
unit!(
    /// What a tray or jug caught, in fluid ounces, to the thousandth.
    FluidOunce as CaughtVolume, "fl oz", scale 3, written 3, 0..=100_000_000, eg "20", "Liquid caught, in US fluid ounces.");
unit!(
    /// What one pan of a row caught, in whatever all pans of the row were read in: only their ratios count.
    PanReading as Catch, "as read", scale 3, written 3, 0..=100_000_000, eg "4", "Catch of one pan, in the same measure for the whole row.");
unit!(
    /// A number from a laboratory, to the thousandth, in the unit that its report names.
    LaboratoryNumber as SoilReading, "as reported", scale 3, written 3, 0..=1_000_000_000, eg "45", "A laboratory's number, in the unit of its report.");
unit!(
    /// Acidity that lime must neutralise, in hundredths of a milliequivalent.
    Milliequivalent as SoilAcidity, "meq", scale 2, written 2, 0..=10_000, eg "6.5", "Exchangeable or buffer acidity in milliequivalents, per 100 g or per 100 cm3 as the laboratory measures soil.");
unit!(
    /// Calcium carbonate equivalent of a liming material, in hundredths of a percent. Burnt lime is above 100.
    CarbonateEquivalent as NeutralisingValue, "% CCE", scale 2, written 2, 1..=20_000, eg "90", "Calcium carbonate equivalent of a liming material; pure limestone is 100.");
unit!(
    /// How deep a core was taken, or how far nozzles are apart, in hundredths of an inch.
    Inch as Inches, "in", scale 2, written 2, 0..=100_000, eg "4", "Inches.");
