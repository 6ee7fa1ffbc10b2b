"""What features leave of made-up lawns, and lawns laid over each other, by an independent library, as cases for
tests/trade/references.rs.

Run once with: pip install geographiclib shapely && python3 setbacks.py > setbacks.toml

Everything is drawn in feet on the plane that touches the ellipsoid at one place; the foot is that of geographiclib there.
"""
import math
import random

import geographiclib
import shapely
from geographiclib.geodesic import Geodesic
from shapely.geometry import LineString, Point, Polygon

LONGITUDE, LATITUDE, FOOT = -76.88, 40.27, 0.3048
# Degrees of a foot east and north, by the geodesic of a thousand feet.
EAST = Geodesic.WGS84.Direct(LATITUDE, LONGITUDE, 90, 1000 * FOOT)["lon2"] - LONGITUDE
NORTH = Geodesic.WGS84.Direct(LATITUDE, LONGITUDE, 0, 1000 * FOOT)["lat2"] - LATITUDE


def place(corner):
    return [round(LONGITUDE + corner[0] * EAST / 1000, 9), round(LATITUDE + corner[1] * NORTH / 1000, 9)]


def ring(corners):
    return [place(corner) for corner in corners] + [place(corners[0])]


def kept(feature, feet):
    corners, closed = feature
    shape = Polygon(corners) if closed else LineString(corners) if len(corners) > 1 else Point(corners[0])
    return shape.buffer(feet, quad_segs=256)


def case(what, lawn, not_lawn=(), features=(), feet=0):
    left = shapely.union_all([Polygon(corners) for corners in lawn])
    left = left.difference(shapely.union_all([Polygon(corners) for corners in not_lawn]))
    left = left.difference(shapely.union_all([kept(feature, feet) for feature in features]))
    print("\n[[setback]]")
    print(f'what = "{what}"')
    print(f"lawn = {[ring(corners) for corners in lawn]}")
    print(f"not_lawn = {[ring(corners) for corners in not_lawn]}")
    drawn = [ring(corners) if closed else [place(corner) for corner in corners] for corners, closed in features]
    print(f"features = {drawn}")
    print(f'distance_ft = "{feet}"')
    print(f'square_feet = "{left.area:.2f}"')


def comb(turned, shift):
    """Narrow teeth over 300 ft, standing or lying."""
    corners = [corner for tooth in range(24) for corner in ((tooth * 12, 300), (tooth * 12 + 3 + shift, 0))]
    corners += [(288, 310 + shift), (0, 310 + shift)]
    return [(y, x) for x, y in corners] if turned else corners


LOT = [(0, 0), (100, 0), (100, 80), (0, 80)]
FIELD = [(0, 0), (600, 0), (600, 500), (0, 500)]
chance = random.Random(26)
print(f"# Written by setbacks.py with shapely {shapely.__version__} and geographiclib {geographiclib.__version__}.")
case("a line that crosses itself", [LOT], features=[([(20, 20), (80, 60), (80, 20), (20, 60)], False)], feet=5)
case("a ring drawn there and back", [LOT], features=[([(20, 40), (50, 40), (80, 40), (50, 40)], True)], feet=10)
case("a pond clockwise", [LOT], features=[([(30, 30), (35, 60), (60, 55)], True)], feet=10)
case("two wells", [LOT], features=[([(20, 20)], False), ([(50, 50)], False)], feet=12)
winding = [(at * 6, round(100 + 30 * math.sin(at / 3), 2)) for at in range(100)]
case("a winding creek", [FIELD], features=[(winding, False)], feet=25)
jitter = [(round(at * 20 + chance.uniform(-15, 15), 2), round(250 + chance.uniform(-40, 40), 2)) for at in range(31)]
case("a creek walked unsteadily", [FIELD], features=[(jitter, False)], feet=15)
case("combs laid across combs", [comb(False, at / 50) for at in range(5)], [comb(True, at / 50) for at in range(4)])
