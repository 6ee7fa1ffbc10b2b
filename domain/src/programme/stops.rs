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
    /// Whether this technician may make a stop on a day.
    fn goes(&mut self, _stop: usize, _on: Day, _technician: usize) -> Result<(), String> {
        Ok(())
    }
    /// Ground of a stop that this technician does not treat on the day anyway; all of it, where nothing is said.
    fn ground(&self, _stop: usize, _on: Day, _technician: usize) -> Option<Area> {
        None
    }
    /// The stop goes to this day, which was just let through, and to this technician.
    fn place(&mut self, stop: usize, at: StopPlaced);
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

    /// Who can still do this on a day, the best first: whoever is there anyway, else the one with the least to do.
    fn room(&self, on: Day, (at, stop): (usize, &StopAsked), days: &impl Days) -> Vec<usize> {
        let fits = |technician: &usize, stops: i64| {
            let load = self.load(on, *technician);
            let area = days.ground(at, on, *technician).unwrap_or(stop.area);
            self.technicians.get(*technician).is_some_and(|most| {
                most.stops.is_none_or(|most| load.0 + stops <= most)
                    && most.area.is_none_or(|most| load.1.saturating_add(area.raw()) <= most.raw())
            })
        };
        if let Some(there) = self.visited.get(&(on, stop.property)) {
            return there.iter().copied().filter(|there| fits(there, 0)).collect();
        }
        let mut free: Vec<usize> = (0..self.technicians.len()).filter(|technician| fits(technician, 1)).collect();
        free.sort_by_key(|technician| (self.load(on, *technician), *technician));
        free
    }

    /// Sends somebody to a stop on a day, or says why nobody goes; nothing where nobody has room.
    fn send(
        &self,
        on: Day,
        (at, stop): (usize, &StopAsked),
        days: &mut impl Days,
    ) -> Option<Result<StopPlaced, String>> {
        let free = self.room(on, (at, stop), days);
        if free.is_empty() {
            return None;
        }
        if let Err(words) = days.may(at, on) {
            return Some(Err(words));
        }
        let mut why = None;
        for technician in free {
            match days.goes(at, on, technician) {
                Ok(()) => return Some(Ok(StopPlaced { on, technician })),
                Err(words) => why = why.or(Some(words)),
            }
        }
        why.map(Err)
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
                match self.send(on, (at, stop), days) {
                    None => {}
                    Some(Ok(there)) => {
                        let area = days.ground(at, on, there.technician).unwrap_or(stop.area);
                        days.place(at, there);
                        self.add(stop.property, area, there);
                        if let Some(slot) = placed.get_mut(at) {
                            *slot = Some(there);
                        }
                    }
                    Some(Err(words)) => {
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
        let full = if stop.from == stop.to {
            format!("no technician has room on {}", stop.from)
        } else {
            format!("no technician has room between {} and {}", stop.from, stop.to)
        };
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
