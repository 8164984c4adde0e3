//! Shapes of the document. It names them by their types' short names, and of two shapes with one name it keeps one and
//! says nothing: whoever reads the other is told what is not so.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::root;

/// Every source file under a folder.
fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of the house") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

/// What stands between `before` and the first character that cannot be in a name.
fn name_after<'a>(text: &'a str, before: &str) -> Option<&'a str> {
    let rest = &text[text.find(before)? + before.len()..];
    let end = rest
        .find(|c: char| !c.is_alphanumeric() && c != '_')
        .unwrap_or(rest.len());
    Some(&rest[..end])
}

/// The names under which a file's types stand in the document.
fn shapes(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut rest = text;
    while let Some(at) = rest.find("ToSchema)") {
        rest = &rest[at + "ToSchema)".len()..];
        let head_ends = ["pub struct ", "pub enum "]
            .iter()
            .filter_map(|kind| Some((rest.find(kind)?, *kind)))
            .min();
        let Some((end, kind)) = head_ends else { break };
        let name =
            name_after(&rest[..end], "schema(as = ").or_else(|| name_after(&rest[end..], kind));
        found.push(name.expect("a type has a name").to_owned());
    }
    found
}

#[test]
fn no_two_shapes_of_the_document_have_one_name() {
    let mut files = Vec::new();
    for room in ["api", "domain", "worker"] {
        sources(&root().join(room), &mut files);
    }
    let mut homes = BTreeMap::<String, Vec<PathBuf>>::new();
    for file in files {
        for shape in shapes(&fs::read_to_string(&file).expect("UTF-8")) {
            homes.entry(shape).or_default().push(file.clone());
        }
    }
    assert!(homes.len() > 200, "only {} shapes found", homes.len());
    homes.retain(|_, files| files.len() > 1);
    assert!(
        homes.is_empty(),
        "shapes with one name; say another with schema(as = ...): {homes:#?}"
    );
}
