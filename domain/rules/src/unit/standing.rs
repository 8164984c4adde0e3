//! Where a unit stands (section 7), from what is open against it and its factors: the `unit` calculation.

use serde::{Deserialize, Serialize};

use crate::Invalid;
use crate::because::{Reason, chance_rounded, odds, reasons};
use crate::calculations::{LIST_MAX, breaks, life, starts, wear_season};

/// Whether a unit is ready. In the order in which they apply: the first that does is the status.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Status {
    /// A hold tag or an open safety finding: do not operate.
    Held,
    /// An open finding that keeps it from its work.
    Stopped,
    /// In use under stated limits.
    Limited,
    /// Not inspected this season, or no proof start since storage: unknown is a state of its own.
    Unproven,
    /// It will probably not get through the storm.
    NotReady,
    /// It may not get through the storm.
    Doubtful,
    /// It will get through the storm.
    Ready,
}

/// One thing that must go well, and its chance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitFactor))]
pub struct Factor {
    /// A part of the sheet, or `start`, `shear fasteners`, `breakage of ...`.
    pub factor: String,
    /// The chance that it goes well, unrounded.
    pub chance: f64,
    /// Said for people.
    pub text: String,
    /// The calculation that the chance comes from, to be asked for by itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub figure: Option<Figure>,
}

/// A calculation and its input.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(
    rename_all = "snake_case",
    tag = "calculation",
    content = "input",
    deny_unknown_fields
)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitFigure))]
pub enum Figure {
    /// `POST /v1/calculations/starts`.
    Starts(starts::Input),
    /// `POST /v1/calculations/wear-season`, from the storm's hours on.
    #[serde(rename = "wear-season")]
    WearSeason(wear_season::Input),
    /// `POST /v1/calculations/life`, whose prior already holds the histories of the depot's own parts.
    Life(life::Input),
    /// `POST /v1/calculations/breaks`.
    Breaks(breaks::Input),
}

/// Use under stated limits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitLimited))]
pub struct Limited {
    /// The limit, by whom, until when.
    pub text: String,
    /// Whether the depot lead has admitted it for this storm: only then it counts.
    pub admitted: bool,
}

/// What a unit's standing is computed from: the `unit` calculation's input, and a unit's `inputs`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitStandingInput))]
pub struct Input {
    /// Hold tags and open safety findings.
    #[serde(default)]
    pub held: Vec<String>,
    /// Open findings that keep it from its work.
    #[serde(default)]
    pub stopped: Vec<String>,
    /// Use under stated limits, in force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limited: Option<Limited>,
    /// What has not been shown this season.
    #[serde(default)]
    pub unproven: Vec<String>,
    /// Where it is, if not at its depot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub away: Option<String>,
    /// What must go well.
    pub factors: Vec<Factor>,
    /// Floors of the status.
    #[serde(default)]
    pub floors: Floors,
}

/// Chances under which a unit is not ready, or doubtful.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitFloors))]
pub struct Floors {
    /// Under this it is not ready.
    pub not_ready_under: f64,
    /// Under this it is doubtful.
    pub doubtful_under: f64,
}

impl Default for Floors {
    fn default() -> Self {
        let settings = crate::facts::Settings::default();
        Floors {
            not_ready_under: settings.not_ready_under,
            doubtful_under: settings.doubtful_under,
        }
    }
}

/// Where a unit stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitStandingOutput))]
pub struct Output {
    /// Its status.
    pub status: Status,
    /// The chance that it gets through the storm, to 0.01.
    pub chance: f64,
    /// Its factors, worst first.
    pub because: Vec<Reason>,
}

impl Input {
    /// The chance that it gets through the storm, unrounded: 0 while held or stopped.
    pub fn chance(&self) -> f64 {
        if self.held.is_empty() && self.stopped.is_empty() {
            self.factors.iter().map(|factor| factor.chance).product()
        } else {
            0.0
        }
    }

    /// Its status.
    pub fn status(&self) -> Status {
        let chance = self.chance();
        if !self.held.is_empty() {
            Status::Held
        } else if !self.stopped.is_empty() {
            Status::Stopped
        } else if self.limited.is_some() {
            Status::Limited
        } else if !self.unproven.is_empty() {
            Status::Unproven
        } else if chance < self.floors.not_ready_under {
            Status::NotReady
        } else if chance < self.floors.doubtful_under {
            Status::Doubtful
        } else {
            Status::Ready
        }
    }

    /// Whether its chance counts for its depot; with the unproven if asked.
    pub fn counts(&self, with_unproven: bool) -> bool {
        if self.away.is_some() {
            return false;
        }
        match self.status() {
            Status::Held | Status::Stopped => false,
            Status::Limited => {
                let admitted = self
                    .limited
                    .as_ref()
                    .is_some_and(|limited| limited.admitted);
                admitted && (with_unproven || self.unproven.is_empty())
            }
            Status::Unproven => with_unproven,
            Status::NotReady | Status::Doubtful | Status::Ready => true,
        }
    }

    /// Everything that stands against it, worst first; never empty.
    pub fn because(&self) -> Vec<Reason> {
        let one =
            |factor: &str, chance: f64, text: &str| (factor.to_owned(), chance, text.to_owned());
        let mut said = Vec::new();
        said.extend(self.held.iter().map(|text| one("hold", 0.0, text)));
        said.extend(self.stopped.iter().map(|text| one("stop", 0.0, text)));
        // Chance 1: these do not make the machine weaker, they say why it does not count.
        said.extend(self.away.iter().map(|text| one("away", 1.0, text)));
        said.extend(
            self.limited
                .iter()
                .map(|limited| one("limited use", 1.0, &limited.text)),
        );
        said.extend(self.unproven.iter().map(|text| one("proof", 1.0, text)));
        if said.is_empty()
            && chance_rounded(self.factors.iter().map(|factor| factor.chance).product()) >= 1.0
        {
            said.push(one("all", 1.0, "nothing known stands against it"));
        }
        let listed = |factor: &&Factor| chance_rounded(factor.chance) < 1.0;
        let rest = self.factors.iter().filter(|factor| !listed(factor));
        let together: f64 = rest.clone().map(|factor| factor.chance).product();
        // So that what is read multiplies to the chance.
        let rest = (chance_rounded(together) < 1.0).then(|| {
            let text = format!(
                "{} other things, each as good as certain, together: {}",
                rest.count(),
                odds(together)
            );
            one("the rest", together, &text)
        });
        let factors = self.factors.iter().filter(listed);
        let factors =
            factors.map(|factor| (factor.factor.clone(), factor.chance, factor.text.clone()));
        let factors = factors.chain(rest);
        reasons(said, factors)
    }
}

/// The `unit` calculation.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let lists = [
        ("held", input.held.len()),
        ("stopped", input.stopped.len()),
        ("unproven", input.unproven.len()),
        ("factors", input.factors.len()),
    ];
    for (field, len) in lists {
        if len > LIST_MAX {
            return Err(Invalid::new(
                field,
                format!("has {len} entries; give at most {LIST_MAX}"),
            ));
        }
    }
    let chances = input
        .factors
        .iter()
        .enumerate()
        .map(|(index, factor)| (format!("factors[{index}].chance"), factor.chance));
    let floors = [
        (
            "floors.not_ready_under".to_owned(),
            input.floors.not_ready_under,
        ),
        (
            "floors.doubtful_under".to_owned(),
            input.floors.doubtful_under,
        ),
    ];
    for (field, chance) in chances.chain(floors) {
        if !(0.0..=1.0).contains(&chance) {
            return Err(Invalid::new(
                field,
                format!("{chance} is not a chance; give a number from 0 to 1"),
            ));
        }
    }
    Ok(Output {
        status: input.status(),
        chance: chance_rounded(input.chance()),
        because: input.because(),
    })
}
