//! A checklist: what is looked at on a machine, in working order. The checks themselves, with their limits, are the
//! model sheet's; a step whose check the sheet of a machine does not have (no battery fitted) is left out for it.

use serde::{Deserialize, Serialize};

use crate::Invalid;
use crate::sheet::Sheet;

/// One step of a checklist.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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

impl Checklist {
    /// Reads a checklist from TOML, the form of the default checklists.
    pub fn from_toml(text: &str) -> Result<Self, Invalid> {
        toml::from_str(text).map_err(|error| Invalid::new("", error.to_string()))
    }

    /// The steps that apply to a machine with this sheet, with their checks, in working order.
    pub fn steps_for<'a>(
        &'a self,
        sheet: &'a Sheet,
    ) -> impl Iterator<Item = (&'a Step, &'a crate::sheet::CheckSpec)> {
        self.steps
            .iter()
            .filter_map(|step| Some((step, sheet.check_spec(&step.check)?)))
    }

    /// Whether the checklist makes sense as a whole: steps there, none twice.
    pub fn check(&self) -> Result<(), Vec<Invalid>> {
        let mut faults = Vec::new();
        if self.steps.is_empty() {
            faults.push(Invalid::new(
                "steps",
                "is empty: a checklist needs at least one step",
            ));
        }
        if self.steps.len() > STEPS_MAX {
            faults.push(Invalid::new(
                "steps",
                format!(
                    "has {} steps; at most {STEPS_MAX} are allowed",
                    self.steps.len()
                ),
            ));
        }
        let mut seen = std::collections::BTreeSet::new();
        for (index, step) in self.steps.iter().enumerate().take(STEPS_MAX) {
            let field = format!("steps[{index}].check");
            if step.check.is_empty() || step.check.len() > 60 {
                faults.push(Invalid::new(
                    field,
                    "must be 1 to 60 characters: the short name of a check of the sheet",
                ));
            } else if !seen.insert(step.check.as_str()) {
                faults.push(Invalid::new(
                    field,
                    format!("{} is already a step: each check once", step.check),
                ));
            }
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(faults)
        }
    }
}
