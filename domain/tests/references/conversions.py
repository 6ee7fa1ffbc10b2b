"""Conversions by an independent units library, as cases for tests/trade/references.rs.

Run once with: pip install pint && python3 conversions.py > conversions.toml
"""
import pint

units = pint.UnitRegistry()
CASES = [
    ("kilograms_per_pound", 1 * units.pound, "kilogram"),
    ("liters_per_gallon", 1 * units.gallon, "liter"),
    ("square_meters_per_square_foot", 1 * units.foot**2, "meter**2"),
    ("square_feet_per_acre", 1 * units.foot**2 * 43560, "foot**2"),
    ("grams_per_square_meter_of_pounds_per_1000", 1 * units.pound / (1000 * units.foot**2), "gram / meter**2"),
    ("gallons_per_1000_of_inch", 1 * units.inch * 1000 * units.foot**2, "gallon"),
    ("feet_per_minute_of_mph", 1 * units.mile / units.hour, "foot / minute"),
]
print(f"# Written by conversions.py with pint {pint.__version__}.")
for name, quantity, unit in CASES:
    print(f"{name} = {quantity.to(unit).magnitude:.9f}")
