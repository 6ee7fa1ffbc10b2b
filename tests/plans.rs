//! What every record asks of the database is found by index: a plan that reads a whole table of records would be felt after
//! the first season.

use rusqlite::Connection;

#[test]
fn the_facts_of_an_act_are_found_without_reading_whole_tables() {
    let connection = Connection::open_in_memory().unwrap();
    let folder = harness::approved::top().join("migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    for file in files {
        connection.execute_batch(&std::fs::read_to_string(file).unwrap()).unwrap();
    }
    let facts = include_str!("../server/src/store/world_facts.sql");
    let mut plan = connection.prepare(&format!("EXPLAIN QUERY PLAN {facts}")).unwrap();
    let none = rusqlite::params!["[]", "[]", "[]", "[]", "[]", "[]", 0, "[]", "[]"];
    let steps: Vec<String> = plan.query_map(none, |row| row.get(3)).unwrap().map(Result::unwrap).collect();
    // What is wanted (w, n, json_each) is a handful, and so are the texts of rule sets (r).
    let handful = ["SCAN w", "SCAN n", "SCAN json_each", "SCAN r"];
    let whole: Vec<&String> = steps
        .iter()
        .filter(|step| step.starts_with("SCAN") && !handful.iter().any(|few| step.starts_with(few)))
        .collect();
    assert!(steps.iter().any(|step| step.starts_with("SEARCH")), "{steps:#?}");
    assert!(
        whole.is_empty(),
        "If you are here because of {whole:#?}: lead the join from what is wanted to what is stored."
    );
}
