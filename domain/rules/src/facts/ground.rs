//! The ground of a depot: its duties, and the people for them.

use serde::{Deserialize, Serialize};

use crate::Invalid;
use crate::sheet::Work;

/// Entries of a depot's operators.
const OPERATORS_MAX: usize = 50;

/// Salt on walks where nobody said how much, g/m2: common practice, some 4 lb on 1000 ft2.
const USUAL_DOSE_G_M2: f64 = 20.0;

/// Ground to be cleared, spread or blown.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Duty {
    /// What it is called: "north platforms".
    pub name: String,
    /// The kind of work.
    pub work: Work,
    /// Its class of service, in the district's words.
    pub class: String,
    /// Area, m2.
    pub area_m2: f64,
    /// Within how many hours of lying deep enough it must be clear, or spread.
    pub clear_within_h: f64,
    /// Narrowest place, mm: wider machines do not pass.
    #[serde(default)]
    pub narrowest_width_mm: Option<f64>,
    /// Of spreading, and only of it: material to put down each time, g/m2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dose_g_m2: Option<f64>,
}

impl Duty {
    /// The dose of a spreading duty, g/m2; none of other work. A duty kept from before doses were asked for gets a usual
    /// one until somebody enters it.
    pub fn dose(&self) -> Option<f64> {
        let said = self.dose_g_m2.filter(|dose| *dose > 0.0);
        (self.work == Work::Spread).then(|| said.unwrap_or(USUAL_DOSE_G_M2))
    }

    /// What it asks for each time, in the unit of its work's rates without the hour: m2 of ground, or kg of material.
    pub fn amount(&self) -> f64 {
        match self.dose() {
            Some(dose) => self.area_m2 * dose / 1000.0,
            None => self.area_m2,
        }
    }
}

/// Operators for one kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Operators {
    /// The kind of work.
    pub work: Work,
    /// The narrow ground they are for, as in the duties; absent for the rest.
    #[serde(default)]
    pub narrowest_width_mm: Option<f64>,
    /// How many can be out at once.
    pub per_shift: u32,
}

impl Operators {
    /// Whether these can be all of a depot's.
    ///
    /// # Errors
    /// The first field that cannot be, from `operators` on.
    pub fn check(all: &[Operators]) -> Result<(), Invalid> {
        if all.len() > OPERATORS_MAX {
            let problem = format!(
                "must have at most {OPERATORS_MAX} items; it has {}",
                all.len()
            );
            return Err(Invalid::new("operators", problem));
        }
        for (index, one) in all.iter().enumerate() {
            let wrong = |name: &str, problem: String| {
                Err(Invalid::new(format!("operators[{index}].{name}"), problem))
            };
            if one.per_shift > 1_000 {
                return wrong(
                    "per_shift",
                    format!("must be from 0 to 1000; it is {}", one.per_shift),
                );
            }
            let width_mm = one.narrowest_width_mm;
            if let Some(width_mm) = width_mm.filter(|width| !(100.0..=50_000.0).contains(width)) {
                return wrong(
                    "narrowest_width_mm",
                    format!("must be from 100 to 50000; it is {width_mm}"),
                );
            }
            let same =
                |other: &Operators| other.work == one.work && other.narrowest_width_mm == width_mm;
            if all[..index].iter().any(same) {
                return wrong(
                    "work",
                    "and width are given twice; add their operators up".to_owned(),
                );
            }
        }
        Ok(())
    }
}
