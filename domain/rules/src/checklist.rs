//! A checklist: what is looked at on a machine, in working order. The checks themselves, with their limits, are the
//! model sheet's; a step whose check the sheet of a machine does not have (no battery fitted) is left out for it.

use serde::{Deserialize, Serialize};

use crate::Invalid;
use crate::sheet::{Sheet, Work};

/// One step of a checklist.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = ChecklistStep))]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// The check of the sheet.
    pub check: String,
    /// Where on the machine, or how, in a few words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
    /// Tools to have at hand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tools: Vec<String>,
    /// What must be true before this step: "engine stopped, plug lead off and grounded".
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub preconditions: Vec<String>,
    /// What can hurt in this step.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
}

/// A checklist's content; its version is kept beside it, every version for ever.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = ChecklistContent))]
#[serde(deny_unknown_fields)]
pub struct Checklist {
    /// The kind of machine it is for.
    pub kind: String,
    /// What must be true before any of it.
    #[serde(default)]
    pub preconditions: Vec<String>,
    /// What can hurt throughout, and who decides.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// The steps, in working order.
    pub steps: Vec<Step>,
    /// Where the order of work comes from.
    pub source: String,
}

/// Steps a checklist may have.
pub const STEPS_MAX: usize = 500;
/// Cautions, preconditions or tools a step, or the whole, may have.
const TEXTS_MAX: usize = 30;
/// Longest text, characters.
const TEXT_MAX: usize = 300;
/// Longest short name of a check, characters.
const CODE_MAX: usize = 60;

impl Checklist {
    /// Reads a checklist from TOML, the form of the default checklists.
    pub fn from_toml(text: &str) -> Result<Self, Invalid> {
        toml::from_str(text).map_err(|error| Invalid::new("", error.to_string()))
    }

    /// The steps that apply to a machine with this sheet, rigged for `work`, with their checks, in working order: those of
    /// an attachment that is not fitted are left out.
    pub fn steps_for<'a>(
        &'a self,
        sheet: &'a Sheet,
        work: Work,
    ) -> impl Iterator<Item = (&'a Step, &'a crate::sheet::CheckSpec)> {
        self.steps
            .iter()
            .filter(move |step| sheet.check_concerns(&step.check, work))
            .filter_map(|step| Some((step, sheet.check_spec(&step.check)?)))
    }

    /// Whether the checklist makes sense as a whole: steps there, none twice, texts of a readable length. Every fault
    /// is named, not only the first.
    pub fn check(&self) -> Result<(), Vec<Invalid>> {
        let mut faults = Vec::new();
        text(&mut faults, "kind".to_owned(), &self.kind);
        text(&mut faults, "source".to_owned(), &self.source);
        texts(&mut faults, "preconditions", &self.preconditions);
        texts(&mut faults, "cautions", &self.cautions);
        if self.steps.is_empty() || self.steps.len() > STEPS_MAX {
            let problem = format!(
                "must be 1 to {STEPS_MAX} steps; there are {}",
                self.steps.len()
            );
            faults.push(Invalid::new("steps", problem));
        }
        let mut seen = std::collections::BTreeSet::new();
        for (index, step) in self.steps.iter().enumerate().take(STEPS_MAX) {
            let at = |field: &str| format!("steps[{index}].{field}");
            if step.check.is_empty() || step.check.chars().count() > CODE_MAX {
                let problem = format!(
                    "must be 1 to {CODE_MAX} characters: the short name of a check of the sheet"
                );
                faults.push(Invalid::new(at("check"), problem));
            } else if !seen.insert(step.check.as_str()) {
                let problem = format!("{} is already a step: each check once", step.check);
                faults.push(Invalid::new(at("check"), problem));
            }
            if let Some(how) = &step.how {
                text(&mut faults, at("how"), how);
            }
            texts(&mut faults, &at("tools"), &step.tools);
            texts(&mut faults, &at("preconditions"), &step.preconditions);
            texts(&mut faults, &at("cautions"), &step.cautions);
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(faults)
        }
    }
}

fn text(faults: &mut Vec<Invalid>, field: String, text: &str) {
    if text.trim().is_empty() || text.chars().count() > TEXT_MAX || text.contains('\0') {
        let problem = format!("must be 1 to {TEXT_MAX} characters, without NUL");
        faults.push(Invalid::new(field, problem));
    }
}

fn texts(faults: &mut Vec<Invalid>, field: &str, list: &[String]) {
    if list.len() > TEXTS_MAX {
        let problem = format!("must have at most {TEXTS_MAX} items; it has {}", list.len());
        faults.push(Invalid::new(field, problem));
        return;
    }
    for (index, item) in list.iter().enumerate() {
        text(faults, format!("{field}[{index}]"), item);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::two_stage_thrower_checklist;

    fn fields_at_fault(change: impl FnOnce(&mut Checklist)) -> Vec<String> {
        let mut checklist = two_stage_thrower_checklist();
        change(&mut checklist);
        let faults = checklist.check().err().unwrap_or_default();
        faults.into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn each_fault_is_named_by_its_field() {
        assert!(fields_at_fault(|_| ()).is_empty());
        assert_eq!(fields_at_fault(|list| list.steps.clear()), ["steps"]);
        let twice = fields_at_fault(|list| list.steps[1].check = list.steps[0].check.clone());
        assert_eq!(twice, ["steps[1].check"]);
        let long = "x".repeat(TEXT_MAX + 1);
        let texts = fields_at_fault(|list| {
            list.source = " ".to_owned();
            list.cautions = vec!["x".to_owned(); TEXTS_MAX + 1];
            list.steps[2].how = Some(long.clone());
            list.steps[3].tools = vec!["spanner".to_owned(), long];
        });
        assert_eq!(
            texts,
            ["source", "cautions", "steps[2].how", "steps[3].tools[1]"]
        );
    }
}
