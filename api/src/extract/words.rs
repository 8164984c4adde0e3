//! serde's errors in the words of someone who fills in a form, under the path of the field.

use rimeyard_rules::Invalid;

/// Turns an error of serde_path_to_error into the field at fault and what to do.
pub fn fault<E: std::fmt::Display>(error: &serde_path_to_error::Error<E>) -> Invalid {
    let mut path = error.path().to_string();
    if path == "." {
        path.clear();
    }
    let message = error.inner().to_string();
    let message = message.split(" at line ").next().unwrap_or_default();
    if let Some(name) = between(message, "missing field `", "`") {
        return Invalid::new(join(&path, name), "is required; give it");
    }
    if let Some(name) = between(message, "duplicate field `", "`") {
        return Invalid::new(join(&path, name), "is given twice; give it once");
    }
    if let Some(name) = between(message, "unknown field `", "`") {
        let known = message
            .split_once(", expected ")
            .map_or("", |(_, known)| known);
        let path = match path.rsplit('.').next() {
            Some(last) if last == name => path,
            _ => join(&path, name),
        };
        return Invalid::new(path, format!("is not known here; {}", choices(known)));
    }
    if let Some(value) = between(message, "unknown variant `", "`") {
        let known = message
            .split_once(", expected ")
            .map_or("", |(_, known)| known);
        return Invalid::new(path, format!("is {value:?}; {}", choices(known)));
    }
    if message == TOO_LONG {
        return Invalid::new(path, "has more items than it takes; leave out the rest");
    }
    if message == NO_WORD {
        return Invalid::new(path, "must be text, one of the words known here");
    }
    Invalid::new(path, plain(message))
}

/// What serde_json says of anything but text where one of some words is wanted; of a text that is no such word it says
/// more.
const NO_WORD: &str = "expected value";

/// What serde_json says of a list that has more items than it is to have.
const TOO_LONG: &str = "trailing characters";

/// Whether a list has more items than it takes, in a body that is JSON.
pub fn is_too_long(error: &serde_path_to_error::Error<serde_json::Error>) -> bool {
    error.inner().to_string().starts_with(TOO_LONG)
}

/// Whether something else stands where one of some words is wanted, in a body that is JSON.
pub fn is_no_word(error: &serde_path_to_error::Error<serde_json::Error>) -> bool {
    error.inner().to_string().starts_with(NO_WORD)
}

fn join(path: &str, name: &str) -> String {
    Invalid::new(name, "").within(path).field
}

fn between<'a>(message: &'a str, before: &str, after: &str) -> Option<&'a str> {
    message.strip_prefix(before)?.split(after).next()
}

fn choices(known: &str) -> String {
    let known = known.trim_start_matches("one of ").replace('`', "");
    if known.is_empty() || known.starts_with("there are no") {
        "leave it out".to_owned()
    } else {
        format!("known are: {known}")
    }
}

/// The names of Rust's types, replaced by what a person would write.
fn plain(message: &str) -> String {
    let mut words = message.to_owned();
    for (rust, plain) in [
        ("floating point", "number"),
        ("expected f64", "expected a number"),
        ("expected i32", "expected a whole number"),
        ("expected i64", "expected a whole number"),
        ("expected u8", "expected a whole number, not negative"),
        ("expected u16", "expected a whole number, not negative"),
        ("expected u32", "expected a whole number, not negative"),
        ("expected u64", "expected a whole number, not negative"),
        ("expected usize", "expected a whole number, not negative"),
        ("expected a string", "expected text"),
        ("expected a sequence", "expected a list"),
        ("expected a map", "expected an object"),
        ("expected a boolean", "expected true or false"),
        ("invalid type: map", "invalid type: object"),
        ("invalid type: sequence", "invalid type: list"),
        ("invalid type: string", "invalid type: text"),
    ] {
        words = words.replace(rust, plain);
    }
    // What we call it among ourselves, and how many fields it has, say nothing to anybody else.
    for of_ours in [
        "struct ",
        "internally tagged enum ",
        "adjacently tagged enum ",
    ] {
        let expected = format!("expected {of_ours}");
        // Not where somebody wrote that: what is quoted goes on to a quotation mark.
        let said = words.rsplit_once(&expected);
        if let Some((before, _)) = said.filter(|(_, ours)| !ours.contains('"')) {
            words = format!("{before}expected an object");
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use serde::Deserialize;

    use super::*;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "only its parsing is under test")]
    struct Outer {
        readings: Vec<Inner>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "only its parsing is under test")]
    struct Inner {
        hours: f64,
        kind: Kind,
    }

    #[derive(Debug, Deserialize)]
    #[serde(rename_all = "snake_case")]
    enum Kind {
        Grade,
        Measure,
    }

    fn read(text: &str) -> Invalid {
        let mut json = serde_json::Deserializer::from_str(text);
        fault(&serde_path_to_error::deserialize::<_, Outer>(&mut json).unwrap_err())
    }

    #[test]
    fn the_field_is_named_by_its_path() {
        let fault = read(r#"{"readings": [{"hours": "x", "kind": "grade"}]}"#);
        assert_eq!(fault.field, "readings[0].hours");
        assert_eq!(
            fault.problem,
            r#"invalid type: text "x", expected a number"#
        );
        assert_eq!(
            read(r#"{"readings": [{"kind": "grade"}]}"#).field,
            "readings[0].hours"
        );
        assert_eq!(
            read(r#"{"readings": [{"hours": 1, "hours": 2}]}"#).field,
            "readings[0].hours"
        );
        assert_eq!(read(r#"{"readings": {}}"#).field, "readings");
        assert_eq!(read("[]").field, "");
        let fault = read(r#"{"readings": [7]}"#);
        assert_eq!(fault.field, "readings[0]");
        assert_eq!(
            fault.problem,
            "invalid type: integer `7`, expected an object"
        );
        let fault = read(r#"{"readings": [{"hours": 1, "colour": "red"}]}"#);
        assert_eq!(fault.field, "readings[0].colour");
        assert_eq!(fault.problem, "is not known here; known are: hours or kind");
        let fault = read(r#"{"readings": [{"hours": 1, "kind": "guess"}]}"#);
        assert_eq!(fault.field, "readings[0].kind");
        assert_eq!(fault.problem, r#"is "guess"; known are: grade or measure"#);
    }
}
