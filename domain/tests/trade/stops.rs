//! Days and technicians of stops. The figures are counted by hand: so many stops on so many days.

use std::collections::HashMap;

use domain::{
    programme::stops::{DayBook, DayCapacity, Days, StopAsked, StopPlaced, StopTaken},
    quantity::Area,
    time::Day,
};
use proptest::prelude::*;

use super::amount;
use crate::facts::day;

/// Rules that close some days of a stop.
#[derive(Default)]
struct Closed(HashMap<usize, Vec<Day>>);

impl Days for Closed {
    fn may(&mut self, stop: usize, on: Day) -> Result<(), String> {
        let closed = self.0.get(&stop).is_some_and(|days| days.contains(&on));
        if closed { Err("closed".to_owned()) } else { Ok(()) }
    }

    fn place(&mut self, _: usize, _: StopPlaced) {}
}

/// A second technician who may go nowhere from the second day on.
struct Uncertified;

impl Days for Uncertified {
    fn may(&mut self, _: usize, _: Day) -> Result<(), String> {
        Ok(())
    }

    fn goes(&mut self, _: usize, on: Day, technician: usize) -> Result<(), String> {
        let ran_out = technician == 1 && on > day("2026-09-01");
        if ran_out { Err("the certificate ran out".to_owned()) } else { Ok(()) }
    }

    fn place(&mut self, _: usize, _: StopPlaced) {}
}

#[test]
fn a_stop_goes_only_to_somebody_who_may_make_it_on_that_day() {
    // Four stops on two days for two technicians of two each: one may go on the first day alone.
    let two = DayCapacity { stops: Some(2), area: None };
    let stops: Vec<StopAsked> = (0..4).map(|at| stop(at, "2026-09-02", "2026-09-03")).collect();
    let placed = DayBook::new(&[two, two], &[]).spread(&stops, &mut Uncertified);
    assert!(placed.iter().all(|one| one.as_ref().is_ok_and(|there| there.technician == 0)), "{placed:?}");
    let last: Vec<StopAsked> = (0..3).map(|at| stop(at, "2026-09-02", "2026-09-02")).collect();
    let placed = DayBook::new(&[two, two], &[]).spread(&last, &mut Uncertified);
    assert!(placed[2].as_ref().is_err_and(|why| why.ends_with("the certificate ran out")), "{placed:?}");
    let first: Vec<StopAsked> = (0..4).map(|at| stop(at, "2026-09-01", "2026-09-01")).collect();
    assert!(DayBook::new(&[two, two], &[]).spread(&first, &mut Uncertified).iter().all(Result::is_ok));
}

/// Two stops on one lawn: what is treated on a day is treated once, whatever goes down there.
#[derive(Default)]
struct OneLawn(Vec<StopPlaced>);

impl Days for OneLawn {
    fn may(&mut self, _: usize, _: Day) -> Result<(), String> {
        Ok(())
    }

    fn ground(&self, _: usize, on: Day, technician: usize) -> Option<Area> {
        self.0.contains(&StopPlaced { on, technician }).then_some(Area::ZERO)
    }

    fn place(&mut self, _: usize, at: StopPlaced) {
        self.0.push(at);
    }
}

#[test]
fn ground_that_is_treated_twice_on_a_day_counts_once() {
    let most = DayCapacity { stops: None, area: Some(amount("6000")) };
    let twice = [stop(0, "2026-09-01", "2026-09-01"); 2];
    assert!(DayBook::new(&[most], &[]).spread(&twice, &mut OneLawn::default()).iter().all(Result::is_ok));
    assert!(DayBook::new(&[most], &[]).spread(&twice, &mut Closed::default())[1].is_err());
}

fn stop(property: usize, from: &str, to: &str) -> StopAsked {
    StopAsked { property, from: day(from), to: day(to), area: amount("5000") }
}

const THREE: DayCapacity = DayCapacity { stops: Some(3), area: None };

#[test]
fn no_day_is_over_its_capacity_and_the_last_day_is_kept() {
    // Seven stops in three days of three each; the last two named must be done on the first day.
    let mut stops: Vec<StopAsked> = (0..7).map(|at| stop(at, "2026-09-01", "2026-09-03")).collect();
    stops[5].to = day("2026-09-01");
    stops[6].to = day("2026-09-01");
    let placed = DayBook::new(&[THREE], &[]).spread(&stops, &mut Closed::default());
    let days: Vec<String> = placed.iter().map(|one| one.as_ref().expect("a day").on.to_string()).collect();
    assert_eq!(days[5..], ["2026-09-01", "2026-09-01"]);
    for on in ["2026-09-01", "2026-09-02", "2026-09-03"] {
        assert!(days.iter().filter(|day| *day == on).count() <= 3, "{days:?}");
    }
    // A last day that a rule closes is not the last day: the stop goes before the others.
    let closed = HashMap::from([(4, vec![day("2026-09-02"), day("2026-09-03")])]);
    let placed = DayBook::new(&[THREE], &[]).spread(&stops[..5], &mut Closed(closed));
    assert_eq!(placed[4].as_ref().expect("a day").on, day("2026-09-01"));
}

#[test]
fn what_does_not_fit_says_so() {
    let stops: Vec<StopAsked> = (0..4).map(|at| stop(at, "2026-09-01", "2026-09-01")).collect();
    let placed = DayBook::new(&[THREE], &[]).spread(&stops, &mut Closed::default());
    assert_eq!(placed[3], Err("no technician has room on 2026-09-01".to_owned()));
    let small = DayCapacity { stops: None, area: Some(amount("4000")) };
    let placed = DayBook::new(&[small], &[]).spread(&stops[..1], &mut Closed::default());
    assert_eq!(placed[0], Err("5000 sq ft are more than any technician can treat on one day".to_owned()));
    let closed = Closed(HashMap::from([(0, vec![day("2026-09-01")])]));
    let placed = DayBook::new(&[THREE], &[]).spread(&stops[..1], &mut { closed });
    assert!(placed[0].as_ref().is_err_and(|why| why.ends_with("closed")), "{placed:?}");
}

#[test]
fn what_stands_already_takes_room_and_a_property_is_visited_once_a_day() {
    let one = DayCapacity { stops: Some(1), area: None };
    let stops = [stop(7, "2026-09-01", "2026-09-02"), stop(8, "2026-09-01", "2026-09-02")];
    // The second technician is at property 8 on the first day anyway, so the first goes to property 7.
    let there = StopTaken { on: day("2026-09-01"), technician: 1, property: 8, area: amount("1000") };
    let placed = DayBook::new(&[one, one], &[there]).spread(&stops, &mut Closed::default());
    let placed: Vec<_> = placed.into_iter().map(|one| one.expect("a day")).collect();
    assert_eq!([placed[0].technician, placed[1].technician], [0, 1]);
    assert_eq!([placed[0].on, placed[1].on], [day("2026-09-01"); 2]);
    // Both are at property 8: the second stop of each there is no further stop, so one more fits on each of their days.
    let two = DayCapacity { stops: Some(2), area: None };
    let at = |technician| StopTaken { on: day("2026-09-01"), technician, property: 8, area: amount("1000") };
    let one_day = [stop(6, "2026-09-01", "2026-09-01"), stop(7, "2026-09-01", "2026-09-01")];
    let placed = DayBook::new(&[two, two], &[at(0), at(1), at(0), at(1)]).spread(&one_day, &mut Closed::default());
    assert!(placed.iter().all(Result::is_ok), "{placed:?}");
    // Without technicians' limits everything goes to its first day.
    let free = DayBook::new(&[DayCapacity::default()], &[]).spread(&stops, &mut Closed::default());
    assert!(free.iter().all(|one| one.as_ref().expect("a day").on == day("2026-09-01")));
}

proptest! {
    /// Whatever the windows: no day over its capacity, every day within its window; and where there is room for all by Hall's
    /// condition for intervals (each span of days holds no more stops that must lie in it than it has room for), all are placed.
    #[test]
    fn windows_of_days_are_filled_as_far_as_they_can_be(
        windows in prop::collection::vec((0_i32..12, 0_i32..6), 1..24),
        most in 1_i64..4,
    ) {
        let first = day("2026-09-01");
        let area: Area = amount("5000");
        let ask = |(at, (from, long)): (usize, &(i32, i32))| {
            StopAsked { property: at, from: first.plus_days(*from), to: first.plus_days(from + long), area }
        };
        let stops: Vec<StopAsked> = windows.iter().enumerate().map(ask).collect();
        let capacity = [DayCapacity { stops: Some(most), area: None }];
        let placed = DayBook::new(&capacity, &[]).spread(&stops, &mut Closed::default());
        let mut load: HashMap<Day, i64> = HashMap::new();
        for (stop, one) in stops.iter().zip(&placed) {
            if let Ok(one) = one {
                prop_assert!(stop.from <= one.on && one.on <= stop.to);
                *load.entry(one.on).or_default() += 1;
            }
        }
        prop_assert!(load.values().all(|stops| *stops <= most));
        let has_room = (0..20).all(|from| (from..20).all(|to| {
            let inside = windows.iter().filter(|(begin, long)| from <= *begin && begin + long <= to).count();
            i64::try_from(inside).expect("few") <= i64::from(to - from + 1) * most
        }));
        if has_room {
            prop_assert!(placed.iter().all(Result::is_ok), "{placed:?}");
        }
    }
}
