//! Stops of a season and their days: one stop a property and day, and no more on a day than the technicians can do.

use std::collections::{BTreeMap, HashMap};

use crate::{quantity::Area, time::Day};

/// What one technician can do on one day. What is not named is not limited.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DayCapacity {
    pub stops: Option<i64>,
    pub area: Option<Area>,
}

/// Work at one property that is done in one go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StopAsked {
    /// Which property, by a number of the caller's. Two stops of one property on one day are one.
    pub property: usize,
    pub from: Day,
    pub to: Day,
    /// Ground that is treated.
    pub area: Area,
}

/// Where a stop went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StopPlaced {
    pub on: Day,
    /// Which of the technicians.
    pub technician: usize,
}

/// Work that stands on a technician's day already.
#[derive(Debug, Clone, Copy)]
pub struct StopTaken {
    pub on: Day,
    pub technician: usize,
    pub property: usize,
    pub area: Area,
}

/// What the rules say of days.
pub trait Days {
    /// Whether a stop may be made on a day with everything else as it stands.
    fn may(&mut self, stop: usize, on: Day) -> Result<(), String>;
    /// The stop goes to this day, which was just let through.
    fn place(&mut self, stop: usize, on: Day);
}

/// Every technician's days as they fill.
#[derive(Debug)]
pub struct DayBook<'a> {
    technicians: &'a [DayCapacity],
    /// Stops and hundredths of a square foot.
    load: BTreeMap<(Day, usize), (i64, i64)>,
    /// Who is at a property on a day, in the order in which they were sent.
    visited: HashMap<(Day, usize), Vec<usize>>,
}

impl<'a> DayBook<'a> {
    pub fn new(technicians: &'a [DayCapacity], taken: &[StopTaken]) -> Self {
        let mut book = Self { technicians, load: BTreeMap::new(), visited: HashMap::new() };
        for one in taken {
            book.add(one.property, one.area, StopPlaced { on: one.on, technician: one.technician });
        }
        book
    }

    fn add(&mut self, property: usize, area: Area, at: StopPlaced) {
        let there = self.visited.entry((at.on, property)).or_default();
        let again = there.contains(&at.technician);
        if !again {
            there.push(at.technician);
        }
        let load = self.load.entry((at.on, at.technician)).or_default();
        load.0 += i64::from(!again);
        load.1 = load.1.saturating_add(area.raw());
    }

    fn load(&self, on: Day, technician: usize) -> (i64, i64) {
        self.load.get(&(on, technician)).copied().unwrap_or_default()
    }

    /// Who can still do this on a day: whoever is there anyway, else the one with the least to do.
    fn room(&self, on: Day, property: usize, area: Area) -> Option<usize> {
        let fits = |technician: &usize, stops: i64| {
            let load = self.load(on, *technician);
            self.technicians.get(*technician).is_some_and(|most| {
                most.stops.is_none_or(|most| load.0 + stops <= most)
                    && most.area.is_none_or(|most| load.1.saturating_add(area.raw()) <= most.raw())
            })
        };
        match self.visited.get(&(on, property)) {
            Some(there) => there.iter().copied().find(|there| fits(there, 0)),
            None => (0..self.technicians.len())
                .filter(|technician| fits(technician, 1))
                .min_by_key(|technician| (self.load(on, *technician), *technician)),
        }
    }

    fn ever_fits(&self, area: Area) -> bool {
        self.technicians.iter().any(|most| most.area.is_none_or(|most| area <= most) && most.stops != Some(0))
    }

    /// Gives each stop a day and a technician, day after day, the stop first whose last lawful day comes first. Of what finds no
    /// day it says why. The same question has the same answer.
    pub fn spread(&mut self, stops: &[StopAsked], days: &mut impl Days) -> Vec<Result<StopPlaced, String>> {
        let mut placed: Vec<Option<StopPlaced>> = vec![None; stops.len()];
        let mut why: Vec<Option<String>> = vec![None; stops.len()];
        let mut last: Vec<Option<Day>> = vec![None; stops.len()];
        let limited = self.technicians.iter().any(|most| *most != DayCapacity::default());
        let (Some(mut on), Some(end)) =
            (stops.iter().map(|stop| stop.from).min(), stops.iter().map(|stop| stop.to).max())
        else {
            return Vec::new();
        };
        while on <= end {
            let waits = |at: &usize| {
                placed.get(*at).is_some_and(Option::is_none)
                    && stops.get(*at).is_some_and(|stop| stop.from <= on && on <= stop.to)
            };
            let mut open: Vec<usize> = (0..stops.len()).filter(waits).collect();
            if limited {
                for at in &open {
                    if let (Some(stop), Some(known)) = (stops.get(*at), last.get_mut(*at)) {
                        let _ = known.get_or_insert_with(|| last_day(*at, stop, on, days));
                    }
                }
            }
            open.sort_by_key(|at| (last.get(*at).copied().flatten(), stops.get(*at).map(|stop| stop.to), *at));
            for at in open {
                let Some(stop) = stops.get(at) else { continue };
                let Some(technician) = self.room(on, stop.property, stop.area) else { continue };
                match days.may(at, on) {
                    Ok(()) => {
                        days.place(at, on);
                        let there = StopPlaced { on, technician };
                        self.add(stop.property, stop.area, there);
                        if let Some(slot) = placed.get_mut(at) {
                            *slot = Some(there);
                        }
                    }
                    Err(words) => {
                        if let Some(slot) = why.get_mut(at) {
                            let _ = slot.get_or_insert(words);
                        }
                    }
                }
            }
            on = on.plus_days(1);
        }
        let told = |(at, stop): (usize, &StopAsked)| {
            placed.get(at).copied().flatten().ok_or_else(|| self.no_day(stop, why.get(at).cloned().flatten()))
        };
        stops.iter().enumerate().map(told).collect()
    }

    fn no_day(&self, stop: &StopAsked, why: Option<String>) -> String {
        if !self.ever_fits(stop.area) {
            return format!("{} sq ft are more than any technician can treat on one day", stop.area);
        }
        let full = format!("no technician has room between {} and {}", stop.from, stop.to);
        why.map_or_else(|| full.clone(), |why| format!("{full} on a day that the rules let through: {why}"))
    }
}

/// The last day on which a stop may be made; its first when none is.
fn last_day(at: usize, stop: &StopAsked, first: Day, days: &mut impl Days) -> Day {
    let mut on = stop.to;
    while on > first && days.may(at, on).is_err() {
        on = on.plus_days(-1);
    }
    on
}
