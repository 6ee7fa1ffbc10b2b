//! What the program says to whoever started it.

use std::{fmt::Display, io::Write as _};

/// Prints a line on standard output. Nobody may be listening any more, as behind a pipe whose reader has seen enough; that is no
/// fault, and nothing that goes on, least of all stopping in good order, may hang on it.
pub fn print_line(line: impl Display) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Says why a command failed, to whoever started it; nobody may be listening any more.
pub fn print_error(line: impl Display) {
    let _ = writeln!(std::io::stderr(), "swardbook: {line}");
}
