"""Geodesic areas of made-up outlines by an independent library, as cases for tests/trade/areas.rs.

Run once with: pip install geographiclib && python3 outlines.py > outlines.toml
"""
import math
import random

from geographiclib.geodesic import Geodesic

SQUARE_METERS_PER_SQUARE_FOOT = 0.09290304


def outline(longitude, latitude, corners, meters, seed):
    """A star-shaped ring around a place, so that it never crosses itself."""
    chance = random.Random(seed)
    ring = []
    for corner in range(corners):
        angle = 2 * math.pi * corner / corners
        radius = meters * chance.uniform(0.4, 1.0)
        north = radius * math.sin(angle) / 111_000
        east = radius * math.cos(angle) / (111_000 * math.cos(math.radians(latitude)))
        ring.append((round(longitude + east, 7), round(latitude + north, 7)))
    return ring


def square_feet(ring):
    polygon = Geodesic.WGS84.Polygon()
    for longitude, latitude in ring:
        polygon.AddPoint(latitude, longitude)
    return abs(polygon.Compute(False, True)[2]) / SQUARE_METERS_PER_SQUARE_FOOT


print("# Written by outlines.py with geographiclib", end="")
import geographiclib  # noqa: E402

print(f" {geographiclib.__version__}.")
PLACES = [(-76.88, 40.27), (-81.7, 28.5), (-93.26, 44.98), (-122.33, 47.61), (-149.9, 61.2), (0.0, 0.0), (151.2, -33.9)]
for number, (longitude, latitude) in enumerate(PLACES):
    for corners, meters in [(3, 8), (5, 20), (17, 60), (40, 400)]:
        ring = outline(longitude, latitude, corners, meters, number * 100 + corners)
        print("\n[[outline]]")
        print(f"ring = {[list(place) for place in ring + ring[:1]]}")
        print(f'square_feet = "{square_feet(ring):.2f}"')
