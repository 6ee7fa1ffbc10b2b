//! `bare BOOK LATER RECORDS SIZE...` writes into a copy of a book what a later copy has more, with each size of commit, and
//! prints what it took as JSON.

use std::{io::Write, path::Path};

use swardbook_load::{Fault, replay};

fn main() -> Result<(), Fault> {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let [book, later, records, sizes @ ..] = given.as_slice() else {
        return Err("usage: bare BOOK LATER RECORDS SIZE...".into());
    };
    let sizes = sizes.iter().map(|size| size.parse()).collect::<Result<Vec<usize>, _>>()?;
    let measured = replay::run(Path::new(book), Path::new(later), records.parse()?, &sizes)?;
    writeln!(std::io::stdout().lock(), "{}", serde_json::to_string(&measured)?)?;
    Ok(())
}
