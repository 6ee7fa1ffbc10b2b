//! A season as a calendar: for each round or section a line of days with what is open, what is closed, and what goes down when.

use std::fmt;

use askama::Template;
use domain::time::Day;

use super::Share;

/// What goes down on a day, or went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// As the plan says.
    Planned,
    /// By a visit that stands.
    Visit,
    /// By one that was made.
    Done,
}

impl Sign {
    /// Its outline around nothing: each has a shape of its own, because a colour never stands alone.
    const fn shape(self) -> &'static str {
        match self {
            Self::Planned => "M0-7 7 0 0 7-7 0z",
            Self::Visit => "M-5-5H5V5H-5z",
            Self::Done => "M-6 0a6 6 0 1 0 12 0a6 6 0 1 0-12 0z",
        }
    }

    /// How far down it stands: a plan for the days beside a visit is not drawn over it.
    const fn down(self) -> i64 {
        match self {
            Self::Planned => 8,
            Self::Visit | Self::Done => 22,
        }
    }
}

/// Days one after another, both included, and what they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Days {
    pub from: Day,
    pub to: Day,
    pub words: String,
}

/// What stands in one line.
#[derive(Debug, Default)]
pub struct Row {
    pub name: String,
    /// Where the name leads, if it does.
    pub href: Option<String>,
    /// What a glance should read beside the name.
    pub note: String,
    pub open: Vec<Days>,
    pub closed: Vec<Days>,
    pub marks: Vec<(Day, Sign, String)>,
}

/// The picture.
#[derive(Debug, Template)]
#[template(path = "picture_calendar.html")]
pub struct Calendar {
    months: Vec<Month>,
    lanes: Vec<Lane>,
    /// Where the plan begins: what lies before was not asked.
    begins: Option<Share>,
}

#[derive(Debug, PartialEq, Eq)]
struct Month {
    at: Share,
    /// Nothing where too many of them stand beside one another.
    name: Option<&'static str>,
}

#[derive(Debug)]
struct Lane {
    name: String,
    href: Option<String>,
    note: String,
    open: Vec<Band>,
    closed: Vec<Band>,
    marks: Vec<Mark>,
    words: String,
}

#[derive(Debug, PartialEq, Eq)]
struct Band {
    at: Share,
    wide: Share,
    words: String,
}

#[derive(Debug, PartialEq, Eq)]
struct Mark {
    at: Share,
    sign: Sign,
    words: String,
}

impl fmt::Display for Sign {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Planned => "planned",
            Self::Visit => "visit",
            Self::Done => "done",
        })
    }
}

/// Months that have room for their names on a narrow screen.
const NAMED: usize = 12;

impl Calendar {
    /// From the first day of a month to the last day of another; `begins` is the first day that was asked about.
    pub fn of(rows: Vec<Row>, (first, last): (Day, Day), begins: Day) -> Self {
        let days = i64::from(last.days_since(first)) + 1;
        let at = |day: Day| Share::of(i64::from(day.days_since(first)), days);
        let band = |one: Days| {
            let (from, to) = (one.from.max(first), one.to.min(last));
            (from <= to).then(|| Band { at: at(from), wide: at(to.plus_days(1)).less(at(from)), words: one.words })
        };
        let lane = |row: Row| {
            let (mut marks, mut said) = (Vec::<Mark>::new(), Vec::new());
            for (day, sign, words) in row.marks {
                said.push(words.clone());
                // The middle of its day, and one sign for all that goes down on it.
                let middle = at(day).plus(Share::of(1, 2 * days));
                match marks.iter_mut().find(|mark| mark.at == middle && mark.sign == sign) {
                    Some(mark) => mark.words = format!("{}; {words}", mark.words),
                    None => marks.push(Mark { at: middle, sign, words }),
                }
            }
            said.extend(row.open.iter().chain(&row.closed).map(|days| days.words.clone()));
            let bands = |days: Vec<Days>| days.into_iter().filter_map(band).collect();
            Lane {
                words: if said.is_empty() { "Nothing".to_owned() } else { said.join("; ") },
                name: row.name,
                href: row.href,
                note: row.note,
                open: bands(row.open),
                closed: bands(row.closed),
                marks,
            }
        };
        let firsts: Vec<Day> = (0..36).map(|month| first.plus_months(month)).take_while(|day| *day <= last).collect();
        let step = firsts.len().div_ceil(NAMED).max(1);
        let named = |(number, day): (usize, &Day)| Month {
            at: at(*day),
            name: number.is_multiple_of(step).then(|| super::MONTHS.get(month_of(*day)).copied()).flatten(),
        };
        Self {
            months: firsts.iter().enumerate().map(named).collect(),
            lanes: rows.into_iter().map(lane).collect(),
            begins: (first < begins && begins <= last).then(|| at(begins)),
        }
    }
}

/// Counted from nothing.
fn month_of(day: Day) -> usize {
    usize::try_from(day.date().month() - 1).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    fn days(from: &str, to: &str) -> Days {
        Days { from: day(from), to: day(to), words: format!("{from} to {to}") }
    }

    fn drawn(row: Row) -> Calendar {
        Calendar::of(vec![row], (day("2026-01-01"), day("2026-12-31")), day("2026-07-02"))
    }

    #[test]
    fn days_lie_where_they_lie_in_the_year() {
        // 365 days: July 2 is day 182 counted from nothing, and the half of the year lies in it.
        let picture = drawn(Row {
            open: vec![days("2026-07-02", "2026-07-02")],
            closed: vec![days("2026-12-01", "2027-02-28"), days("2025-11-01", "2025-12-31")],
            marks: vec![(day("2026-07-02"), Sign::Planned, "a feed".to_owned())],
            ..Row::default()
        });
        let lane = &picture.lanes[0];
        assert_eq!(
            lane.open,
            [Band { at: Share(4986), wide: Share(27), words: "2026-07-02 to 2026-07-02".to_owned() }]
        );
        assert_eq!(lane.marks, [Mark { at: Share(4999), sign: Sign::Planned, words: "a feed".to_owned() }]);
        // What lies beyond the ends is cut off, and what lies wholly beyond is not drawn.
        assert_eq!(
            lane.closed.iter().map(|band| (band.at, band.wide)).collect::<Vec<_>>(),
            [(Share(9150), Share(850))]
        );
        assert_eq!(picture.begins, Some(Share(4986)));
        assert_eq!(lane.words, "a feed; 2026-07-02 to 2026-07-02; 2026-12-01 to 2027-02-28; 2025-11-01 to 2025-12-31");
    }

    #[test]
    fn one_day_has_one_sign_of_a_kind() {
        let at = day("2026-09-16");
        let marks = vec![
            (at, Sign::Planned, "a feed".to_owned()),
            (at, Sign::Planned, "lime".to_owned()),
            (at, Sign::Done, "a visit".to_owned()),
        ];
        let picture = drawn(Row { marks, ..Row::default() });
        let said: Vec<(&Sign, &str)> =
            picture.lanes[0].marks.iter().map(|mark| (&mark.sign, mark.words.as_str())).collect();
        assert_eq!(said, [(&Sign::Planned, "a feed; lime"), (&Sign::Done, "a visit")]);
    }

    #[test]
    fn of_many_months_every_second_is_named() {
        let months = |last: &str| Calendar::of(Vec::new(), (day("2026-01-01"), day(last)), day("2026-01-01")).months;
        let year = months("2026-12-31");
        assert_eq!((year.len(), year[0].name, year[11].name), (12, Some("Jan"), Some("Dec")));
        let longer = months("2027-02-28");
        assert_eq!(
            (longer.len(), longer[0].name, longer[1].name, longer[2].name),
            (14, Some("Jan"), None, Some("Mar"))
        );
        assert_eq!(longer[12].at, Share::of(365, 424));
    }
}
