//! Where the parts of jobs are. What one job takes is not there for the next.

use std::collections::BTreeMap;

use jiff::civil::Date;
use uuid::Uuid;

use super::job::Job;
use super::shown::{PartAt, PartToFit};
use super::{DepotWork, Supply, in_days};
use crate::stock::best_before;

/// The shelves, less what is taken.
pub(super) struct Shelves<'a> {
    supply: &'a Supply,
    /// By part, then by depot.
    left: BTreeMap<Uuid, BTreeMap<Uuid, i64>>,
}

/// The parts of a job, and the way for them.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Fitted {
    pub(super) parts: Vec<PartToFit>,
    /// The day on which the last is there; `None` where nobody knows.
    pub(super) on: Option<Date>,
    pub(super) fetch_minutes: f64,
    /// Whether no delivery that comes too late bars it.
    pub(super) in_time: bool,
}

impl<'a> Shelves<'a> {
    /// What of the lots may still be fitted on that day.
    pub(super) fn new(supply: &'a Supply, today: Date) -> Self {
        let mut left: BTreeMap<Uuid, BTreeMap<Uuid, i64>> = BTreeMap::new();
        for lot in &supply.lots {
            let part = supply.catalogue.parts.get(&lot.part_id);
            let keeps = part.and_then(|part| part.shelf_life_days);
            let last = lot.made_on.and_then(|made_on| best_before(made_on, keeps));
            if last.is_none_or(|last| last >= today) {
                let depots = left.entry(lot.part_id).or_default();
                *depots.entry(lot.depot_id).or_default() += lot.quantity;
            }
        }
        Shelves { supply, left }
    }

    /// Takes what a job needs: here first, then at the depots nearest to people, all of it or none. What would come too late with
    /// some other part stays where it is.
    pub(super) fn take(&mut self, depot: &DepotWork, unit: Uuid, job: &Job) -> Fitted {
        let mut parts = Vec::new();
        let mut taken: Vec<(Uuid, Uuid, i64)> = Vec::new();
        for (need, quantity) in self.needs(job) {
            let part = match need {
                Need::Word(name) => PartToFit {
                    part_id: None,
                    number: None,
                    name,
                    quantity,
                    at: PartAt::Unknown,
                    from_depot_ids: Vec::new(),
                    there_on: None,
                },
                Need::Listed(id) => {
                    let wants = depot.wanted.contains_key(&(unit, id));
                    let settled = job.draft.needed.contains(&id) && !wants;
                    self.listed(depot, id, quantity, settled, &mut taken)
                }
            };
            parts.push(part);
        }
        let known = parts.iter().filter(|part| part.at != PartAt::Unknown);
        let latest = known.filter_map(|part| part.there_on).max();
        // What is here today is in time: `until` is tomorrow or later.
        let in_time = latest.is_none_or(|on| on < depot.until);
        let unknown = parts.iter().any(|part| part.there_on.is_none());
        if in_time {
            for (part, place, quantity) in &taken {
                if let Some(left) = self.left.get_mut(part).and_then(|left| left.get_mut(place)) {
                    *left -= quantity;
                }
            }
        }
        let mut ways: Vec<Uuid> = taken.iter().map(|(_, place, _)| *place).collect();
        ways.sort_unstable();
        ways.dedup();
        let ways = ways
            .iter()
            .filter(|place| **place != depot.depot_id && in_time);
        Fitted {
            on: if unknown {
                None
            } else {
                Some(latest.unwrap_or(depot.today))
            },
            // From 0.0: the sum of nothing would be -0.0.
            fetch_minutes: ways.fold(0.0, |sum, place| sum + self.minutes_to(*place)),
            in_time,
            parts,
        }
    }

    fn listed(
        &self,
        depot: &DepotWork,
        id: Uuid,
        quantity: i64,
        settled: bool,
        taken: &mut Vec<(Uuid, Uuid, i64)>,
    ) -> PartToFit {
        let part = self.supply.catalogue.parts.get(&id);
        let told = |at, from_depot_ids, there_on| PartToFit {
            part_id: Some(id),
            number: part.map(|part| part.number.clone()),
            name: part.map_or_else(String::new, |part| part.name.clone()),
            quantity,
            at,
            from_depot_ids,
            there_on,
        };
        if settled {
            return told(PartAt::WithTheOrder, Vec::new(), Some(depot.today));
        }
        let mut places: Vec<(Uuid, i64)> = (self.left.get(&id).into_iter().flatten())
            .filter(|(_, left)| **left > 0)
            .map(|(place, left)| (*place, *left))
            .collect();
        places.sort_by(|(one, _), (other, _)| {
            let far = |place: Uuid| (place != depot.depot_id, self.minutes_to(place));
            let ((one_there, one_far), (other_there, other_far)) = (far(*one), far(*other));
            one_there
                .cmp(&other_there)
                .then(one_far.total_cmp(&other_far))
        });
        let (mut missing, mut own) = (quantity, Vec::new());
        for (place, left) in places {
            let some = left.min(missing);
            if some > 0 {
                own.push((id, place, some));
                missing -= some;
            }
        }
        if missing > 0 {
            let days = part.map_or(0, |part| part.lead_time_days);
            let there_on = in_days(depot.today, days);
            return told(PartAt::Supplier, Vec::new(), Some(there_on));
        }
        let others = own.iter().map(|(_, place, _)| *place);
        let others: Vec<Uuid> = others.filter(|place| *place != depot.depot_id).collect();
        taken.extend(own);
        let at = if others.is_empty() {
            PartAt::Here
        } else {
            PartAt::AnotherDepot
        };
        told(at, others, Some(depot.today))
    }

    fn minutes_to(&self, place: Uuid) -> f64 {
        let place = self.supply.places.get(&place);
        place.map_or(0.0, |place| place.travel_minutes)
    }

    /// What a job takes, a kit as its contents.
    fn needs(&self, job: &Job) -> BTreeMap<Need, i64> {
        let catalogue = &self.supply.catalogue;
        let mut needs = BTreeMap::new();
        for word in &job.draft.takes {
            let Some(id) = catalogue.words.get(word) else {
                *needs.entry(Need::Word(word.clone())).or_default() += 1;
                continue;
            };
            let kit = catalogue.parts.get(id).map_or(&[][..], |part| &part.kit);
            let one = [(*id, 1)];
            for (id, each) in if kit.is_empty() { &one[..] } else { kit } {
                let sum: &mut i64 = needs.entry(Need::Listed(*id)).or_default();
                *sum = sum.saturating_add(*each);
            }
        }
        needs
    }
}

#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Need {
    Listed(Uuid),
    Word(String),
}
