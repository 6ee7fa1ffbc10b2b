//! The parts of a lawn section that was divided: which loads lie on the same ground, and which cannot.
//!
//! A division names parts that share no ground. Two loads on different parts of one division lie on different ground; whatever
//! else is not told lies upon one another: a load on the whole section, one of which no part is known, one on a part of another
//! division.

use std::collections::BTreeMap;

use crate::quantity::Area;

/// So many parts has a division at most.
pub const MOST_PARTS: usize = 16;

/// So many pieces of ground are told apart at once. Beyond that the oldest divisions count as if nothing were known of them.
const MOST_PIECES: u32 = 64;

/// A section as it was divided.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Division {
    /// A later division of the same section has a higher number.
    pub number: i64,
    pub parts: Vec<Part>,
}

/// A part of a section, by what people call it: "east of the drive".
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    pub name: String,
    pub area: Area,
}

/// Parts of one division, on which something lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Parts {
    pub division: i64,
    /// A bit for each part, the lowest for the first.
    pub mask: u16,
}

impl Division {
    /// The parts of these names; nothing when one of them is none of this division.
    pub fn parts_of(&self, names: &[String]) -> Option<Parts> {
        let bit = |name: &String| {
            let place = self.parts.iter().position(|part| part.name == *name)?;
            1_u16.checked_shl(u32::try_from(place).ok()?)
        };
        let mask = names.iter().try_fold(0, |mask, name| Some(mask | bit(name)?))?;
        (mask != 0).then_some(Parts { division: self.number, mask })
    }

    /// The parts that a mask means, in their order.
    pub fn named(&self, mask: u16) -> impl Iterator<Item = &Part> {
        (0_u32..16).zip(&self.parts).filter(move |(place, _)| mask >> place & 1 == 1).map(|(_, part)| part)
    }
}

/// A piece of ground: of each division that tells it apart, the part that it lies in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece(Vec<Parts>);

impl Piece {
    /// Whether something may lie on it.
    pub fn may_hold(&self, lies: Option<Parts>) -> bool {
        let Some(lies) = lies else { return true };
        let known = self.0.iter().find(|part| part.division == lies.division);
        known.is_none_or(|part| part.mask & lies.mask != 0)
    }

    /// The parts that it lies in, one a division.
    pub fn parts(&self) -> &[Parts] {
        &self.0
    }
}

/// The pieces of ground that loads tell apart. Where a part has a load, the ground beside all parts has none that the part has not,
/// so it is no piece of its own. Without a load that names a part there is one piece, the whole section.
pub fn pieces(loads: impl IntoIterator<Item = Option<Parts>>) -> Vec<Piece> {
    let mut divisions: BTreeMap<i64, u16> = BTreeMap::new();
    for lies in loads.into_iter().flatten() {
        *divisions.entry(lies.division).or_default() |= lies.mask;
    }
    let mut pieces = vec![Piece(Vec::new())];
    // The newest division tells most, so it comes first.
    for (division, mentioned) in divisions.into_iter().rev() {
        let count = u32::try_from(pieces.len()).unwrap_or(u32::MAX);
        if mentioned == 0 || count.saturating_mul(mentioned.count_ones()) > MOST_PIECES {
            continue;
        }
        let bits = (0..16).map(|place| 1_u16 << place).filter(|bit| mentioned & bit != 0);
        let parts: Vec<Parts> = bits.map(|mask| Parts { division, mask }).collect();
        pieces = pieces
            .iter()
            .flat_map(|piece| parts.iter().map(|part| Piece(piece.0.iter().copied().chain([*part]).collect())))
            .collect();
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    fn halves() -> Division {
        let part = |name: &str| Part { name: name.to_owned(), area: Area::from_raw(410_000) };
        Division { number: 7, parts: vec![part("front half"), part("back half")] }
    }

    fn of(names: &[&str]) -> Option<Parts> {
        halves().parts_of(&names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn parts_are_known_by_name() {
        assert_eq!(of(&["front half"]), Some(Parts { division: 7, mask: 1 }));
        assert_eq!(of(&["back half", "front half"]), Some(Parts { division: 7, mask: 3 }));
        assert_eq!(of(&["north half"]), None);
        assert_eq!(of(&[]), None);
        let division = halves();
        let names: Vec<&str> = division.named(2).map(|part| part.name.as_str()).collect();
        assert_eq!(names, ["back half"]);
    }

    #[test]
    fn what_names_no_part_lies_everywhere() {
        let (front, back) = (of(&["front half"]), of(&["back half"]));
        let told = pieces([front, back, None]);
        assert_eq!(told.len(), 2);
        assert!(told.iter().all(|piece| piece.may_hold(None)));
        assert!(told.iter().all(|piece| piece.may_hold(front) != piece.may_hold(back)));
        let older = Some(Parts { division: 3, mask: 1 });
        assert_eq!(pieces([front, older]).len(), 1);
        assert!(pieces([front, older])[0].may_hold(older), "a part of another division may be the same ground");
        assert_eq!(pieces([None]), [Piece(Vec::new())]);
    }

    #[test]
    fn too_many_pieces_are_not_told_apart() {
        let all = |division| Some(Parts { division, mask: 0xff });
        let told = pieces([all(1), all(2), all(3)]);
        assert_eq!(told.len(), 64);
        assert!(told.iter().all(|piece| piece.may_hold(Some(Parts { division: 1, mask: 1 }))));
    }
}
