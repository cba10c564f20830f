//! Which file of the program uses which: read from the tokens of the sources.
//!
//! A file depends on the file that defines what it names, so what a `mod.rs` declares
//! and re-exports is followed to where it stands: a `mod.rs` that does only that is a
//! facade, and nobody depends on it. Code for tests (`#[cfg(test)]`) is left out.
//! What a value's methods do, and what a macro makes of its tokens, is not seen.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use proc_macro2::{Delimiter, TokenStream, TokenTree};

/// A path as it is written, from its first segment to its last, and its line.
type Written = (Vec<String>, usize);

/// One name that a `use` brings in.
struct Use {
    path: Vec<String>,
    /// `None`: all of them (`*`).
    name: Option<String>,
    line: usize,
    reexport: bool,
}

/// What one file says of itself.
#[derive(Default)]
struct Source {
    /// The module that the file is, from the crate's root.
    module: Vec<String>,
    uses: Vec<Use>,
    /// Paths outside of `use`, of two segments at least.
    paths: Vec<Written>,
    /// Names that stand outside of `use`, each with the first line where it does.
    names: BTreeMap<String, usize>,
    /// What is defined at the top level.
    defines: BTreeSet<String>,
    /// Modules in files of their own that only tests have.
    test_modules: Vec<String>,
}

/// `from` names something that `to` defines.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Edge {
    pub from: String,
    pub to: String,
    pub line: usize,
    /// As it is written there.
    pub path: String,
}

/// The files of a crate by their names under its `src`.
pub struct Sources {
    files: BTreeMap<String, Source>,
    modules: BTreeMap<Vec<String>, String>,
}

/// Where a path leads.
#[derive(Clone)]
enum Found {
    /// To something that this file defines.
    Item(String),
    /// To the module that this file is.
    Module(String),
    /// Out of the crate, or to a name of the file's own.
    Elsewhere,
}

impl Sources {
    /// All `.rs` files below a folder.
    pub fn read(folder: &Path) -> Sources {
        let mut texts = Vec::new();
        collect(folder, "", &mut texts);
        Sources::parse(&texts)
    }

    /// Files by name (`theory/mod.rs`) and text.
    ///
    /// # Panics
    /// At a text that is not Rust.
    pub fn parse<S: AsRef<str>>(texts: &[(S, S)]) -> Sources {
        let mut files = BTreeMap::new();
        for (name, text) in texts {
            let (name, text) = (name.as_ref(), text.as_ref());
            let tokens: TokenStream = text
                .parse()
                .unwrap_or_else(|e| panic!("src/{name}: no Rust: {e}"));
            let mut source = Source {
                module: module_of(name),
                ..Source::default()
            };
            source.take(tokens, 0, true);
            files.insert(name.to_owned(), source);
        }
        // Files of tests, and what lies below them.
        let mut of_tests = Vec::new();
        for source in files.values() {
            for name in &source.test_modules {
                of_tests.push([&source.module[..], std::slice::from_ref(name)].concat());
            }
        }
        files.retain(|_, s| !of_tests.iter().any(|t| s.module.starts_with(t)));
        let modules = files
            .iter()
            .map(|(name, s)| (s.module.clone(), name.clone()))
            .collect();
        Sources { files, modules }
    }

    pub fn files(&self) -> impl Iterator<Item = &str> {
        self.files.keys().map(String::as_str)
    }

    /// Who names what of whom, each pair of files by the first line that does.
    pub fn edges(&self) -> Vec<Edge> {
        let mut edges: BTreeMap<(String, String), Edge> = BTreeMap::new();
        for (name, source) in &self.files {
            let mut add = |path: &[String], line: usize, found: Found| {
                let to = match found {
                    Found::Item(to) => to,
                    // What of a facade is meant the paths say.
                    Found::Module(to) if !self.is_parent(&to) => to,
                    _ => return,
                };
                if to == *name {
                    return;
                }
                let edge = Edge {
                    from: name.clone(),
                    to: to.clone(),
                    line,
                    path: path.join("::"),
                };
                let first = edges
                    .entry((name.clone(), to))
                    .or_insert_with(|| edge.clone());
                if line < first.line {
                    *first = edge;
                }
            };
            for u in &source.uses {
                let found = self.find(name, &u.path, 0);
                match &u.name {
                    Some(bound) => {
                        // A facade knows nobody for what it only passes on.
                        let passed_on = u.reexport && self.below(&found, source);
                        match (passed_on, source.names.get(bound)) {
                            (false, _) => add(&u.path, u.line, found),
                            (true, Some(&line)) => add(&u.path, line, found),
                            (true, None) => {}
                        }
                    }
                    None => {
                        let Found::Module(of) = &found else {
                            add(&u.path, u.line, found);
                            continue;
                        };
                        for (n, &line) in &source.names {
                            if let Some(item) = self.exported(of, n, 0) {
                                let path = [&u.path[..], std::slice::from_ref(n)].concat();
                                add(&path, line, item);
                            }
                        }
                    }
                }
            }
            for (path, line) in &source.paths {
                add(path, *line, self.find(name, path, 0));
            }
        }
        edges.into_values().collect()
    }

    fn is_parent(&self, file: &str) -> bool {
        let module = &self.files[file].module;
        self.modules
            .keys()
            .any(|m| m.len() > module.len() && m.starts_with(module))
    }

    fn below(&self, found: &Found, source: &Source) -> bool {
        match found {
            Found::Item(file) | Found::Module(file) => {
                let module = &self.files[file].module;
                module.len() > source.module.len() && module.starts_with(&source.module)
            }
            Found::Elsewhere => false,
        }
    }

    /// Where a path leads that stands in a file.
    fn find(&self, file: &str, path: &[String], depth: usize) -> Found {
        // Two `use` that name each other lead nowhere.
        if depth > 20 {
            return Found::Elsewhere;
        }
        let mut module = self.files[file].module.clone();
        let mut rest = path;
        let mut rooted = false;
        while let Some(first) = rest.first() {
            match first.as_str() {
                "crate" => module.clear(),
                "peregrinus" if !rooted => module.clear(),
                "self" => {}
                "super" => {
                    module.pop();
                }
                _ => break,
            }
            rooted = true;
            rest = &rest[1..];
        }
        let Some(mut at) = self.modules.get(&module).cloned() else {
            return Found::Elsewhere;
        };
        for (i, segment) in rest.iter().enumerate() {
            let child = [&self.files[&at].module[..], std::slice::from_ref(segment)].concat();
            if let Some(below) = self.modules.get(&child) {
                at = below.clone();
                continue;
            }
            let own = i == 0 && !rooted;
            match self.exported(&at, segment, depth + 1) {
                Some(Found::Module(below)) => at = below,
                Some(found) => return found,
                None if own => return Found::Elsewhere,
                None => return Found::Item(at),
            }
        }
        Found::Module(at)
    }

    /// What a module calls by a name: defined there, or brought in.
    fn exported(&self, file: &str, name: &str, depth: usize) -> Option<Found> {
        let source = &self.files[file];
        if source.defines.contains(name) {
            return Some(Found::Item(file.to_owned()));
        }
        let child = [&source.module[..], &[name.to_owned()]].concat();
        if let Some(below) = self.modules.get(&child) {
            return Some(Found::Module(below.clone()));
        }
        if depth > 20 {
            return None;
        }
        for u in &source.uses {
            // `use chord;` of a module beside it would ask for itself.
            if u.name.as_deref() == Some(name) && u.path.first().is_some_and(|f| f != name) {
                match self.find(file, &u.path, depth + 1) {
                    Found::Elsewhere => {}
                    found => return Some(found),
                }
            }
        }
        source
            .uses
            .iter()
            .filter(|u| u.name.is_none())
            .find_map(|u| match self.find(file, &u.path, depth + 1) {
                Found::Module(of) if of != file => self.exported(&of, name, depth + 1),
                _ => None,
            })
    }
}

fn collect(folder: &Path, under: &str, into: &mut Vec<(String, String)>) {
    let entries = std::fs::read_dir(folder).expect("a folder of sources");
    for entry in entries.map(|e| e.expect("an entry")) {
        let name = entry.file_name().into_string().expect("a plain name");
        if entry.path().is_dir() {
            collect(&entry.path(), &format!("{under}{name}/"), into);
        } else if name.ends_with(".rs") {
            let text = std::fs::read_to_string(entry.path()).expect("a source");
            into.push((format!("{under}{name}"), text));
        }
    }
}

/// `theory/mod.rs` and `theory.rs` are the module `theory`, `lib.rs` is the root.
fn module_of(name: &str) -> Vec<String> {
    let name = name.strip_suffix(".rs").unwrap_or(name);
    let name = name.strip_suffix("/mod").unwrap_or(name);
    match name {
        "lib" => Vec::new(),
        _ => name.split('/').map(str::to_owned).collect(),
    }
}

// ---- one file ----

fn word(token: Option<&TokenTree>) -> Option<String> {
    match token {
        Some(TokenTree::Ident(i)) => Some(i.to_string().trim_start_matches("r#").to_owned()),
        _ => None,
    }
}

fn is(token: Option<&TokenTree>, sign: char) -> bool {
    matches!(token, Some(TokenTree::Punct(p)) if p.as_char() == sign)
}

fn double_colon(tokens: &[TokenTree], at: usize) -> bool {
    is(tokens.get(at), ':') && is(tokens.get(at + 1), ':')
}

fn group(token: Option<&TokenTree>, delimiter: Delimiter) -> Option<TokenStream> {
    match token {
        Some(TokenTree::Group(g)) if g.delimiter() == delimiter => Some(g.stream()),
        _ => None,
    }
}

fn line(token: &TokenTree) -> usize {
    token.span().start().line
}

const ITEMS: [&str; 9] = [
    "struct",
    "enum",
    "union",
    "trait",
    "type",
    "const",
    "static",
    "fn",
    "macro_rules",
];

impl Source {
    /// `inside`: so many modules within the file. `top`: where items stand.
    fn take(&mut self, tokens: TokenStream, inside: usize, top: bool) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        let mut at = 0;
        while at < tokens.len() {
            let next = tokens.get(at + 1);
            if is(tokens.get(at), '#') {
                let brackets = at + if is(next, '!') { 2 } else { 1 };
                if let Some(inner) = group(tokens.get(brackets), Delimiter::Bracket) {
                    at = brackets + 1;
                    let test = inner.to_string().replace(' ', "") == "cfg(test)";
                    if test && brackets > 0 && !is(next, '!') {
                        at = self.skip_item(&tokens, at);
                    }
                    continue;
                }
            }
            match word(tokens.get(at)).as_deref() {
                // `use<'a>` is a bound.
                Some("use") if !is(next, '<') => {
                    let reexport = word(at.checked_sub(1).map(|i| &tokens[i])).as_deref()
                        == Some("pub")
                        || at >= 2
                            && group(tokens.get(at - 1), Delimiter::Parenthesis).is_some()
                            && word(tokens.get(at - 2)).as_deref() == Some("pub");
                    at += 1;
                    let end = (at..tokens.len())
                        .find(|&i| is(tokens.get(i), ';'))
                        .unwrap_or(tokens.len());
                    self.take_use(&tokens[at..end], Vec::new(), inside, reexport);
                    at = end + 1;
                    continue;
                }
                Some("mod") if word(next).is_some() => {
                    if let Some(body) = group(tokens.get(at + 2), Delimiter::Brace) {
                        self.take(body, inside + 1, false);
                        self.defines.extend(word(next));
                    }
                    at += 3;
                    continue;
                }
                Some(item) if top && ITEMS.contains(&item) => {
                    // `macro_rules! name`, `static mut NAME`.
                    let skip = is(next, '!') || word(next).as_deref() == Some("mut");
                    let name = word(tokens.get(at + if skip { 2 } else { 1 }));
                    self.defines
                        .extend(name.filter(|n| !ITEMS.contains(&n.as_str())));
                }
                Some(_) => {
                    at = self.take_path(&tokens, at, inside);
                    continue;
                }
                None => {
                    if let TokenTree::Group(g) = &tokens[at] {
                        self.take(g.stream(), inside, false);
                    }
                }
            }
            at += 1;
        }
    }

    /// Past what stands behind `#[cfg(test)]`.
    fn skip_item(&mut self, tokens: &[TokenTree], mut at: usize) -> usize {
        loop {
            // More attributes, and who may see it.
            if is(tokens.get(at), '#') {
                at += 2;
            } else if word(tokens.get(at)).as_deref() == Some("pub") {
                at += 1;
                if group(tokens.get(at), Delimiter::Parenthesis).is_some() {
                    at += 1;
                }
            } else {
                break;
            }
        }
        let first = word(tokens.get(at)).unwrap_or_default();
        if first == "mod"
            && is(tokens.get(at + 2), ';')
            && let Some(name) = word(tokens.get(at + 1))
        {
            self.test_modules.push(name);
        }
        let item = ITEMS.contains(&first.as_str())
            || ["mod", "use", "impl", "let", "unsafe", "async", "extern"].contains(&first.as_str());
        while at < tokens.len() {
            let token = tokens.get(at);
            let over = is(token, ';')
                || !item && is(token, ',')
                || first != "use" && group(token, Delimiter::Brace).is_some();
            at += 1;
            if over {
                break;
            }
        }
        at
    }

    /// A path, or a name alone; gives where it ends.
    fn take_path(&mut self, tokens: &[TokenTree], at: usize, inside: usize) -> usize {
        let written = line(&tokens[at]);
        let mut path = vec![word(tokens.get(at)).unwrap_or_default()];
        let mut end = at + 1;
        while double_colon(tokens, end)
            && let Some(segment) = word(tokens.get(end + 2))
        {
            path.push(segment);
            end += 3;
        }
        let dot = |i: usize| is(at.checked_sub(i).and_then(|i| tokens.get(i)), '.');
        // A method or a field, and the name of a field or a parameter.
        let of_value = dot(1) && !dot(2);
        let named = is(tokens.get(end), ':') && !double_colon(tokens, end);
        if path.len() > 1 || !of_value && !named {
            self.names.entry(path[0].clone()).or_insert(written);
        }
        if path.len() > 1 {
            self.paths.push((outward(path, inside), written));
        }
        end
    }

    fn take_use(
        &mut self,
        tokens: &[TokenTree],
        before: Vec<String>,
        inside: usize,
        reexport: bool,
    ) {
        let mut path = before;
        let mut at = 0;
        while double_colon(tokens, at) {
            at += 2;
        }
        while let Some(token) = tokens.get(at) {
            let written = line(token);
            if let Some(inner) = group(Some(token), Delimiter::Brace) {
                let inner: Vec<TokenTree> = inner.into_iter().collect();
                for part in inner.split(|t| is(Some(t), ',')) {
                    self.take_use(part, path.clone(), inside, reexport);
                }
                return;
            }
            if is(Some(token), '*') {
                self.uses.push(Use {
                    path: outward(path, inside),
                    name: None,
                    line: written,
                    reexport,
                });
                return;
            }
            let Some(segment) = word(Some(token)) else {
                return;
            };
            at += 1;
            if double_colon(tokens, at) {
                path.push(segment);
                at += 2;
                continue;
            }
            // `{self}` is what stands before it.
            if segment != "self" || path.is_empty() {
                path.push(segment);
            }
            let name = match word(tokens.get(at)).as_deref() {
                Some("as") => word(tokens.get(at + 1)),
                _ => path.last().cloned(),
            };
            self.uses.push(Use {
                path: outward(path, inside),
                name,
                line: written,
                reexport,
            });
            return;
        }
    }
}

/// A path within so many modules of a file, as seen from the file itself.
fn outward(path: Vec<String>, inside: usize) -> Vec<String> {
    let supers = path.iter().take_while(|s| *s == "super").count();
    if inside == 0 || supers == 0 {
        return path;
    }
    let within = supers.min(inside);
    let left = std::iter::repeat_n("super".to_owned(), supers - within);
    let own = ["self".to_owned()];
    own.into_iter()
        .chain(left)
        .chain(path[supers..].iter().cloned())
        .collect()
}
