//! The reading of arrows, tried on small made-up trees.

use super::{
    arrows::{Arrow, arrows},
    direction::against,
};

fn tree(files: &[(&str, &str)]) -> Vec<(String, String)> {
    files.iter().map(|(path, text)| ((*path).to_owned(), (*text).to_owned())).collect()
}

/// `from:line to symbol` of every arrow.
fn read(files: &[(&str, &str)]) -> Vec<String> {
    let said = |arrow: &Arrow| format!("{}:{} {} {}", arrow.from, arrow.line, arrow.to, arrow.symbol);
    arrows(&tree(files)).iter().map(said).collect()
}

fn offenders(floors: Option<&[String]>, sources: &[(String, String)]) -> Vec<String> {
    against(floors, sources, &arrows(sources))
}

fn floors(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

#[test]
fn nested_groups_are_read_leaf_by_leaf() {
    let found = read(&[
        ("lib.rs", "mod a;\nmod top;"),
        ("a/mod.rs", "pub mod b;\npub mod c;\npub struct A;"),
        ("a/b.rs", "pub struct B;"),
        ("a/c/mod.rs", "pub mod d;"),
        ("a/c/d.rs", "pub struct D;\npub struct E;"),
        (
            "top.rs",
            "use crate::a::{\n    self, A,\n    b::B,\n    c::{d::{D, E as F}},\n};\nfn f(_: A, _: B, _: D, _: F) {}",
        ),
    ]);
    assert_eq!(
        found,
        [
            "top.rs:2 a/mod.rs crate::a",
            "top.rs:2 a/mod.rs crate::a::A",
            "top.rs:3 a/b.rs crate::a::b::B",
            "top.rs:4 a/c/d.rs crate::a::c::d::D",
            "top.rs:4 a/c/d.rs crate::a::c::d::E",
        ]
    );
}

#[test]
fn a_path_is_followed_from_where_it_stands() {
    let found = read(&[
        ("lib.rs", "mod a;\nmod low;"),
        ("low.rs", "pub fn f() {}"),
        ("a.rs", "pub mod b;\nfn own() { b::c::g(); self::b::c::g(); }"),
        ("a/b.rs", "pub mod c;"),
        ("a/b/c.rs", "pub fn g() { super::super::own(); super::super::super::low::f() }\nmod inner { use super::g; }"),
    ]);
    assert_eq!(
        found,
        ["a.rs:2 a/b/c.rs crate::a::b::c::g", "a/b/c.rs:1 a.rs crate::a::own", "a/b/c.rs:1 low.rs crate::low::f",]
    );
}

#[test]
fn paths_in_code_macros_and_attributes_count() {
    let found = read(&[
        ("lib.rs", "mod low;\nmod top;"),
        ("low.rs", "pub fn f() {}\npub struct L;"),
        (
            "top.rs",
            "use crate::low as under;\nfn a() -> crate::low::L { crate::low::f() }\nfn b() { println!(\"{}\", crate::low::f()) }\n\
             #[schema(value_type = Vec<crate::low::L>)]\nstruct T;\n#[serde(with = \"crate::low::text\")]\nstruct U;\n\
             fn c() { under::g() }",
        ),
    ]);
    assert_eq!(
        found,
        [
            "top.rs:1 low.rs crate::low",
            "top.rs:2 low.rs crate::low::L",
            "top.rs:2 low.rs crate::low::f",
            "top.rs:3 low.rs crate::low::f",
            "top.rs:4 low.rs crate::low::L",
            "top.rs:6 low.rs crate::low::text",
            "top.rs:8 low.rs crate::low::g",
        ]
    );
}

#[test]
fn what_is_only_compiled_for_tests_and_what_leads_out_does_not_count() {
    let found = read(&[
        ("lib.rs", "mod low;\nmod top;"),
        ("low.rs", "pub fn f() {}\n#[cfg(test)]\nmod tests { use crate::top::t; }\n#[cfg(test)]\nuse crate::top::t;"),
        (
            "top.rs",
            "use std::low::f;\nuse other::{low, low::f as g};\npub(in crate::low) fn t() { ::low::f(); low::f() }",
        ),
    ]);
    assert_eq!(found, Vec::<String>::new());
}

#[test]
fn a_circle_is_named_arrow_by_arrow() {
    let circle = tree(&[
        ("lib.rs", "mod a;\nmod b;\nmod c;"),
        ("a.rs", "use crate::b::B;"),
        ("b.rs", "pub struct B;\nfn f() { crate::c::g() }"),
        ("c.rs", "\nuse crate::{a::X};\npub fn g() {}"),
    ]);
    assert_eq!(
        offenders(None, &circle),
        ["a.rs:1 names crate::b::B in b.rs", "b.rs:2 names crate::c::g in c.rs", "c.rs:2 names crate::a::X in a.rs",]
    );
}

#[test]
fn the_shortest_circle_is_named() {
    let circles = tree(&[
        ("lib.rs", "mod a;\nmod b;\nmod c;"),
        ("a.rs", "use crate::b::B;"),
        ("b.rs", "use crate::c::C;"),
        ("c.rs", "use crate::{a::A, b::B};"),
    ]);
    assert_eq!(offenders(None, &circles), ["b.rs:1 names crate::c::C in c.rs", "c.rs:1 names crate::b::B in b.rs"]);
}

#[test]
fn passing_a_name_on_hides_no_circle() {
    let passed_on = tree(&[
        ("lib.rs", "mod a;"),
        ("a/mod.rs", "mod x;\nmod y;\npub use x::X;\npub use y::Y;"),
        ("a/x.rs", "pub struct X;"),
        ("a/y.rs", "use super::X;\npub struct Y(X);"),
    ]);
    assert_eq!(
        offenders(None, &passed_on),
        ["a/mod.rs:4 names crate::a::y::Y in a/y.rs", "a/y.rs:1 names crate::a::X in a/mod.rs"]
    );
}

#[test]
fn a_tree_without_a_circle_passes() {
    let straight = tree(&[
        ("lib.rs", "mod a;\npub use a::Y;"),
        ("a/mod.rs", "mod x;\nmod y;\npub use y::Y;"),
        ("a/x.rs", "pub struct X;"),
        ("a/y.rs", "use super::x::X;\npub struct Y(X);"),
    ]);
    assert_eq!(offenders(None, &straight), Vec::<String>::new());
}

#[test]
fn an_arrow_up_is_named_and_one_down_is_not() {
    let house = tree(&[
        ("lib.rs", "mod low;\nmod top;\npub use top::T;"),
        ("low/mod.rs", "mod inner;"),
        ("low/inner.rs", "use super::deeper;\nfn f() { crate::top::t() }"),
        ("top.rs", "use crate::low::L;"),
    ]);
    assert_eq!(
        offenders(Some(&floors(&["low", "top"])), &house),
        ["low/inner.rs:2 of low names crate::top::t, up in top"]
    );
    assert_eq!(offenders(Some(&floors(&["top", "low"])), &house), ["top.rs:1 of top names crate::low::L, up in low"]);
}

#[test]
fn what_only_the_root_passes_on_is_above_every_floor() {
    let house = tree(&[("lib.rs", "mod low;\npub fn root() {}"), ("low.rs", "fn f() { crate::root() }")]);
    assert_eq!(offenders(Some(&floors(&["low"])), &house), ["low.rs:1 of low names crate::root, up in crate"]);
}

#[test]
fn every_module_has_one_floor() {
    let house = tree(&[("lib.rs", "mod a;\nmod b;"), ("a.rs", ""), ("b/mod.rs", "")]);
    assert_eq!(
        offenders(Some(&floors(&["a", "gone", "a"])), &house),
        [
            "tests/floors.toml lists gone, which stands there already or is no module",
            "tests/floors.toml lists a, which stands there already or is no module",
            "b has no floor",
        ]
    );
}

#[test]
fn what_the_root_passes_on_from_another_crate_is_not_of_this_one() {
    let found = read(&[
        ("lib.rs", "pub use below::{kept, words};\nmod own;\nmod top;"),
        ("own.rs", "pub struct Own;"),
        ("top.rs", "use crate::{\n    kept::Kept,\n    own::Own,\n};\nfn f(_: crate::words::Word, _: Kept, _: Own) {}"),
    ]);
    assert_eq!(found, ["top.rs:3 own.rs crate::own::Own"]);
}
