//! One reading: whether it can be at all, then what it comes to.

use super::measuring::judge_measure;
use super::{Context, Judged, ReadingInput, Verdict};
use crate::Invalid;
use crate::sheet::{CheckSpec, Derived, Grade, Reads};

/// Longest note, characters.
const NOTE_MAX: usize = 2000;

/// Judges one reading. An error names the field of the reading and says what to do.
pub fn judge(
    check: &CheckSpec,
    reading: &ReadingInput,
    context: &Context,
) -> Result<Judged, Invalid> {
    if !reading.check.is_empty() && reading.check != check.check {
        return Err(Invalid::new(
            "check",
            format!(
                "is {:?}, but the check given is {:?}",
                reading.check, check.check
            ),
        ));
    }
    if let Some(note) = &reading.note
        && (note.chars().count() > NOTE_MAX || note.contains('\0'))
    {
        return Err(Invalid::new(
            "note",
            format!("must be at most {NOTE_MAX} characters, without NUL"),
        ));
    }
    only_what_belongs(check, reading)?;
    match &check.reads {
        Reads::Measure(measure) => judge_measure(check, measure, reading, context),
        Reads::Grade(grades) => judge_choice(check, grades, "grade", reading.grade.as_deref()),
        Reads::Level(levels) => judge_choice(check, levels, "level", reading.level.as_deref()),
        Reads::Function => {
            let works = reading.works.ok_or_else(|| {
                Invalid::new(
                    "works",
                    "is missing: this check is a function; say true or false".to_owned(),
                )
            })?;
            let verdict = if works {
                Verdict::Serviceable
            } else {
                Verdict::Unserviceable
            };
            let text = format!("{}: {}", check.title, if works { "yes" } else { "no" });
            Ok(Judged {
                verdict,
                flags: Vec::new(),
                value_si: None,
                judged_value: None,
                limits: None,
                text,
            })
        }
    }
}

/// Refuses the fields of another kind of check: a grade given for a measure is a slip, not extra information.
fn only_what_belongs(check: &CheckSpec, reading: &ReadingInput) -> Result<(), Invalid> {
    let derived = check.measure().and_then(|measure| measure.derived.as_ref());
    let measured = check.measure().is_some();
    let given = [
        ("value", reading.value.is_some(), measured),
        ("unit", reading.unit.is_some(), measured),
        ("repeats", reading.repeats.is_some(), measured),
        (
            "grade",
            reading.grade.is_some(),
            matches!(check.reads, Reads::Grade(_)),
        ),
        (
            "level",
            reading.level.is_some(),
            matches!(check.reads, Reads::Level(_)),
        ),
        (
            "works",
            reading.works.is_some(),
            matches!(check.reads, Reads::Function),
        ),
        (
            "temperature_c",
            reading.temperature_c.is_some(),
            derived.is_some(),
        ),
        (
            "full_charge",
            reading.full_charge.is_some(),
            matches!(derived, Some(Derived::Battery)),
        ),
    ];
    for (field, is_given, belongs) in given {
        if is_given && !belongs {
            let wanted = match check.kind() {
                crate::sheet::CheckKind::Measure => "value and unit",
                kind => match kind.word() {
                    "function" => "works",
                    word => word,
                },
            };
            return Err(Invalid::new(
                field,
                format!(
                    "does not belong here: {} is a {}; give {wanted}",
                    check.check,
                    check.kind().word()
                ),
            ));
        }
    }
    Ok(())
}

fn judge_choice(
    check: &CheckSpec,
    choices: &[Grade],
    field: &str,
    chosen: Option<&str>,
) -> Result<Judged, Invalid> {
    let all = || {
        choices
            .iter()
            .map(|choice| choice.grade.as_str())
            .collect::<Vec<_>>()
            .join("; ")
    };
    let chosen = chosen.ok_or_else(|| {
        Invalid::new(
            field,
            format!(
                "is missing: this check is a {field}; give one of: {}",
                all()
            ),
        )
    })?;
    let choice = choices
        .iter()
        .find(|choice| choice.grade == chosen)
        .ok_or_else(|| {
            let shown: String = chosen.chars().take(60).collect();
            Invalid::new(
                field,
                format!(
                    "{shown:?} is not one of this check's; give one of: {}",
                    all()
                ),
            )
        })?;
    let text = format!("{}: {}", check.title, choice.grade);
    Ok(Judged {
        verdict: choice.verdict,
        flags: Vec::new(),
        value_si: None,
        judged_value: None,
        limits: None,
        text,
    })
}
