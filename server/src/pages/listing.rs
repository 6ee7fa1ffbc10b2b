//! A list that is sorted by a column, narrowed by words and shown a part at a time, without a script: all of it stands in the address.

use std::fmt::Write;

use serde::Deserialize;

use super::in_address;

/// Rows of one part.
const PART: usize = 100;

/// What is asked of a list.
#[derive(Debug, Clone, Default, Deserialize)]
pub struct ListQuery {
    /// Words that a row must have, each of them.
    #[serde(default)]
    q: String,
    /// One of the kinds of rows that the list knows; all of them if it knows none by that name.
    #[serde(default)]
    only: String,
    /// A column's code; a `-` before it turns the order round.
    #[serde(default)]
    sort: String,
    /// So many rows come before the first that is shown.
    #[serde(default)]
    after: usize,
}

/// By what rows are put in order; what has nothing comes last.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum SortKey {
    Number(i64),
    Text(String),
    Nothing,
}

impl SortKey {
    /// Capital and small letters are alike, and numbers in it count as numbers: 2 Street comes before 10 Street.
    pub fn text(text: &str) -> Self {
        if text.is_empty() {
            return Self::Nothing;
        }
        let (mut sorted, mut digits) = (String::new(), String::new());
        for letter in text.to_lowercase().chars().chain(['\0']) {
            if letter.is_ascii_digit() {
                digits.push(letter);
                continue;
            }
            if !digits.is_empty() {
                let _ = write!(sorted, "{:0>20}", digits.trim_start_matches('0'));
                digits.clear();
            }
            sorted.push(letter);
        }
        Self::Text(sorted)
    }
}

/// A column: its code, its head, and by what it sorts. The first one sorts a list of which nothing is asked.
#[derive(Debug)]
pub struct Column<T> {
    pub code: &'static str,
    pub words: &'static str,
    pub is_number: bool,
    pub key: fn(&T) -> SortKey,
}

/// A kind of rows: its code, its name, and which rows are of it.
pub type Kind<T> = (&'static str, &'static str, fn(&T) -> bool);

/// A list as it is laid out.
#[derive(Debug)]
pub struct Layout<T: 'static> {
    pub path: &'static str,
    pub columns: &'static [Column<T>],
    pub kinds: &'static [Kind<T>],
    /// What is searched of a row.
    pub texts: fn(&T) -> Vec<&str>,
}

/// A head of a column, which leads to the list sorted by it.
#[derive(Debug, PartialEq, Eq)]
pub struct Head {
    pub words: &'static str,
    pub href: String,
    /// As the page tells a reader who does not see the sign.
    pub sorted: Option<&'static str>,
    pub is_number: bool,
}

/// A choice of a kind of rows.
#[derive(Debug, PartialEq, Eq)]
pub struct Only {
    pub code: &'static str,
    pub words: &'static str,
    pub is_chosen: bool,
}

/// What is shown of a list.
#[derive(Debug)]
pub struct Listed<T> {
    pub rows: Vec<T>,
    /// Rows of the whole list, and those that fit what is asked.
    pub all: usize,
    pub found: usize,
    pub heads: Vec<Head>,
    pub kinds: Vec<Only>,
    pub path: &'static str,
    pub q: String,
    pub sort: String,
    pub first: usize,
    pub earlier: Option<String>,
    pub later: Option<String>,
}

impl<T> Listed<T> {
    pub fn of(layout: &Layout<T>, mut query: ListQuery, mut rows: Vec<T>) -> Self {
        query.q = query.q.trim().chars().take(100).collect();
        let all = rows.len();
        let words: Vec<String> = query.q.to_lowercase().split_whitespace().map(str::to_owned).collect();
        let kind = layout.kinds.iter().find(|(code, ..)| *code == query.only);
        if kind.is_none() {
            query.only.clear();
        }
        rows.retain(|row| {
            let text = (layout.texts)(row).join("\n").to_lowercase();
            kind.is_none_or(|(.., is)| is(row)) && words.iter().all(|word| text.contains(word))
        });
        let (turned, code) = query.sort.strip_prefix('-').map_or((false, query.sort.as_str()), |code| (true, code));
        let by = layout.columns.iter().find(|column| column.code == code);
        let turned = turned && by.is_some();
        let by = by.or(layout.columns.first());
        if let Some(column) = by {
            rows.sort_by_cached_key(column.key);
            if turned {
                // What has nothing stays last.
                let known = rows.partition_point(|row| (column.key)(row) != SortKey::Nothing);
                if let Some(known) = rows.get_mut(..known) {
                    known.reverse();
                }
            }
        }
        let code = by.map_or("", |column| column.code);
        query.sort = if turned { format!("-{code}") } else { code.to_owned() };
        let address = |sort: &str, after: usize| {
            let (q, only) = (in_address(&query.q), in_address(&query.only));
            format!("{}?q={q}&only={only}&sort={sort}&after={after}", layout.path)
        };
        let head = |column: &Column<T>| {
            let is_sorted = column.code == code;
            let sort = if is_sorted && !turned { format!("-{}", column.code) } else { column.code.to_owned() };
            Head {
                words: column.words,
                href: address(&sort, 0),
                sorted: is_sorted.then_some(if turned { "descending" } else { "ascending" }),
                is_number: column.is_number,
            }
        };
        let only = |(code, words, _): &Kind<T>| Only { code, words, is_chosen: *code == query.only };
        let (heads, kinds) = (layout.columns.iter().map(head).collect(), layout.kinds.iter().map(only).collect());
        let (found, first) = (rows.len(), query.after.min(rows.len()));
        let rows: Vec<T> = rows.into_iter().skip(first).take(PART).collect();
        let last = first + rows.len();
        Self {
            earlier: (first > 0).then(|| address(&query.sort, first.saturating_sub(PART))),
            later: (last < found).then(|| address(&query.sort, last)),
            all,
            found,
            heads,
            kinds,
            path: layout.path,
            q: query.q,
            sort: query.sort,
            first,
            rows,
        }
    }

    /// Something narrows the list.
    pub fn is_narrowed(&self) -> bool {
        !self.q.is_empty() || self.kinds.iter().any(|kind| kind.is_chosen)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Row = (&'static str, Option<i64>);

    const LAYOUT: Layout<Row> = Layout {
        path: "/list",
        columns: &[
            Column { code: "name", words: "Name", is_number: false, key: |row| SortKey::text(row.0) },
            Column {
                code: "lb",
                words: "lb",
                is_number: true,
                key: |row| row.1.map_or(SortKey::Nothing, SortKey::Number),
            },
        ],
        kinds: &[("weighed", "weighed", |row| row.1.is_some())],
        texts: |row| vec![row.0],
    };

    fn listed(q: &str, only: &str, sort: &str, after: usize) -> Listed<Row> {
        let query = ListQuery { q: q.to_owned(), only: only.to_owned(), sort: sort.to_owned(), after };
        let rows = vec![("beta Feed", Some(9)), ("Alpha feed", None), ("gamma", Some(10)), ("alpha lime", Some(-1))];
        Listed::of(&LAYOUT, query, rows)
    }

    fn names(listed: &Listed<Row>) -> Vec<&'static str> {
        listed.rows.iter().map(|row| row.0).collect()
    }

    #[test]
    fn a_column_sorts_both_ways_and_what_has_nothing_comes_last() {
        assert_eq!(names(&listed("", "", "", 0)), ["Alpha feed", "alpha lime", "beta Feed", "gamma"]);
        assert_eq!(names(&listed("", "", "lb", 0)), ["alpha lime", "beta Feed", "gamma", "Alpha feed"]);
        assert_eq!(names(&listed("", "", "-lb", 0)), ["gamma", "beta Feed", "alpha lime", "Alpha feed"]);
        let unknown = listed("", "", "-nothing", 0);
        assert_eq!((names(&unknown)[0], unknown.sort.as_str()), ("Alpha feed", "name"));
        let heads = listed("", "", "lb", 0).heads;
        assert_eq!((heads[0].href.as_str(), heads[0].sorted), ("/list?q=&only=&sort=name&after=0", None));
        assert_eq!((heads[1].href.as_str(), heads[1].sorted), ("/list?q=&only=&sort=-lb&after=0", Some("ascending")));
    }

    #[test]
    fn numbers_in_a_text_count_as_numbers() {
        let sorted = |mut texts: Vec<&'static str>| {
            texts.sort_by_cached_key(|text| SortKey::text(text));
            texts
        };
        assert_eq!(
            sorted(vec!["10 Street", "9 Street", "Street 10", "street 9"]),
            ["9 Street", "10 Street", "street 9", "Street 10"]
        );
        assert_eq!(sorted(vec!["24-0-10", "24-0-4", "5-10-5"]), ["5-10-5", "24-0-4", "24-0-10"]);
        assert_eq!(sorted(vec!["", "a"]), ["a", ""], "what has nothing comes last");
    }

    #[test]
    fn words_and_a_kind_narrow_it() {
        assert_eq!(names(&listed(" FEED  a ", "", "", 0)), ["Alpha feed", "beta Feed"], "each word, in any order");
        assert_eq!(names(&listed("alpha", "weighed", "", 0)), ["alpha lime"]);
        let none = listed("delta", "", "", 0);
        assert_eq!((none.found, none.all, none.is_narrowed()), (0, 4, true));
        let unknown = listed("", "heavy", "", 0);
        assert_eq!((unknown.found, unknown.is_narrowed()), (4, false), "a kind that nobody knows narrows nothing");
        assert_eq!(listed("a&b=c", "", "", 0).heads[0].href, "/list?q=a%26b%3Dc&only=&sort=-name&after=0");
    }

    #[test]
    fn a_part_leads_to_the_parts_beside_it() {
        let rows: Vec<Row> = (0..250).map(|_| ("row", None)).collect();
        let part = |after| Listed::of(&LAYOUT, ListQuery { after, ..ListQuery::default() }, rows.clone());
        let ends = |listed: Listed<Row>| (listed.first, listed.rows.len(), listed.earlier, listed.later);
        let at = |after: usize| Some(format!("/list?q=&only=&sort=name&after={after}"));
        assert_eq!(ends(part(0)), (0, 100, None, at(100)));
        assert_eq!(ends(part(100)), (100, 100, at(0), at(200)));
        assert_eq!(ends(part(200)), (200, 50, at(100), None));
        assert_eq!(ends(part(9_999)), (250, 0, at(150), None));
    }
}
