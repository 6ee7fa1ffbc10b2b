//! The counties of the United States by their boundaries: in which one a point lies, and which others are near.
//!
//! The table is made by `server/base/data/make_counties.py`, which says where it comes from, how it is written and how coarse it is:
//! a boundary may be off by some hundred metres, small islands are left out, and the counties are those of 2017. The first
//! question reads it, which takes some milliseconds, and a megabyte from then on.
//!
//! A point lies in the county below the first boundary to its north. Each boundary stands in the table once, with the county on
//! either side, so every point has one county at most, and no gap opens between two.

mod names;

use std::{io::Read, sync::LazyLock};

use flate2::read::DeflateDecoder;

pub(super) use names::{by_name, codes_of, name_of, states, word};

static PACKED: &[u8] = include_bytes!("../../data/counties.bin");

static TABLE: LazyLock<Option<Table>> = LazyLock::new(|| {
    let table = read(PACKED);
    if table.is_none() {
        tracing::error!("the table of counties cannot be read");
    }
    table
});

/// A boundary may be drawn on the wrong side of a point that is so near.
const NEAR_METRES: f64 = 1_609.344;
/// Beaches and islands that the table leaves out are so far from the nearest boundary at most.
const OFF_SHORE_METRES: f64 = 2.0 * NEAR_METRES;
/// Length of a degree of latitude: ten million metres from the equator to the pole, by the first meaning of the metre.
const DEGREE_METRES: f64 = 10_000_000.0 / 90.0;
/// Steps of the grid in one column of the index.
const COLUMN: i32 = 256;
/// Numbers of independent cities, which belong to no county, begin here (ANSI INCITS 31, formerly FIPS 6-4).
const INDEPENDENT_CITY: u32 = 510;

/// A state, or another area of the United States that has letters of its own, such as the District of Columbia.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct State {
    fips: u32,
    /// The letters of the post, in small letters.
    postal: String,
    pub name: String,
}

impl State {
    /// Such as `us-md`.
    pub fn code(&self) -> String {
        format!("us-{}", self.postal)
    }
}

/// A county, or what stands in its place: a parish, a borough, an independent city, or a state that has no counties.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct County {
    fips: u32,
    name: String,
}

/// A county with its state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Within {
    pub county: &'static County,
    pub state: &'static State,
}

impl Within {
    /// Such as `us-md-anne-arundel`; nothing where the state has no counties. An independent city is told from the county of
    /// its name: `us-md-baltimore` is the county, `us-md-baltimore-city` the city. Accents and apostrophes fall away.
    pub fn code(&self) -> Option<String> {
        if self.whole_state() {
            return None;
        }
        let word = slug(&self.county.name);
        // Carson City says it already.
        let city = if self.city() && !word.ends_with("-city") { "-city" } else { "" };
        Some(format!("{}-{word}{city}", self.state.code()))
    }

    /// The District of Columbia and Guam are not divided.
    fn whole_state(&self) -> bool {
        ["dc", "gu"].contains(&self.state.postal.as_str())
    }

    fn city(&self) -> bool {
        self.county.fips % 1_000 >= INDEPENDENT_CITY
    }

    /// What people call it, with its state.
    pub fn words(&self) -> String {
        let (name, state) = (&self.county.name, &self.state.name);
        match self.state.postal.as_str() {
            _ if self.whole_state() => name.clone(),
            _ if self.city() => format!("the city of {name}, {state}"),
            "la" => format!("{name} Parish, {state}"),
            // Some of these are boroughs, municipalities, islands or areas, and the table does not say which.
            "ak" | "as" | "gu" | "mp" | "pr" | "vi" => format!("{name}, {state}"),
            _ => format!("{name} County, {state}"),
        }
    }
}

/// What the table says about a point.
#[derive(Debug)]
pub(super) struct Found {
    pub within: Within,
    /// How far outside of the drawn boundary the point lies; 0 inside of it.
    pub metres_outside: f64,
    /// Other counties whose boundary runs so near that the point may lie in them, the nearest first.
    pub near: Vec<Within>,
}

/// The county inside of whose drawn boundary a point lies. It costs a fraction of `find`, for whoever asks of many points.
pub(super) fn inside(latitude: f64, longitude: f64) -> Option<Within> {
    let table = TABLE.as_ref()?;
    table.within(table.inside(&table.grid.spot(latitude, longitude))?)
}

/// Where a point lies, and what is near; nothing outside of the United States and on the open sea.
pub(super) fn find(latitude: f64, longitude: f64) -> Option<Found> {
    let table = TABLE.as_ref()?;
    let spot = table.grid.spot(latitude, longitude);
    let around = table.around(&spot, OFF_SHORE_METRES);
    let inside = table.inside(&spot).map(|county| (county, 0.0));
    let (county, metres_outside) = inside.or_else(|| around.first().copied())?;
    let near = around.iter().filter(|(other, metres)| *other != county && *metres <= NEAR_METRES);
    let near = near.filter_map(|(other, _)| table.within(*other)).collect();
    Some(Found { within: table.within(county)?, metres_outside, near })
}

/// Whether a code is that of a county of the table.
pub(super) fn is_county(code: &str) -> bool {
    code.get(..5).is_some_and(|state| names::counties_of(state).any(|within| within.code().as_deref() == Some(code)))
}

/// Where the grid of the table lies.
#[derive(Debug)]
struct Grid {
    west: f64,
    south: f64,
    step_east: f64,
    step_north: f64,
}

/// A point in steps of the grid, and how long these are there.
struct Spot {
    x: f64,
    y: f64,
    metres_east: f64,
    metres_north: f64,
}

impl Grid {
    fn spot(&self, latitude: f64, longitude: f64) -> Spot {
        let x = (longitude - self.west) / self.step_east;
        Spot {
            // A line straight north that runs through no corner of a boundary crosses each of them plainly or not at all.
            x: x.floor() + (x - x.floor()).clamp(0.000_1, 0.999_9),
            y: (latitude - self.south) / self.step_north,
            metres_east: DEGREE_METRES * latitude.to_radians().cos() * self.step_east,
            metres_north: DEGREE_METRES * self.step_north,
        }
    }
}

/// A stretch of boundary between two counties, seen along it. The counties are places in the list, from 1; 0 is none.
#[derive(Debug)]
struct Line {
    right: u16,
    left: u16,
    points: std::ops::Range<usize>,
}

/// The lines that touch a stretch of the grid from west to east.
#[derive(Debug)]
struct Column {
    west: f64,
    lines: Vec<usize>,
}

#[derive(Debug)]
struct Table {
    grid: Grid,
    states: Vec<State>,
    counties: Vec<County>,
    lines: Vec<Line>,
    points: Vec<(i32, i32)>,
    columns: Vec<Column>,
}

impl Table {
    fn within(&'static self, county: u16) -> Option<Within> {
        let county = self.counties.get(usize::from(county).checked_sub(1)?)?;
        let state = self.states.iter().find(|state| state.fips == county.fips / 1_000)?;
        Some(Within { county, state })
    }

    /// The lines of the columns between two places.
    fn lines(&self, west: f64, east: f64) -> impl Iterator<Item = (&Line, &[(i32, i32)])> {
        let from = self.columns.partition_point(|column| column.west <= west).saturating_sub(1);
        let to = self.columns.partition_point(|column| column.west <= east);
        let columns = self.columns.get(from..to).unwrap_or_default();
        let lines = columns.iter().flat_map(|column| &column.lines).filter_map(|at| self.lines.get(*at));
        lines.filter_map(|line| Some((line, self.points.get(line.points.clone())?)))
    }

    /// The boundaries straight north and south of a place: how far north each is, with the counties below and above it.
    fn crossings(&self, x: f64) -> impl Iterator<Item = (f64, u16, u16)> {
        // What has one county on both sides has no area.
        let bounds = self.lines(x, x).filter(|(line, _)| line.right != line.left);
        bounds.flat_map(move |(line, points)| {
            points.windows(2).filter_map(move |step| {
                let [(from_x, from_y), (to_x, to_y)] = step else { return None };
                let ([from_x, from_y], [to_x, to_y]) =
                    ([*from_x, *from_y].map(f64::from), [*to_x, *to_y].map(f64::from));
                if (from_x < x) == (to_x < x) {
                    return None;
                }
                let y = from_y + (to_y - from_y) * (x - from_x) / (to_x - from_x);
                // Whoever walks east has the south on the right.
                let (below, above) = if from_x < x { (line.right, line.left) } else { (line.left, line.right) };
                Some((y, below, above))
            })
        })
    }

    fn inside(&self, spot: &Spot) -> Option<u16> {
        let north = self.crossings(spot.x).filter(|(y, ..)| *y >= spot.y);
        north.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, below, _)| below).filter(|county| *county != 0)
    }

    /// The counties with a boundary no further away than this, each with its distance in metres, the nearest first.
    fn around(&self, spot: &Spot, metres: f64) -> Vec<(u16, f64)> {
        let reach = metres / spot.metres_east;
        let mut found: Vec<(u16, f64)> = Vec::new();
        for (line, points) in self.lines(spot.x - reach, spot.x + reach) {
            let away = points.windows(2).map(|step| distance(spot, step)).fold(f64::INFINITY, f64::min);
            let sides = [line.right, line.left].into_iter().filter(|county| *county != 0 && away <= metres);
            found.extend(sides.map(|county| (county, away)));
        }
        found.sort_by(|one, other| one.0.cmp(&other.0).then(one.1.total_cmp(&other.1)));
        found.dedup_by_key(|(county, _)| *county);
        found.sort_by(|one, other| one.1.total_cmp(&other.1));
        found
    }
}

/// Metres from a point to a step of a boundary. Over two miles, the earth is flat enough.
fn distance(spot: &Spot, step: &[(i32, i32)]) -> f64 {
    let seen = |(x, y): &(i32, i32)| {
        ((f64::from(*x) - spot.x) * spot.metres_east, (f64::from(*y) - spot.y) * spot.metres_north)
    };
    let [from, to] = step else { return f64::INFINITY };
    let ((from_east, from_north), (to_east, to_north)) = (seen(from), seen(to));
    let (east, north) = (to_east - from_east, to_north - from_north);
    // How far along the step its nearest point is. No step is without length.
    let along = (-(from_east * east + from_north * north) / (east * east + north * north)).clamp(0.0, 1.0);
    (from_east + along * east).hypot(from_north + along * north)
}

/// A name as a part of a code: `prince-georges`, `dona-ana`.
fn slug(name: &str) -> String {
    let plain: String = name.chars().filter(|letter| *letter != '\'').map(plain_letter).collect();
    plain.split_whitespace().collect::<Vec<_>>().join("-")
}

fn plain_letter(letter: char) -> char {
    match letter {
        'á' | 'Á' => 'a',
        'é' => 'e',
        'í' => 'i',
        'ñ' | 'Ñ' => 'n',
        'ó' => 'o',
        'ú' | 'ü' => 'u',
        _ if letter.is_ascii_alphanumeric() => letter.to_ascii_lowercase(),
        _ => ' ',
    }
}

/// Reads the table; nothing if it is not written as it should be.
fn read(packed: &[u8]) -> Option<Table> {
    let mut plain = Vec::new();
    DeflateDecoder::new(packed).read_to_end(&mut plain).ok()?;
    let mut bytes = Bytes(&plain);
    let grid =
        Grid { west: bytes.float()?, south: bytes.float()?, step_east: bytes.float()?, step_north: bytes.float()? };
    let states =
        bytes.list(|bytes| Some(State { fips: bytes.whole()?, postal: bytes.text()?, name: bytes.text()? }))?;
    let mut fips = 0;
    let counties = bytes.list(|bytes| {
        fips += bytes.whole()?;
        Some(County { fips, name: bytes.text()? })
    })?;
    let (mut points, mut x, mut y) = (Vec::new(), 0, 0);
    let lines = bytes.list(|bytes| {
        let (right, left) = (u16::try_from(bytes.whole()?).ok()?, u16::try_from(bytes.whole()?).ok()?);
        let from = points.len();
        for _ in 0..bytes.whole()? {
            x += bytes.signed()?;
            y += bytes.signed()?;
            points.push((x, y));
        }
        Some(Line { right, left, points: from..points.len() })
    })?;
    let columns = columns(&lines, &points);
    bytes.0.is_empty().then_some(Table { grid, states, counties, lines, points, columns })
}

fn columns(lines: &[Line], points: &[(i32, i32)]) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let along = || points.get(line.points.clone()).unwrap_or_default().iter().map(|(x, _)| x / COLUMN);
        let (Some(west), Some(east)) = (along().min(), along().max()) else { continue };
        for column in west..=east {
            let place = usize::try_from(column).unwrap_or_default();
            while columns.len() <= place {
                let number = i32::try_from(columns.len()).unwrap_or_default();
                columns.push(Column { west: f64::from(number * COLUMN), lines: Vec::new() });
            }
            columns.get_mut(place).into_iter().for_each(|column| column.lines.push(at));
        }
    }
    columns
}

/// What of the table is not read yet.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    fn whole(&mut self) -> Option<u32> {
        let mut number = 0;
        for group in 0..4 {
            let byte = self.byte()?;
            number |= u32::from(byte & 0x7f) << (7 * group);
            if byte < 0x80 {
                return Some(number);
            }
        }
        None
    }

    fn signed(&mut self) -> Option<i32> {
        let folded = self.whole()?;
        let half = i32::try_from(folded >> 1).ok()?;
        Some(if folded & 1 == 0 { half } else { -half - 1 })
    }

    fn float(&mut self) -> Option<f64> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(f64::from_le_bytes(*first))
    }

    fn text(&mut self) -> Option<String> {
        let length = usize::try_from(self.whole()?).ok()?;
        let (first, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        String::from_utf8(first.to_vec()).ok()
    }

    /// A list with its length before it.
    fn list<T>(&mut self, mut one: impl FnMut(&mut Self) -> Option<T>) -> Option<Vec<T>> {
        (0..self.whole()?).map(|_| one(self)).collect()
    }
}

#[cfg(test)]
mod tests;
