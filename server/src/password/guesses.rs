//! What is guessed first: words that everybody takes, the company's own, walks over the keyboard, and repeats of any of it.
//!
//! A password has fifteen characters or more, which alone refuses 2,998 of the 3,000 commonest of a list that is widely used (the one in
//! the crate zxcvbn 3.1.1, counted). What is long and guessed all the same is made of parts that are short and known.

use std::collections::HashSet;

/// Of those three thousand the two that are long enough.
const LONG_AND_COMMON: [&str; 2] = ["mailcreated5240", "polniypizdec0211"];

/// Words that are at the head of every list of passwords, and those of the trade. *Common practice*, and no list of anybody's.
const KNOWN: [&str; 50] = [
    "password",
    "passwort",
    "passw",
    "pass",
    "letmein",
    "welcome",
    "administrator",
    "admin",
    "login",
    "secret",
    "master",
    "changeme",
    "default",
    "iloveyou",
    "love",
    "dragon",
    "monkey",
    "football",
    "baseball",
    "basketball",
    "soccer",
    "hockey",
    "princess",
    "sunshine",
    "superman",
    "batman",
    "shadow",
    "michael",
    "jordan",
    "charlie",
    "freedom",
    "whatever",
    "starwars",
    "computer",
    "internet",
    "google",
    "summer",
    "winter",
    "spring",
    "autumn",
    "company",
    "business",
    "office",
    "owner",
    "service",
    "lawncare",
    "lawn",
    "turf",
    "grass",
    "fertilizer",
];

/// What a finger walks over a keyboard, and the alphabet; each holds backwards too.
const WALKS: [&str; 10] = [
    "abcdefghijklmnopqrstuvwxyz",
    "01234567890123456789",
    "qwertyuiopasdfghjklzxcvbnm",
    "qwertzuiopasdfghjklyxcvbnm",
    "asdfghjkl;'zxcvbnm,./",
    "1qaz2wsx3edc4rfv5tgb6yhn7ujm8ik9ol0p",
    "1qazxsw23edcvfr45tgbnhy67ujm8ik9ol0p",
    "qazwsxedcrfvtgbyhnujmikolp",
    "q1w2e3r4t5y6u7i8o9p0",
    "!@#$%^&*()",
];

/// So much must be left once everything that is guessed first is taken out: a year and two signs are not enough.
const LEAST: usize = 7;

/// Whether a password is made of what is guessed first; `own` are the company's name and the name to sign in with.
pub fn is_guessable(password: &str, own: &[&str]) -> bool {
    let plain: Vec<char> = password.to_lowercase().chars().filter(|letter| !letter.is_whitespace()).collect();
    // What is written aaaa or abcabcabc is no longer than what it repeats.
    let different = plain.iter().collect::<HashSet<_>>().len();
    if different < 5 || LONG_AND_COMMON.contains(&plain.iter().collect::<String>().as_str()) {
        return true;
    }
    let parts: HashSet<String> = without_words(&plain, own).iter().flat_map(|part| without_walks(part)).collect();
    parts.iter().map(|part| once(part)).sum::<usize>() < LEAST
}

/// Digits that stand for letters are guessed with them.
fn as_letter(letter: char) -> char {
    match letter {
        '0' => 'o',
        '1' | '!' => 'i',
        '3' => 'e',
        '4' | '@' => 'a',
        '5' | '$' => 's',
        '7' => 't',
        other => other,
    }
}

/// What stands between the known words and the company's own, however those are spelled.
fn without_words(plain: &[char], own: &[&str]) -> Vec<Vec<char>> {
    let own = own.iter().map(|name| name.to_lowercase());
    let names = own.flat_map(|name| {
        let whole: String = name.chars().filter(|letter| !letter.is_whitespace()).collect();
        let words: Vec<String> = name.split(|letter: char| !letter.is_alphanumeric()).map(str::to_owned).collect();
        [whole].into_iter().chain(words)
    });
    let known = names.filter(|word| word.chars().count() > 3).chain(KNOWN.map(str::to_owned));
    let mut words: Vec<Vec<char>> = known.map(|word| word.chars().collect()).collect();
    // The longest goes first, so that nothing of it is left beside a part of it.
    words.sort_by_key(|word| std::cmp::Reverse(word.len()));
    let spelled: Vec<char> = plain.iter().map(|letter| as_letter(*letter)).collect();
    let mut rest: Vec<Option<char>> = plain.iter().copied().map(Some).collect();
    for word in &words {
        for at in 0..(plain.len() + 1).saturating_sub(word.len()) {
            let span = at..at + word.len();
            let there = plain[span.clone()] == word[..] || spelled[span.clone()] == word[..];
            if there && rest[span.clone()].iter().all(Option::is_some) {
                rest[span].fill(None);
            }
        }
    }
    rest.split(Option::is_none).map(|part| part.iter().copied().flatten().collect()).collect()
}

/// What stands between walks of three keys and more.
fn without_walks(letters: &[char]) -> Vec<String> {
    let on_a_walk = |part: &[char]| {
        let (there, back): (String, String) = (part.iter().collect(), part.iter().rev().collect());
        WALKS.iter().any(|walk| walk.contains(&there) || walk.contains(&back))
    };
    let (mut parts, mut part, mut at) = (Vec::new(), String::new(), 0);
    while at < letters.len() {
        let longest = (at + 3..=letters.len()).take_while(|end| on_a_walk(&letters[at..*end])).last();
        if longest.is_some() {
            parts.push(std::mem::take(&mut part));
        } else {
            part.push(letters[at]);
        }
        at = longest.unwrap_or(at + 1);
    }
    parts.push(part);
    parts
}

/// The length of what a part repeats.
fn once(part: &str) -> usize {
    let letters: Vec<char> = part.chars().collect();
    let repeats = |length: &usize| letters.iter().enumerate().all(|(at, letter)| *letter == letters[at % length]);
    (1..letters.len()).find(repeats).unwrap_or(letters.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_guessed_first_is_refused_and_words_of_ones_own_are_not() {
        let own = ["Green Acres Lawn Care", "green.owner"];
        let guessed = [
            "passwordpassword",
            "Password1234567",
            "P@ssw0rd123456789",
            "123456789012345",
            "qwertyuiopasdfgh",
            "administrator123",
            "letmeinletmeinletmein",
            "1qaz2wsx3edc4rfv",
            "1qazxsw23edcvfr4",
            "q1w2e3r4t5y6u7i8",
            "123456789987654321",
            "1234qwerasdfzxcv",
            "qwerty123456789",
            "mailcreated5240",
            "aaaaaaaaaaaaaaaaaaaa",
            "abcabcabcabcabcabc",
            "Green Acres Lawn Care",
            "greenacres2026!!",
            "GreenAcresGreenAcres",
            "green.owner.green.owner",
            "Lawn Care 2026 !",
            "xyz!xyz!xyz!xyz!",
            "Welcome to Green Acres",
            "GreenAcresOffice1",
        ];
        for password in guessed {
            assert!(is_guessable(password, &own), "{password}");
        }
        let free = [
            "three plain words here",
            "four quite other words",
            "five other plain words",
            "lantern over a wet bridge",
            "zürich im november",
            "correct horse battery staple",
            "vGk9-xwP2-mTq7-Lr4s",
            "a kite, two oars and rain",
        ];
        for password in free {
            assert!(!is_guessable(password, &own), "{password}");
        }
    }
}
