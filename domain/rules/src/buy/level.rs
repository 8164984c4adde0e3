//! The level of each part at one depot, or at several together.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::together::{Sum, Together};
use super::{Catalogue, Service};
use crate::season::Winter;
use crate::spares::{WinterDemand, stock};

/// How many of a part are to be there, and why.
#[derive(Default)]
pub(super) struct Level {
    /// What they may need of it.
    pub sum: Sum,
    /// Whether a unit stands without it, or without a kit that it is in.
    pub stops: bool,
    /// The chance with which it is enough.
    pub service_level: f64,
    /// Enough with that chance for what wears out and breaks.
    pub by_chance: i64,
    /// Mean of that demand.
    pub chance_mean: f64,
    /// The winter that asks for most of it, and its mean.
    pub chance_worst: Option<(Winter, f64)>,
    /// What goes into kits: those that tasks take, and those that are enough for what takes a kit when it wears out.
    pub in_kits: i64,
    /// Mean demand, what is certain among it.
    pub mean: f64,
    /// The winter that asks for most, and its mean.
    pub worst: Option<(Winter, f64)>,
}

impl Level {
    /// For certain.
    pub fn certain(&self) -> i64 {
        self.sum.orders.saturating_add(self.in_kits)
    }

    /// How many are to be there.
    pub fn stock(&self) -> i64 {
        self.certain().saturating_add(self.by_chance)
    }
}

/// What kits bring to the demand for one of their contents.
#[derive(Default)]
struct InKits {
    quantity: i64,
    by_winter: Vec<f64>,
    stops: bool,
}

/// The level of every part that may be needed; kits are kept as their contents.
pub(super) fn levels(
    together: &Together<'_>,
    catalogue: &Catalogue,
    service: Service,
) -> BTreeMap<Uuid, Level> {
    let contents = |id: &Uuid| {
        catalogue
            .parts
            .get(id)
            .map_or(&[][..], |part| part.kit.as_slice())
    };
    let (kits, parts): (Vec<Uuid>, Vec<Uuid>) = together
        .parts()
        .into_iter()
        .partition(|id| !contents(id).is_empty());
    let mut in_kits: BTreeMap<Uuid, InKits> = BTreeMap::new();
    for id in kits {
        let sum = together.sum(id);
        let by_chance = stock(&sum.by_winter, service.of(sum.stops)).stock;
        let whole = sum.kits.saturating_add(by_chance as i64);
        for (content, each) in contents(&id) {
            let known = in_kits.entry(*content).or_default();
            known.quantity = known.quantity.saturating_add(each.saturating_mul(whole));
            known.stops |= sum.stops;
            known.by_winter.resize(sum.by_winter.len(), 0.0);
            for (mean, winter) in known.by_winter.iter_mut().zip(&sum.by_winter) {
                *mean += *each as f64 * (sum.kits as f64 + winter.mean());
            }
        }
    }
    let mut ids: Vec<Uuid> = parts.into_iter().chain(in_kits.keys().copied()).collect();
    ids.sort_unstable();
    ids.dedup();
    let level = |id: Uuid| {
        let sum = together.sum(id);
        let in_kits = in_kits.remove(&id).unwrap_or_default();
        let stops = sum.stops || in_kits.stops;
        let service_level = service.of(stops);
        let kits_of = in_kits.by_winter.into_iter().chain(std::iter::repeat(0.0));
        let means = sum.by_winter.iter().zip(kits_of);
        let means: Vec<f64> = means
            .map(|(winter, kits)| winter.mean() + kits + sum.orders as f64)
            .collect();
        let worst = |means: &[f64]| {
            let winters = together.winters.iter().copied().zip(means.iter().copied());
            winters.max_by(|(_, one), (_, other)| one.total_cmp(other))
        };
        let average = |means: &[f64]| means.iter().sum::<f64>() / means.len() as f64;
        let by_chance: Vec<f64> = sum.by_winter.iter().map(WinterDemand::mean).collect();
        let level = Level {
            stops,
            service_level,
            by_chance: stock(&sum.by_winter, service_level).stock as i64,
            chance_mean: average(&by_chance),
            chance_worst: worst(&by_chance),
            in_kits: in_kits.quantity,
            mean: average(&means),
            worst: worst(&means),
            sum,
        };
        (id, level)
    };
    ids.into_iter().map(level).collect()
}
