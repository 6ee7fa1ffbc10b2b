//! Putting sentences together.

/// Cuts a text so that it keeps to its longest length.
pub(crate) fn truncate_chars(text: &str, longest: usize) -> String {
    if text.chars().count() <= longest {
        return text.to_owned();
    }
    text.chars().take(longest.saturating_sub(1)).chain(['\u{2026}']).collect()
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list<T>(items: &[T], words: impl Fn(&T) -> String, last: &str) -> String {
    let words: Vec<String> = items.iter().map(words).collect();
    match words.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((end, rest)) => format!("{} {last} {end}", rest.join(", ")),
    }
}

/// Begins a sentence.
pub(crate) fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `1st`, `2nd`, `3rd`, `4th`, as it is read out.
pub(crate) fn ordinal(number: usize) -> String {
    let ending = match (number % 10, number % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_cut_only_when_it_is_too_long() {
        assert_eq!(truncate_chars("abcd", 4), "abcd");
        assert_eq!(truncate_chars("abcde", 4), "abc\u{2026}");
    }

    #[test]
    fn a_list_reads_like_one() {
        let words = |items: &[&str]| list(items, |item| (*item).to_owned(), "or");
        assert_eq!(
            [words(&[]), words(&["a"]), words(&["a", "b"]), words(&["a", "b", "c"])],
            ["", "a", "a or b", "a, b or c"]
        );
    }

    #[test]
    fn numbers_are_read_out_in_order() {
        let told = [1, 2, 3, 4, 11, 12, 13, 21, 102, 111].map(ordinal);
        assert_eq!(told, ["1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "102nd", "111th"]);
    }
}
