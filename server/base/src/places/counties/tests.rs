use super::*;

fn table() -> &'static Table {
    TABLE.as_ref().expect("the embedded table")
}

/// The middle of the longest way straight through each county from south to north, as far as it begins or ends near an end of a
/// line of its boundary.
fn middles(table: &Table) -> Vec<Option<(f64, f64, f64)>> {
    let mut middles = vec![None; table.counties.len() + 1];
    for line in &table.lines {
        let mut steps = table.points[line.points.clone()].windows(2);
        let Some(step) = steps.find(|step| step[0].0 != step[1].0) else { continue };
        // Beside the corners, where a boundary may run straight north.
        let x = f64::from(step[0].0.min(step[1].0)) + 0.5;
        let mut crossed: Vec<_> = table.crossings(x).collect();
        crossed.sort_by(|one, other| one.0.total_cmp(&other.0));
        for pair in crossed.windows(2) {
            let ((south, _, above), (north, below, _)) = (pair[0], pair[1]);
            let longest: &mut Option<(f64, f64, f64)> = &mut middles[usize::from(below)];
            if above == below && longest.is_none_or(|(_, _, length)| length < north - south) {
                *longest = Some((x, f64::midpoint(south, north), north - south));
            }
        }
    }
    middles
}

#[test]
fn every_county_has_a_point_that_lies_in_it() {
    let table = table();
    let grid = &table.grid;
    let mut without = Vec::new();
    for (at, middle) in middles(table).into_iter().enumerate().skip(1) {
        let county = &table.counties[at - 1];
        let Some((x, y, _)) = middle else {
            without.push((county.fips, county.name.as_str()));
            continue;
        };
        let found = find(grid.south + y * grid.step_north, grid.west + x * grid.step_east).unwrap();
        assert_eq!((found.within.county, found.metres_outside), (county, 0.0), "{x} {y}");
    }
    // Two square miles, of which the source has left no area: its points are said to be near.
    assert_eq!(without, [(51_610, "Falls Church")]);
}

/// 3,142 counties and their equals lie in the states and the District of Columbia, and there are 56 areas with letters of their own
/// (Wikipedia, "List of United States counties and county equivalents", as of 2013; none was made or ended until 2017).
#[test]
fn every_code_is_told_from_every_other() {
    let table = table();
    let all: Vec<Within> =
        (1..=table.counties.len()).map(|at| table.within(u16::try_from(at).unwrap()).unwrap()).collect();
    let in_states = all.iter().filter(|within| within.state.fips <= 56).count();
    assert_eq!((in_states, table.states.len()), (3_142, 56));
    let mut codes: Vec<String> = all.iter().filter_map(Within::code).collect();
    let number = codes.len();
    assert_eq!(all.len() - number, 2, "the District of Columbia and Guam are not divided");
    codes.sort();
    codes.dedup();
    assert_eq!(codes.len(), number);
    for code in &codes {
        let plain = code.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-');
        assert!(plain && !code.contains("--") && !code.ends_with('-') && code.len() <= 60, "{code}");
    }
    assert!(is_county("us-fl-pinellas") && is_county("us-va-fairfax-city"));
    assert!(!is_county("us-fl-boynton-beach") && !is_county("us-fl") && !is_county("company"));
}

#[test]
fn names_become_codes_without_accents() {
    for (name, code) in [
        ("Prince George's", "prince-georges"),
        ("St. Mary's", "st-marys"),
        ("Doña Ana", "dona-ana"),
        ("Mayagüez", "mayaguez"),
        ("Miami-Dade", "miami-dade"),
    ] {
        assert_eq!(slug(name), code);
    }
    let letters: String = table().counties.iter().map(|county| county.name.as_str()).collect();
    for letter in letters.chars().filter(|letter| letter.is_alphabetic()) {
        assert_ne!(plain_letter(letter), ' ', "{letter}");
    }
}

#[test]
fn a_table_that_was_cut_short_or_added_to_is_refused() {
    assert!(read(&PACKED[..PACKED.len() / 2]).is_none());
    assert!(read(&[]).is_none());
    assert!(read(PACKED).is_some());
}

/// A line straight north through a point is held against no more lines than the fullest column has.
#[test]
fn an_answer_looks_at_a_small_part_of_the_table() {
    let table = table();
    let fullest = table.columns.iter().map(|column| column.lines.len()).max().unwrap();
    assert!(fullest * 10 < table.lines.len(), "{fullest} of {}", table.lines.len());
}
