//! Names of people, streets, towns and firms, put together from syllables by a seed: invented, any likeness is chance.

/// A sequence of numbers that is the same at every run: `SplitMix64`, as its author published it.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn of(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// One of so many, from 0.
    pub fn below(&mut self, count: u32) -> u32 {
        u32::try_from(self.next() % u64::from(count.max(1))).unwrap_or(0)
    }

    pub fn pick<T: Copy>(&mut self, from: &[T]) -> Option<T> {
        let count = u32::try_from(from.len()).unwrap_or(0);
        from.get(self.below(count) as usize).copied()
    }

    fn joined(&mut self, first: &[&str], last: &[&str]) -> String {
        format!("{}{}", self.pick(first).unwrap_or_default(), self.pick(last).unwrap_or_default())
    }
}

const GIVEN: [&str; 20] = [
    "Arv", "Belk", "Cath", "Dorv", "Erun", "Fenv", "Galb", "Hesk", "Ilv", "Jorl", "Kelv", "Lorv", "Mirv", "Nevr",
    "Orv", "Pelk", "Rosv", "Selv", "Talv", "Yarv",
];
const GIVEN_END: [&str; 10] = ["a", "en", "is", "o", "ya", "ric", "eth", "ina", "ane", "and"];
const FAMILY: [&str; 22] = [
    "Brask", "Carvo", "Dunth", "Elvo", "Farro", "Gostra", "Haldro", "Istra", "Jarmo", "Korva", "Lunzo", "Morva",
    "Naska", "Orbe", "Prava", "Quello", "Rusko", "Storva", "Thamo", "Uldra", "Venzo", "Yelmo",
];
const FAMILY_END: [&str; 9] = ["ndel", "mere", "wick", "nder", "tt", "rley", "lund", "sby", "nard"];
const PLACE: [&str; 20] = [
    "Amber", "Birch", "Clover", "Dapple", "Elder", "Fallow", "Gorse", "Heather", "Iron", "Juniper", "Kestrel",
    "Linden", "Mallow", "Nettle", "Otter", "Plover", "Quarry", "Rowan", "Sorrel", "Thistle",
];
const PLACE_END: [&str; 9] = ["vane", "quell", "thorpe", "mund", "veld", "strand", "bourne", "nook", "lathe"];
const WAY: [&str; 6] = ["Street", "Lane", "Road", "Court", "Way", "Avenue"];
const FIRM: [&str; 6] =
    ["Homeowners' Association", "Garden Apartments", "Offices", "Bakery", "Dental Practice", "Chapel Trustees"];

/// What has been named already stays one of a kind.
#[derive(Debug)]
pub struct Names {
    pub dice: Dice,
    taken: std::collections::HashSet<String>,
}

impl Names {
    pub fn of(seed: u64) -> Self {
        Self { dice: Dice::of(seed), taken: std::collections::HashSet::new() }
    }

    fn once(&mut self, make: impl Fn(&mut Dice) -> String) -> String {
        let mut name = make(&mut self.dice);
        for _ in 0..100 {
            if self.taken.insert(name.clone()) {
                break;
            }
            name = make(&mut self.dice);
        }
        name
    }

    pub fn person(&mut self) -> String {
        self.once(|dice| format!("{} {}", dice.joined(&GIVEN, &GIVEN_END), dice.joined(&FAMILY, &FAMILY_END)))
    }

    pub fn firm(&mut self) -> String {
        self.once(|dice| format!("{} {}", dice.joined(&PLACE, &PLACE_END), dice.pick(&FIRM).unwrap_or_default()))
    }

    pub fn town(&mut self) -> String {
        self.once(|dice| dice.joined(&FAMILY, &PLACE_END))
    }

    pub fn street(&mut self) -> String {
        self.once(|dice| format!("{} {}", dice.joined(&PLACE, &PLACE_END), dice.pick(&WAY).unwrap_or_default()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_seed_gives_the_same_names_and_none_twice() {
        let many = |seed| {
            let mut names = Names::of(seed);
            (0..260).map(|at| if at < 200 { names.person() } else { names.street() }).collect::<Vec<_>>()
        };
        assert_eq!(many(7), many(7));
        assert_ne!(many(7), many(8));
        let seen: std::collections::HashSet<String> = many(7).into_iter().collect();
        assert_eq!(seen.len(), 260);
        // Reference values of SplitMix64 with the seed 1234567 (the generator's public test vector).
        let mut dice = Dice::of(1_234_567);
        assert_eq!((dice.next(), dice.next()), (6_457_827_717_110_365_317, 3_203_168_211_198_807_973));
    }
}
