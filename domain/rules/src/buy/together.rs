//! Several depots in common winters.

use uuid::Uuid;

use super::demand::{DepotDemand, PartDemand};
use crate::season::Winter;
use crate::spares::{Breaks, WinterDemand};

/// The winters that depots are taken through together: every one that any of them has on record. A depot without that
/// winter goes through those it has, in turn, and one without any through its typical days.
pub(super) struct Together<'a> {
    depots: Vec<&'a DepotDemand>,
    /// Which; none where all days are typical.
    pub winters: Vec<Winter>,
    /// Of each winter the scenario of each depot.
    scenarios: Vec<Vec<usize>>,
}

/// What all of them may need of one part.
#[derive(Default)]
pub(super) struct Sum {
    pub stops: bool,
    pub fitted: u32,
    pub never_measured: u32,
    pub breaking: u32,
    pub orders: i64,
    pub kits: i64,
    /// By chance, in each winter.
    pub by_winter: Vec<WinterDemand>,
}

impl<'a> Together<'a> {
    pub fn new(depots: Vec<&'a DepotDemand>) -> Self {
        let winters = depots
            .iter()
            .flat_map(|depot| depot.winters.iter().copied());
        let mut winters: Vec<Winter> = winters.collect();
        winters.sort_unstable();
        winters.dedup();
        let scenario = |depot: &DepotDemand, place: usize| {
            let winter = winters.get(place);
            let own = depot.winters.iter().position(|own| Some(own) == winter);
            own.unwrap_or(place % depot.scenarios())
        };
        let scenarios = (0..winters.len().max(1))
            .map(|place| depots.iter().map(|depot| scenario(depot, place)).collect());
        Together {
            scenarios: scenarios.collect(),
            depots,
            winters,
        }
    }

    /// The depots.
    pub fn depots(&self) -> impl Iterator<Item = &'a DepotDemand> {
        self.depots.iter().copied()
    }

    /// The parts that any of them may need.
    pub fn parts(&self) -> Vec<Uuid> {
        let mut ids: Vec<Uuid> = self
            .depots()
            .flat_map(|depot| depot.parts.keys().copied())
            .collect();
        ids.sort_unstable();
        ids.dedup();
        ids
    }

    /// What they may need of a part.
    pub fn sum(&self, id: Uuid) -> Sum {
        let of = |depot: &&'a DepotDemand| depot.parts.get(&id);
        let own: Vec<Option<&PartDemand>> = self.depots.iter().map(of).collect();
        let mut sum = Sum::default();
        for one in own.iter().flatten() {
            sum.stops |= one.stops;
            sum.fitted += one.fitted;
            sum.never_measured += one.never_measured;
            sum.breaking += one
                .breaking
                .values()
                .map(|breaking| breaking.machines)
                .sum::<u32>();
            sum.orders = sum.orders.saturating_add(one.orders);
            sum.kits = sum.kits.saturating_add(one.kits);
        }
        let winters = self
            .scenarios
            .iter()
            .map(|scenarios| winter(&own, scenarios));
        sum.by_winter = winters.collect();
        sum
    }
}

/// One winter of all of them: machines of one model share its break rate, wherever they stand.
fn winter(own: &[Option<&PartDemand>], scenarios: &[usize]) -> WinterDemand {
    let parts = || {
        own.iter()
            .zip(scenarios)
            .filter_map(|(part, scenario)| Some(((*part)?, *scenario)))
    };
    let worn = parts().filter_map(|(part, scenario)| part.wear_out.get(scenario));
    let mut models: Vec<(Uuid, Breaks)> = Vec::new();
    for (part, scenario) in parts() {
        for (model, breaking) in &part.breaking {
            let hours = breaking.hours[scenario];
            match models.iter_mut().find(|(known, _)| known == model) {
                Some((_, breaks)) => breaks.hours += hours,
                None => models.push((
                    *model,
                    Breaks {
                        rate: breaking.rate,
                        hours,
                    },
                )),
            }
        }
    }
    WinterDemand {
        wear_out: worn.flatten().copied().collect(),
        breaks: Breaks::together(models.into_iter().map(|(_, breaks)| breaks)),
    }
}
