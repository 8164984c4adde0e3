//! Where the parts of jobs are: on the depot's shelf, on another's, or at a supplier.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Serialize;
use uuid::Uuid;

use crate::buy::Catalogue;
use crate::season::{date_of, day_number};

/// From one depot's shelf to another depot, days (district default).
const BETWEEN_DEPOTS_DAYS: i32 = 2;

/// The shelves of all depots that may be seen, and the list of parts.
#[derive(Debug, Clone, Default)]
pub struct Shelves {
    /// The parts that sheets name.
    pub catalogue: Catalogue,
    /// How many of a part there are, depot by depot.
    pub on_hand: BTreeMap<Uuid, BTreeMap<Uuid, i64>>,
}

/// A part that a job takes, and when it can be there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FixJobPart))]
pub struct JobPart {
    /// What the sheet calls it.
    pub name: String,
    /// The part of the list; none where the list does not have it.
    pub part_id: Option<Uuid>,
    /// Its number.
    pub number: Option<String>,
    /// How many the job takes.
    pub quantity: i64,
    /// The depot whose shelf has it: this one, or another that you may see; none where it is to be ordered.
    pub at_depot: Option<Uuid>,
    /// The day on which it can be there; none where nobody knows.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub on: Option<Date>,
}

impl Shelves {
    /// The same as far as these words go.
    pub(super) fn clone_for(&self, words: &[String]) -> Shelves {
        let mut few = Shelves::default();
        for word in words {
            let Some(part) = self
                .catalogue
                .words
                .get(word)
                .and_then(|id| self.catalogue.parts.get(id))
            else {
                continue;
            };
            few.catalogue.words.insert(word.clone(), part.id);
            let contents = part.kit.iter().map(|(id, _)| *id);
            for id in contents.chain([part.id]) {
                few.catalogue
                    .parts
                    .extend(self.catalogue.parts.get(&id).map(|part| (id, part.clone())));
                few.on_hand
                    .extend(self.on_hand.get(&id).map(|shelves| (id, shelves.clone())));
            }
        }
        few
    }

    /// What a job at `depot` takes of these, in the sheet's words; taken off the shelves, so that the next job finds less.
    pub(super) fn take(&mut self, depot: Uuid, words: &[String], today: Date) -> Vec<JobPart> {
        let mut parts = Vec::new();
        for word in words {
            let listed =
                (self.catalogue.words.get(word)).and_then(|id| self.catalogue.parts.get(id));
            let Some(listed) = listed else {
                parts.push(JobPart {
                    name: word.clone(),
                    part_id: None,
                    number: None,
                    quantity: 1,
                    at_depot: None,
                    on: None,
                });
                continue;
            };
            // A kit is kept as its contents.
            let contents = if listed.kit.is_empty() {
                vec![(listed.id, 1)]
            } else {
                listed.kit.clone()
            };
            let taken = contents
                .into_iter()
                .map(|(id, quantity)| self.take_one(depot, id, quantity, today));
            parts.extend(taken);
        }
        parts
    }

    fn take_one(&mut self, depot: Uuid, id: Uuid, quantity: i64, today: Date) -> JobPart {
        let part = self.catalogue.parts.get(&id);
        let in_days = |days: i32| Some(date_of(day_number(today).saturating_add(days)));
        let shelves = self.on_hand.entry(id).or_default();
        let has = |shelves: &BTreeMap<Uuid, i64>, at: &Uuid| {
            shelves.get(at).is_some_and(|have| *have >= quantity)
        };
        let most = |shelves: &BTreeMap<Uuid, i64>| {
            let others = shelves
                .iter()
                .filter(|(at, have)| **at != depot && **have >= quantity);
            others
                .max_by_key(|(at, have)| (**have, std::cmp::Reverse(**at)))
                .map(|(at, _)| *at)
        };
        let at_depot = if has(shelves, &depot) {
            Some(depot)
        } else {
            most(shelves)
        };
        if let Some(have) = at_depot.and_then(|at| shelves.get_mut(&at)) {
            *have -= quantity;
        }
        JobPart {
            name: part.map_or_else(String::new, |part| part.name.clone()),
            part_id: Some(id),
            number: part.map(|part| part.number.clone()),
            quantity,
            at_depot,
            on: match at_depot {
                Some(at) if at == depot => Some(today),
                Some(_) => in_days(BETWEEN_DEPOTS_DAYS),
                None => part.and_then(|part| in_days(part.lead_time_days)),
            },
        }
    }
}
