//! How a figure follows, read out: formula, inputs, rounding, source and how well the source is known.

use domain::explain::SourceMark;

/// How well a source is known, as a sentence ends.
pub const fn mark(mark: SourceMark) -> &'static str {
    match mark {
        SourceMark::Read => "read in the source itself",
        SourceMark::Read2 => "read where the source is quoted",
        SourceMark::Computed => "follows from definitions or from figures that were read",
        SourceMark::CommonPractice => "common practice, without a published source",
        SourceMark::Own => "the company's own",
    }
}

/// Hundredths of a percent as decimal text, without its sign.
pub fn percent(hundredths: i64) -> String {
    let (whole, rest) = (hundredths.unsigned_abs() / 100, hundredths.unsigned_abs() % 100);
    if rest == 0 { whole.to_string() } else { format!("{whole}.{rest:02}").trim_end_matches('0').to_owned() }
}

#[cfg(test)]
mod tests {
    use super::percent;

    #[test]
    fn hundredths_of_a_percent_are_written_out() {
        let written = [-400, 0, 5, 1050, 12_345].map(percent);
        assert_eq!(written, ["4", "0", "0.05", "10.5", "123.45"]);
    }
}
