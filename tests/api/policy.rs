//! Who may do what, as a table that anyone can read: openapi/who-may-do-what.md. Here it is made and compared; that each
//! line of it is so, `walk` and `lists` prove with real requests.

use std::fmt::Write;
use std::path::Path;
use std::{env, fs};

use rimeyard_harness::TestServer;
use rimeyard_store::Role;

use super::operations::{Operation, Scope, operations};

const HEAD: &str = "\
# Who may do what

Everyone has one role and is granted depots: some, or all there are. A line is one thing that can be done, and a cell says
to whose things somebody of that role may do it:

| | |
|---|---|
| own depots | To those of the depots granted. Others do not exist for this person: a list leaves them out, and who asks for one by its id is answered as if it had never been there. |
| shared | To what the whole organisation has in common: models, sheets, what was learned of them, checklists, the list of parts, people. |
| oneself | To one's own session. |
| yes | It shows or keeps nothing of anybody's: it works out what it is sent, or is open to whoever comes. |
| - | Not at all. |

Nothing of another organisation exists for anybody, whatever the line says. What else may bar the way (a hold tag is lifted
only with the inspection that proves the repair, and, where it names somebody, by them alone) is told by the operation itself in the API's document.

Made from that document, and never by hand, by tests/api/policy.rs; tests/api/walk.rs and tests/api/lists.rs try every line
with real requests. When a line changes or is added, look whether it is meant so, then renew this file:

    INSTA_UPDATE=always cargo test -p rimeyard-tests api::policy
";

/// What a role may do, in a cell.
fn cell(operation: &Operation, may: bool) -> &'static str {
    match operation.scope() {
        _ if !may => "-",
        Scope::Depot => "own depots",
        Scope::Organisation => "shared",
        Scope::Oneself => "oneself",
        Scope::Nobody | Scope::Anyone => "yes",
    }
}

/// One line of a table.
fn line<'a>(text: &mut String, cells: impl IntoIterator<Item = &'a str>) {
    for cell in cells {
        write!(text, "| {cell} ").expect("a string takes it");
    }
    text.push_str("|\n");
}

fn table(operations: &[Operation]) -> String {
    let mut text = HEAD.to_owned();
    let mut sorted: Vec<&Operation> = operations.iter().collect();
    sorted.sort_by_key(|operation| (&operation.tag, &operation.path, operation.method.as_str()));
    for group in sorted.chunk_by(|a, b| a.tag == b.tag) {
        let (first, rest) = group[0].tag.split_at(1);
        write!(text, "\n## {}{rest}\n\n", first.to_uppercase()).expect("a string takes it");
        let roles = || Role::ALL.iter().map(|role| role.as_str());
        line(
            &mut text,
            ["What", "How", "not signed in"].into_iter().chain(roles()),
        );
        line(&mut text, vec!["---"; 3 + Role::ALL.len()]);
        for operation in group {
            let how = format!("{} `{}`", operation.method, operation.path);
            let what = operation.summary.trim_end_matches('.');
            let nobody = cell(operation, operation.scope() == Scope::Anyone);
            let cells = Role::ALL
                .iter()
                .map(|role| cell(operation, operation.may(*role)));
            line(&mut text, [what, &how, nobody].into_iter().chain(cells));
        }
    }
    text
}

#[tokio::test]
async fn the_table_of_who_may_do_what_is_as_agreed() {
    let server = TestServer::start().await;
    let table = table(&operations(&server).await);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/who-may-do-what.md");
    if env::var("INSTA_UPDATE").is_ok_and(|how| how == "always") {
        fs::write(&path, &table).expect("the table is written");
    }
    let committed = fs::read_to_string(&path).unwrap_or_default();
    let changed: Vec<&str> = table
        .lines()
        .filter(|line| !committed.lines().any(|known| known == *line))
        .collect();
    assert!(
        committed == table,
        "openapi/who-may-do-what.md is not what the document says. Look whether this is meant so:\n{}\nThen renew it: \
         INSTA_UPDATE=always cargo test -p rimeyard-tests api::policy",
        changed.join("\n")
    );
}
