//! What goes wrong in the invented season, on purpose: which stop of which round, and which lawn.

/// So many clients.
pub const CLIENTS: usize = 180;

/// What is not as it should be about one stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plant {
    /// The record came so many days later.
    Late(i8),
    /// Only the first section was treated. The office closed what was left.
    PartDone,
    /// Only the first section was treated, and nobody has closed the rest.
    PartDoneOpen,
    /// Heavy rain came in the night after.
    HeavyRain,
    /// A bag tore on the drive.
    Spill,
    /// The wrong lot stands in the record, which is taken back and written anew.
    WrongLot,
    /// The technician stood on the next property.
    WrongProperty,
    /// Sent twice under one id, with another amount.
    SentTwice,
    /// Refused, and nobody has said what became of the work.
    Refused,
    /// Done on saturated ground, and acknowledged.
    BeyondTheRules,
    /// Corrected afterwards to so much that the year goes over its cap.
    OverTheCap,
    /// The soil report is too old for a second feeding.
    SoilReportTooOld,
}

const EXPIRED: [usize; 3] = [47, 93, 138];

/// The planted problem of a stop, by round and place.
pub fn plant(round: usize, place: usize) -> Option<Plant> {
    Some(match (round, place) {
        (1, 20) => Plant::Late(1),
        (1, 65) => Plant::Late(3),
        (2, 110) => Plant::Late(6),
        (2, 148) => Plant::Late(2),
        (1, 22) | (2, 66) => Plant::PartDone,
        (4, 62) => Plant::PartDoneOpen,
        (2, 70) => Plant::HeavyRain,
        (2, 80) => Plant::Spill,
        (1, 100) => Plant::WrongLot,
        (2, 101) => Plant::WrongProperty,
        (1, 30) | (2, 31) => Plant::SentTwice,
        (4, 40 | 85) => Plant::Refused,
        (2, 140) => Plant::BeyondTheRules,
        (4, 25 | 75) => Plant::OverTheCap,
        (4, place) if EXPIRED.contains(&place) => Plant::SoilReportTooOld,
        _ => return None,
    })
}

/// Soil reports that end within ninety days of the demonstration, and those that have ended.
pub fn sampled_on(place: usize, section: usize) -> Option<&'static str> {
    match place {
        10..=18 if section == 0 => Some("2023-10-17"),
        _ if EXPIRED.contains(&place) => Some("2023-08-22"),
        _ => None,
    }
}

/// One lawn whose aerial image counted a hedge and a roof; measured anew a year later.
pub const fn is_mismeasured(place: usize, section: usize) -> bool {
    place == MISMEASURED && section == 0
}

pub const MISMEASURED: usize = 51;

/// Six lawns whose last visit of the year would take them over their cap.
pub fn is_over_at_the_last(place: usize) -> bool {
    [27, 52, 84, 97, 121, 133].contains(&place)
}

/// The property on which the technician stood by mistake.
pub const TREATED_BY_MISTAKE: usize = 103;

impl Plant {
    /// What the technician wrote about it.
    pub const fn note(self) -> Option<&'static str> {
        match self {
            Self::Late(_) => Some("The phone lay in the other truck; sent when it was found."),
            Self::HeavyRain => {
                Some("Heavy rain in the night after, 0.9 in by the gauge in the yard; the client was called.")
            }
            Self::Spill => Some("A bag tore on the drive: 6 lb swept up."),
            Self::PartDone | Self::PartDoneOpen => Some("The rest could not be reached."),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_many_faults_are_planted_as_a_season_has() {
        let planted: Vec<Plant> =
            (0..6).flat_map(|round| (0..CLIENTS).filter_map(move |place| plant(round, place))).collect();
        let count = |like: fn(&Plant) -> bool| planted.iter().filter(|plant| like(plant)).count();
        assert_eq!(count(|plant| matches!(plant, Plant::Late(_))), 4);
        assert_eq!(count(|plant| matches!(plant, Plant::PartDone | Plant::PartDoneOpen)), 3);
        assert_eq!(count(|plant| *plant == Plant::OverTheCap), 2);
        assert_eq!(count(|plant| *plant == Plant::SentTwice), 2);
        assert_eq!(count(|plant| *plant == Plant::Refused), 2);
        assert_eq!((0..CLIENTS).filter(|place| is_over_at_the_last(*place)).count(), 6);
        assert_eq!((0..CLIENTS).filter(|place| sampled_on(*place, 0) == Some("2023-10-17")).count(), 9);
        assert_eq!((0..CLIENTS).filter(|place| sampled_on(*place, 0) == Some("2023-08-22")).count(), 3);
    }
}
