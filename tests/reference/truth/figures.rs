//! What machines are drawn from: numbers, read off a sheet where the sheet is right.

use rimeyard_rules::sheet::{Clock, Effect, Sheet};

/// A population of machines of one kind, their parts and their use.
#[derive(Debug, Clone)]
pub struct Population {
    /// Hours of one day of use are Gamma(`use_shape`, theta), theta ~ Gamma(shape x days + 1, days x hours) by machine.
    pub use_shape: f64,
    pub use_days: f64,
    pub use_hours: f64,
    /// The rate of going dead, Gamma by fleet, a day.
    pub dead_alpha: f64,
    pub dead_beta: f64,
    /// The chance of starting at once, Beta by fleet: its mean, and how many starts it is worth.
    pub at_once: f64,
    pub at_once_weight: f64,
    /// How much sooner a machine goes dead whose storage jobs were not done.
    pub badly_stored: f64,
    /// Breaks of shear fasteners an hour, Gamma by fleet.
    pub break_alpha: f64,
    pub break_hours: f64,
    pub parts: Vec<PartFigures>,
}

/// A part that every machine has one of.
#[derive(Debug, Clone)]
pub struct PartFigures {
    pub part: String,
    pub wear: Option<Wear>,
    pub life: Option<Living>,
    /// Whether the machine does not work without it.
    pub stops: bool,
}

/// How a measure moves: from N(`as_new`, `as_new_sd`) by N(`rate`, `rate_sd`) an hour.
#[derive(Debug, Clone)]
pub struct Wear {
    pub check: String,
    pub as_new: f64,
    pub as_new_sd: f64,
    pub rate: f64,
    pub rate_sd: f64,
    /// Standard deviation of one reading, and the step of the tool.
    pub reading_sd: f64,
    pub resolution: f64,
    /// 1 where it grows, -1 where it falls.
    pub way: f64,
    /// From here on the depot means to renew the part.
    pub unserviceable: f64,
    /// What the forecasts are about, and whether the part does no work beyond.
    pub limit: f64,
    pub fails: bool,
}

/// How long a part lives: Weibull, with scale^-shape ~ Gamma(weight, weight x `scale`^shape) by fleet and model.
#[derive(Debug, Clone)]
pub struct Living {
    pub clock: Clock,
    pub shape: f64,
    pub scale: f64,
    pub weight: f64,
}

impl Wear {
    /// Hours in which a usual part goes from new to its limit.
    pub fn usual_hours(&self) -> f64 {
        (self.limit - self.as_new).abs() / self.rate
    }
}

impl Living {
    /// The rate parameter of the Gamma of scale^-shape.
    pub fn beta(&self) -> f64 {
        self.weight * self.scale.powf(self.shape)
    }
}

impl Population {
    /// The population that a sheet describes.
    pub fn of(sheet: &Sheet) -> Self {
        let fasteners = sheet.shear_fasteners.as_ref().expect("shear fasteners");
        Population {
            use_shape: sheet.usage.shape.value,
            use_days: sheet.usage.prior_days.value,
            use_hours: sheet.usage.prior_hours_per_day.value,
            dead_alpha: sheet.start.alpha.value,
            dead_beta: sheet.start.beta.value,
            at_once: sheet.start.at_once.value,
            at_once_weight: sheet.start.at_once_weight.value,
            badly_stored: sheet.start.factors[0].unserviceable.value,
            break_alpha: fasteners.alpha.value,
            break_hours: fasteners.beta_hours.value,
            parts: sheet
                .parts
                .iter()
                .map(|part| part_of(sheet, &part.part))
                .collect(),
        }
    }

    /// Its parts that are measured.
    pub fn wears(&mut self) -> impl Iterator<Item = &mut Wear> {
        self.parts.iter_mut().filter_map(|part| part.wear.as_mut())
    }

    /// Its parts that have a life.
    pub fn lives(&mut self) -> impl Iterator<Item = &mut Living> {
        self.parts.iter_mut().filter_map(|part| part.life.as_mut())
    }
}

fn part_of(sheet: &Sheet, name: &str) -> PartFigures {
    let part = sheet
        .parts
        .iter()
        .find(|part| part.part == name)
        .expect("a part");
    let checks = sheet.checks.iter();
    let mut measured = checks.filter(|check| check.part.as_deref() == Some(name));
    let wear = measured.find_map(|check| {
        let measure = check.measure()?;
        let wear = measure.wear.as_ref()?;
        let (way, side) = match (&measure.limits.low, &measure.limits.high) {
            (Some(low), None) => (-1.0, low),
            (None, Some(high)) => (1.0, high),
            _ => panic!("a part wears one way"),
        };
        let fails_at = side.fails_at.as_ref().map(|figure| figure.value);
        Some(Wear {
            check: check.check.clone(),
            as_new: measure.limits.as_new.value,
            as_new_sd: wear.as_new_sd.value,
            rate: wear.rate.value,
            rate_sd: wear.rate_sd.value,
            reading_sd: measure.repeatability.value,
            resolution: measure.resolution.value,
            way,
            unserviceable: side.unserviceable_at.value,
            limit: fails_at.unwrap_or(side.unserviceable_at.value),
            fails: fails_at.is_some(),
        })
    });
    PartFigures {
        part: part.part.clone(),
        wear,
        life: part.life.as_ref().map(|life| Living {
            clock: life.clock,
            shape: life.shape.value,
            scale: life.prior_scale.value,
            weight: life.prior_weight.value,
        }),
        stops: matches!(part.effect, Effect::Stop | Effect::Hold),
    }
}
