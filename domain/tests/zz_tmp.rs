#[test]
fn show() {
    let book = domain::law::Lawbook::embedded().unwrap();
    for (_, file) in crate::cases::files() { for (name, codes, facts) in file.all() {
        let d = domain::decision::decide(&book, codes, &facts);
        println!("## {name}\n   {}", d.summary);
        for f in &d.findings { println!("   - [{:?}/{:?}] {} | {} | lim {:?} act {:?} {:?}", f.outcome, f.verdict, f.message, f.hint, f.limit, f.actual, f.unit); }
        let s = &d.sections[0]; println!("   = {:?} {:?}", s.largest_lawful_product_lb, s.bound_by_words);
    } }
}
