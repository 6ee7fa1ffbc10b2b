//! Reads a plan from the standard input, asks by it, and prints what it took as JSON.

use std::io::Write;

use swardbook_load::{
    Fault,
    asking::{self, Plan},
};

fn main() -> Result<(), Fault> {
    let plan: Plan = serde_json::from_reader(std::io::stdin().lock())?;
    let result = asking::run(&plan)?;
    writeln!(std::io::stdout().lock(), "{}", serde_json::to_string(&result)?)?;
    Ok(())
}
