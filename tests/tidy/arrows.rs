//! Who names whom: every path in a crate's sources that leads from one of its files to another.
//!
//! A path is followed to the file that it names and no further. A file that passes a name on therefore points to the file
//! that it takes it from, and whoever takes it from there points to the file between: so passing on hides no circle. What is
//! called by a method's name alone is not seen, because no path says where the method stands.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use proc_macro2::{TokenStream, TokenTree};
use syn::{
    Attribute, Item, ItemMod, ItemUse, Macro, Meta, Path, UseTree, VisRestricted,
    spanned::Spanned,
    visit::{self, Visit},
};

/// One file naming something that stands in another.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Arrow {
    pub(super) from: String,
    pub(super) line: usize,
    pub(super) to: String,
    /// What is named, by its whole path.
    pub(super) symbol: String,
}

/// The modules of a crate by their paths, each with the file it stands in.
#[derive(Debug)]
struct Modules(BTreeMap<Vec<String>, String>);

impl Modules {
    /// `law/duty.rs` is `law::duty`; `law/mod.rs` and `law.rs` are `law`; `lib.rs` is the crate. A second root beside the
    /// library is a crate of its own and left out.
    fn of(sources: &[(String, String)]) -> Self {
        let mut modules = BTreeMap::new();
        let with_library = sources.iter().any(|(path, _)| path == "lib.rs");
        for (path, _) in sources.iter().filter(|(path, _)| !(with_library && path == "main.rs")) {
            let mut names: Vec<String> = path.trim_end_matches(".rs").split('/').map(str::to_owned).collect();
            let last = names.last().map_or("", String::as_str);
            if last == "mod" || names.len() == 1 && (last == "lib" || last == "main") {
                names.pop();
            }
            modules.insert(names, path.clone());
        }
        Self(modules)
    }

    /// The file of the innermost module on a path, and how many of its names lead there.
    fn home(&self, path: &[String]) -> Option<(&str, usize)> {
        (0..=path.len()).rev().find_map(|names| Some((self.0.get(path.get(..names)?)?.as_str(), names)))
    }
}

/// Every arrow between the files of a crate, given as paths from its `src` with their texts. Panics where a file is no Rust.
pub(super) fn arrows(sources: &[(String, String)]) -> Vec<Arrow> {
    let modules = Modules::of(sources);
    let passed_on = passed_on(sources, &modules);
    let mut found = Vec::new();
    for (names, file) in &modules.0 {
        let Some((_, text)) = sources.iter().find(|(path, _)| path == file) else { continue };
        let parsed = syn::parse_file(text).unwrap_or_else(|error| panic!("{file}: {error}"));
        let mut reader = Reader {
            modules: &modules,
            passed_on: &passed_on,
            file,
            module: names.clone(),
            aliases: HashMap::new(),
            found: &mut found,
        };
        reader.learn_aliases(&parsed.items);
        reader.visit_file(&parsed);
    }
    found.sort();
    found.dedup();
    found
}

/// What the root passes on from another crate. It lies below every file of this one, whoever names it by `crate::`.
fn passed_on(sources: &[(String, String)], modules: &Modules) -> BTreeSet<String> {
    let root = sources.iter().find(|(path, _)| path == "lib.rs");
    let items = root.map(|(_, text)| syn::parse_file(text).map(|file| file.items).unwrap_or_default());
    let uses =
        items.into_iter().flatten().filter_map(|item| if let Item::Use(item) = item { Some(item) } else { None });
    let is_own = |first: &String| {
        ["crate", "self", "super"].contains(&first.as_str()) || modules.0.contains_key(std::slice::from_ref(first))
    };
    uses.flat_map(|item| leaves(&item.tree))
        .filter(|(names, _, _)| names.len() > 1 && !names.first().is_some_and(is_own))
        .map(|(_, alias, _)| alias)
        .collect()
}

struct Reader<'a> {
    modules: &'a Modules,
    passed_on: &'a BTreeSet<String>,
    file: &'a str,
    /// Where in the tree of modules the reading is; inside of a file it may go deeper than the file's own module.
    module: Vec<String>,
    /// Modules that a `use` brought in under a name of their own.
    aliases: HashMap<String, Vec<String>>,
    found: &'a mut Vec<Arrow>,
}

impl Reader<'_> {
    /// A path as it is counted from the crate; nothing when it leads out of it or stays with a local name.
    fn whole(&self, names: &[String]) -> Option<Vec<String>> {
        let mut at = self.module.clone();
        let mut rest = names;
        match rest.first()?.as_str() {
            "crate" => {
                at.clear();
                rest = rest.get(1..)?;
            }
            "self" => rest = rest.get(1..)?,
            "super" => {
                while rest.first().is_some_and(|name| name == "super") {
                    at.pop();
                    rest = rest.get(1..)?;
                }
            }
            first => {
                let child: Vec<String> = at.iter().cloned().chain([first.to_owned()]).collect();
                if !self.modules.0.contains_key(&child) {
                    at.clone_from(self.aliases.get(first)?);
                    rest = rest.get(1..)?;
                }
            }
        }
        at.extend(rest.iter().cloned());
        let leads_out = at.first().is_some_and(|first| self.passed_on.contains(first));
        (!leads_out).then_some(at)
    }

    fn name(&mut self, names: &[String], line: usize) {
        let Some(whole) = self.whole(names) else { return };
        let Some((to, _)) = self.modules.home(&whole) else { return };
        if to != self.file {
            let symbol = std::iter::once("crate".to_owned()).chain(whole).collect::<Vec<_>>().join("::");
            self.found.push(Arrow { from: self.file.to_owned(), line, to: to.to_owned(), symbol });
        }
    }

    /// A `use` may stand below the code that needs it, so names are gathered before anything is read.
    fn learn_aliases(&mut self, items: &[Item]) {
        for item in items {
            match item {
                Item::Use(item) => {
                    for (names, alias, _) in leaves(&item.tree) {
                        let module = self.whole(&names).filter(|whole| self.modules.0.contains_key(whole));
                        if let Some(module) = module {
                            self.aliases.insert(alias, module);
                        }
                    }
                }
                Item::Mod(ItemMod { ident, content: Some((_, items)), attrs, .. }) if !is_test(attrs) => {
                    self.module.push(ident.to_string());
                    self.learn_aliases(items);
                    self.module.pop();
                }
                _ => {}
            }
        }
    }

    /// Paths inside a macro or an attribute, which nobody parses: names with `::` between them. A text in an attribute may
    /// be a path too.
    fn tokens(&mut self, tokens: TokenStream, texts: bool) {
        let mut names: Vec<String> = Vec::new();
        let (mut colons, mut line) = (0, 0);
        for token in tokens {
            match token {
                TokenTree::Punct(sign) if sign.as_char() == ':' => {
                    colons += 1;
                    continue;
                }
                TokenTree::Ident(ident) => {
                    if colons != 2 {
                        self.end_of_path(&mut names, line);
                        line = ident.span().start().line;
                    }
                    names.push(ident.to_string());
                    colons = 0;
                    continue;
                }
                TokenTree::Group(group) => self.tokens(group.stream(), texts),
                TokenTree::Literal(literal) if texts => {
                    if let Ok(text) = syn::parse_str::<syn::LitStr>(&literal.to_string())
                        && let Ok(path) = syn::parse_str::<Path>(&text.value())
                    {
                        self.path_of_names(&path, literal.span().start().line);
                    }
                }
                TokenTree::Punct(_) | TokenTree::Literal(_) => {}
            }
            self.end_of_path(&mut names, line);
            colons = 0;
        }
        self.end_of_path(&mut names, line);
    }

    fn end_of_path(&mut self, names: &mut Vec<String>, line: usize) {
        if names.len() > 1 {
            self.name(names, line);
        }
        names.clear();
    }

    fn path_of_names(&mut self, path: &Path, line: usize) {
        let names: Vec<String> = path.segments.iter().map(|segment| segment.ident.to_string()).collect();
        if names.len() > 1 && path.leading_colon.is_none() {
            self.name(&names, line);
        }
    }
}

impl<'ast> Visit<'ast> for Reader<'_> {
    fn visit_item(&mut self, item: &'ast Item) {
        let attributes: &[Attribute] = match item {
            Item::Mod(item) => &item.attrs,
            Item::Fn(item) => &item.attrs,
            Item::Impl(item) => &item.attrs,
            Item::Use(item) => &item.attrs,
            Item::Const(item) => &item.attrs,
            _ => &[],
        };
        if !is_test(attributes) {
            visit::visit_item(self, item);
        }
    }

    fn visit_item_mod(&mut self, item: &'ast ItemMod) {
        self.module.push(item.ident.to_string());
        visit::visit_item_mod(self, item);
        self.module.pop();
    }

    fn visit_item_use(&mut self, item: &'ast ItemUse) {
        if item.leading_colon.is_none() {
            for (names, _, line) in leaves(&item.tree) {
                self.name(&names, line);
            }
        }
        visit::visit_item_use(self, item);
    }

    fn visit_path(&mut self, path: &'ast Path) {
        self.path_of_names(path, path.span().start().line);
        visit::visit_path(self, path);
    }

    /// `pub(in crate::law)` says who may name something, and names nothing.
    fn visit_vis_restricted(&mut self, _: &'ast VisRestricted) {}

    fn visit_macro(&mut self, called: &'ast Macro) {
        self.tokens(called.tokens.clone(), false);
        visit::visit_macro(self, called);
    }

    fn visit_attribute(&mut self, attribute: &'ast Attribute) {
        if let Meta::List(list) = &attribute.meta {
            self.tokens(list.tokens.clone(), true);
        }
        visit::visit_attribute(self, attribute);
    }
}

fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| match &attribute.meta {
        Meta::List(list) => list.path.is_ident("cfg") && list.tokens.to_string() == "test",
        _ => false,
    })
}

/// The paths that a `use` names, each with the name it brings in and its line. A glob ends in `*`.
fn leaves(tree: &UseTree) -> Vec<(Vec<String>, String, usize)> {
    fn walk(tree: &UseTree, before: &[String], found: &mut Vec<(Vec<String>, String, usize)>) {
        let with = |name: String| before.iter().cloned().chain([name]).collect::<Vec<_>>();
        let line = tree.span().start().line;
        match tree {
            UseTree::Path(path) => walk(&path.tree, &with(path.ident.to_string()), found),
            UseTree::Group(group) => group.items.iter().for_each(|tree| walk(tree, before, found)),
            UseTree::Glob(_) => found.push((with("*".to_owned()), "*".to_owned(), line)),
            UseTree::Name(name) if name.ident == "self" => {
                found.push((before.to_vec(), before.last().cloned().unwrap_or_default(), line));
            }
            UseTree::Name(name) => found.push((with(name.ident.to_string()), name.ident.to_string(), line)),
            UseTree::Rename(name) if name.ident == "self" => {
                found.push((before.to_vec(), name.rename.to_string(), line));
            }
            UseTree::Rename(name) => found.push((with(name.ident.to_string()), name.rename.to_string(), line)),
        }
    }
    let mut found = Vec::new();
    walk(tree, &[], &mut found);
    found
}
