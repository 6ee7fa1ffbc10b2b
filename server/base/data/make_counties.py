#!/usr/bin/env python3
"""Makes counties.bin, the table of US county boundaries by which `server/base/src/places` says in which county a point lies.

    npm pack us-atlas@3.0.1 && tar xzf us-atlas-3.0.1.tgz
    server/base/data/make_counties.py package/counties-10m.json server/base/data/counties.bin

Source: the cartographic boundary files of the US Census Bureau, edition of 2017, which are in the public domain, as the npm
package us-atlas 3.0.1 has simplified them and put them on a grid (`counties-10m.json`, ISC licence: LICENSE-us-atlas). A step
of that grid is 0.0036 degrees from west to east and 0.0009 from south to north. Every point of the source is kept, so the table
is as exact as the source and no more exact: a boundary may be off by some hundred metres, and small islands are left out.

The table is a stream of bytes, deflated (RFC 1951). A whole number is written in groups of seven bits, the lowest first, the
high bit set on each but the last; a signed one is folded first (0, -1, 1, -2, 2, ...). A text is its length in bytes and UTF-8.

    grid        four numbers of eight bytes each (IEEE 754, little-endian): longitude and latitude of the grid's corner, and
                its two steps, in degrees
    states      their number; of each its FIPS code, postal code and name
    counties    their number, in the order of their FIPS codes; of each the step from the code before, and its name
    lines       their number; of each the county on its right and the one on its left (0: none, else its place in the list,
                from 1), the number of its points, and each point as signed steps from the point before, across lines too

A line is a stretch of boundary between the same two counties. It stands in the table once, so no gap can open between them.
A line with one county on both sides is all that the source has left of a very small one: Falls Church in Virginia.
"""

import json
import struct
import sys
import zlib
from collections import Counter, defaultdict

# The letters of the post for a state's number, as the national standard has them (ANSI INCITS 38, formerly FIPS 5-2).
POSTAL = {
    1: "al", 2: "ak", 4: "az", 5: "ar", 6: "ca", 8: "co", 9: "ct", 10: "de", 11: "dc", 12: "fl", 13: "ga", 15: "hi",
    16: "id", 17: "il", 18: "in", 19: "ia", 20: "ks", 21: "ky", 22: "la", 23: "me", 24: "md", 25: "ma", 26: "mi",
    27: "mn", 28: "ms", 29: "mo", 30: "mt", 31: "ne", 32: "nv", 33: "nh", 34: "nj", 35: "nm", 36: "ny", 37: "nc",
    38: "nd", 39: "oh", 40: "ok", 41: "or", 42: "pa", 44: "ri", 45: "sc", 46: "sd", 47: "tn", 48: "tx", 49: "ut",
    50: "vt", 51: "va", 53: "wa", 54: "wv", 55: "wi", 56: "wy", 60: "as", 66: "gu", 69: "mp", 72: "pr", 78: "vi",
}


def arcs_of(topology):
    """The arcs on the grid, each point absolute."""
    for arc in topology["arcs"]:
        x = y = 0
        points = []
        for dx, dy in arc:
            x, y = x + dx, y + dy
            points.append((x, y))
        yield points


def steps(points):
    """The steps from point to point. The coarse grid has made one of some neighbours."""
    return ((one, other) for one, other in zip(points, points[1:]) if one != other)


def sides(geometries, arcs):
    """The county on the right of each step between two neighbouring points, and the one on its left.

    Outer rings run clockwise and holes the other way, so the county is always on the right. What a coarse grid has made run
    there and back belongs to both sides and falls out.
    """
    used = defaultdict(Counter)
    for geometry in geometries:
        polygons = {"Polygon": [geometry["arcs"]], "MultiPolygon": geometry["arcs"]}[geometry["type"]]
        for at in (at for polygon in polygons for ring in polygon for at in ring):
            points = arcs[at] if at >= 0 else arcs[~at][::-1]
            for one, other in steps(points):
                used[min(one, other), max(one, other)][int(geometry["id"])] += 1 if one < other else -1
    found = {}
    for step, counties in used.items():
        right = [county for county, count in counties.items() if count == 1]
        left = [county for county, count in counties.items() if count == -1]
        assert len(right) <= 1 and len(left) <= 1 and all(abs(count) <= 1 for count in counties.values()), step
        if right or left:
            found[step] = (right[0] if right else 0, left[0] if left else 0)
    return found


def lines(arcs, beside):
    """Stretches between the same two counties; every step of the boundaries stands in one, and in one only."""
    taken = set()
    for points in arcs:
        pair, line = None, []
        for one, other in steps(points):
            step = (min(one, other), max(one, other))
            if step not in beside or step in taken:
                here = None
            else:
                taken.add(step)
                here = beside[step] if one < other else beside[step][::-1]
            if here != pair or here is None:
                if line:
                    yield pair, line
                pair, line = here, [one] if here else []
            if here:
                line.append(other)
        if line:
            yield pair, line
    assert taken == set(beside)


def strokes(geometries, arcs, seen):
    """The lines of a county that is so small that the source has left no area of it."""
    for geometry in geometries:
        if int(geometry["id"]) not in seen:
            print(f"no area is left of {geometry['id']} {geometry['properties']['name']}", file=sys.stderr)
            yield from ((int(geometry["id"]), arcs[at if at >= 0 else ~at]) for ring in geometry["arcs"][:1] for at in ring[:1])


def whole(number):
    out = bytearray()
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)
    return bytes(out)


def signed(number):
    return whole(number << 1 if number >= 0 else (-number << 1) - 1)


def text(words):
    encoded = words.encode()
    return whole(len(encoded)) + encoded


def table(topology):
    """The table before it is deflated."""
    objects = topology["objects"]
    geometries = objects["counties"]["geometries"]
    arcs = list(arcs_of(topology))
    counties = sorted((int(one["id"]), one["properties"]["name"]) for one in geometries)
    states = sorted((int(one["id"]), one["properties"]["name"]) for one in objects["states"]["geometries"])
    out = bytearray(struct.pack("<4d", *topology["transform"]["translate"], *topology["transform"]["scale"]))
    out += whole(len(states))
    for fips, name in states:
        out += whole(fips) + text(POSTAL[fips]) + text(name)
    out += whole(len(counties))
    before = 0
    for fips, name in counties:
        out += whole(fips - before) + text(name)
        before = fips
    place = {fips: at + 1 for at, (fips, _) in enumerate(counties)} | {0: 0}
    every = list(lines(arcs, sides(geometries, arcs)))
    every += [((fips, fips), line) for fips, line in strokes(geometries, arcs, {fips for pair, _ in every for fips in pair})]
    out += whole(len(every))
    x = y = 0
    for (right, left), points in every:
        out += whole(place[right]) + whole(place[left]) + whole(len(points))
        for to_x, to_y in points:
            out += signed(to_x - x) + signed(to_y - y)
            x, y = to_x, to_y
    print(f"{len(counties)} counties, {len(every)} lines, {sum(len(points) for _, points in every)} points", file=sys.stderr)
    return bytes(out)


def main():
    source, target = sys.argv[1:]
    with open(source, encoding="utf-8") as file:
        plain = table(json.load(file))
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = packer.compress(plain) + packer.flush()
    with open(target, "wb") as file:
        file.write(packed)
    print(f"{len(plain)} bytes, {len(packed)} deflated", file=sys.stderr)


if __name__ == "__main__":
    main()
