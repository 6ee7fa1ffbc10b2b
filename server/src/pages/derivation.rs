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
