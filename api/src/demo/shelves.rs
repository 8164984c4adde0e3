//! The parts list, and what each depot has booked of it: deliveries every autumn, a count this year, a few moved and
//! lost. What was used for work is booked with its order.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::sheet::Sheet;
use rimeyard_rules::stock::Move;
use rimeyard_store::part::{KitContent, NewPart, Price};
use rimeyard_store::stock::{Lot, NewStockMove};
use uuid::Uuid;

use super::calendar::Calendar;
use super::catalogue::{KIT_OF, KITS, LIST, Listed};
use super::draw::Draw;

/// From so many for ten machines on a part is a fast one, delivered every autumn.
const FAST: f64 = 2.0;

/// Of the parts that go central: the depot, by its number, that keeps one of each for all.
const CENTRAL: usize = 1;

/// The depot, by its number, that has run out of this part.
pub const RUN_OUT: (usize, &str) = (8, "friction ring");

/// The whole list, kits last.
pub fn parts(draw: &mut Draw, founded: Timestamp) -> Vec<NewPart> {
    let price = |cents: i64| Price {
        amount_minor: cents,
        currency: "USD".to_owned(),
    };
    let listed = LIST.iter().zip(1_001..).map(|(part, number)| NewPart {
        id: Some(draw.id(founded)),
        number: format!("P-{number}"),
        name: part.name.to_owned(),
        title: None,
        unit: part.unit.to_owned(),
        pack_size: part.pack_size,
        lead_time_days: part.lead_time_days,
        price: Some(price(part.cents)),
        shelf_life_days: part.shelf_life_days,
        kit: None,
    });
    let mut list: Vec<NewPart> = listed.collect();
    for (number, name, title, contents) in KITS {
        let contents = contents.iter().map(|(name, quantity)| KitContent {
            part_id: id_of(&list, name),
            quantity: *quantity,
        });
        let contents = contents.collect();
        list.push(NewPart {
            id: Some(draw.id(founded)),
            number: number.to_owned(),
            name: name.to_owned(),
            title: Some(title.to_owned()),
            unit: "each".to_owned(),
            pack_size: 1,
            lead_time_days: 14,
            price: None,
            shelf_life_days: None,
            kit: Some(contents),
        });
    }
    list
}

/// The id of the part of that name.
pub fn id_of(list: &[NewPart], name: &str) -> Uuid {
    let part = list.iter().find(|part| part.name == name);
    part.and_then(|part| part.id)
        .expect("a constant of the demo")
}

/// The lot that was delivered in the autumn of that winter.
pub fn lot(winter: i16) -> Lot {
    Lot {
        code: format!("L{winter}"),
        made_on: Some(Date::constant(winter, 3, 12)),
    }
}

/// What a depot's shelf is made from.
pub struct Shelves<'a> {
    /// The depot's number.
    pub number: usize,
    /// Its calendar.
    pub calendar: &'a Calendar,
    /// The parts list.
    pub list: &'a [NewPart],
    /// How many machines it has of each sheet.
    pub machines: Vec<(&'a Sheet, usize)>,
    /// First winter written down.
    pub first: i16,
}

impl Shelves<'_> {
    /// Everything booked but what work used, in order.
    pub fn moves(&self, draw: &mut Draw) -> Vec<NewStockMove> {
        let current = self.calendar.winter();
        let (from, to) = self.calendar.pre_season(current);
        let quarter = SignedDuration::from_secs(to.duration_since(from).as_secs() / 4);
        let mut moves = Vec::new();
        let taken = self.taken();
        for part in &LIST {
            let machines = taken.get(part.name).copied().unwrap_or(0);
            let keep = self.keep(part, machines);
            if machines == 0 || keep == 0 {
                continue;
            }
            let out = (self.number, part.name) == RUN_OUT;
            let ages = part.shelf_life_days.is_some();
            for winter in self.first..=current {
                let delivered = ages
                    || part.for_ten >= FAST
                    || winter == self.first
                    || (winter == current && draw.chance(0.4));
                if !delivered || (out && winter == current) {
                    continue;
                }
                let at = if winter == current {
                    self.calendar.at_work(draw, from, from + quarter)
                } else {
                    let september = |day| self.calendar.at(Date::constant(winter, 9, day), 8.0);
                    self.calendar.at_work(draw, september(1), september(24))
                };
                let lot = ages.then(|| lot(winter));
                moves.push(self.moved(draw, Move::Received, part, packs(part, keep), lot, at));
            }
            let at = self
                .calendar
                .at_work(draw, from + quarter * 2, from + quarter * 3);
            let lots: Vec<Option<Lot>> = if ages {
                (self.first..=current)
                    .map(|winter| Some(lot(winter)))
                    .collect()
            } else {
                vec![None]
            };
            let last = lots.len() - 1;
            for (place, lot) in lots.into_iter().enumerate() {
                let left = if out || place + 1 < last {
                    0
                } else if place == last {
                    (keep as f64 * draw.between(0.8, 1.4)).round() as i64
                } else {
                    (keep as f64 * draw.between(0.0, 0.3)).round() as i64
                };
                moves.push(self.moved(draw, Move::Counted, part, left, lot, at));
            }
        }
        self.kits(draw, from + quarter * 3, &mut moves);
        self.lost(draw, from + quarter * 3, &mut moves);
        moves.sort_by_key(|one| one.happened_at);
        moves
    }

    /// How many machines here take each part by their sheets.
    fn taken(&self) -> BTreeMap<&str, usize> {
        let mut taken = BTreeMap::new();
        for (sheet, count) in &self.machines {
            let parts = sheet.parts.iter().filter_map(|part| part.job.as_ref());
            let checks = sheet.checks.iter().filter_map(|check| check.job.as_ref());
            let jobs = parts.chain(checks).flat_map(|job| &job.parts);
            let tasks = sheet.tasks.iter().flat_map(|task| &task.parts);
            let mut names: Vec<&str> = jobs.chain(tasks).map(String::as_str).collect();
            names.sort_unstable();
            names.dedup();
            for name in names {
                *taken.entry(name).or_default() += count;
            }
        }
        taken
    }

    fn keep(&self, part: &Listed, machines: usize) -> i64 {
        if part.for_ten == 0.0 {
            return i64::from(self.number == CENTRAL);
        }
        (part.for_ten * machines as f64 / 10.0).ceil() as i64
    }

    /// Kits for a tenth of the machines they are for.
    fn kits(&self, draw: &mut Draw, at: Timestamp, moves: &mut Vec<NewStockMove>) {
        for (kind, kit) in KIT_OF {
            let of_kind = self.machines.iter().filter(|(sheet, _)| sheet.kind == kind);
            let machines: usize = of_kind.map(|(_, count)| count).sum();
            if machines > 0 {
                moves.push(NewStockMove {
                    id: Some(draw.id(at)),
                    kind: Move::Received,
                    part_id: id_of(self.list, kit),
                    quantity: machines.div_ceil(10) as i64,
                    lot: None,
                    to_depot_id: None,
                    work_order_id: None,
                    reason: None,
                    happened_at: at,
                    corrects: None,
                });
            }
        }
    }

    fn lost(&self, draw: &mut Draw, at: Timestamp, moves: &mut Vec<NewStockMove>) {
        let (name, why) = *draw.pick(&[
            ("engine oil", "can knocked over"),
            ("starter rope", "eaten by mice"),
            ("spark plug", "dropped, porcelain cracked"),
            ("bolts", "rusted in their box"),
        ]);
        let part = LIST.iter().find(|part| part.name == name);
        let part = part.expect("a constant of the demo");
        let lot = part.shelf_life_days.map(|_| lot(self.calendar.winter()));
        let mut one = self.moved(draw, Move::Lost, part, 1, lot, at);
        one.reason = Some(why.to_owned());
        moves.push(one);
    }

    fn moved(
        &self,
        draw: &mut Draw,
        kind: Move,
        part: &Listed,
        quantity: i64,
        lot: Option<Lot>,
        at: Timestamp,
    ) -> NewStockMove {
        NewStockMove {
            id: Some(draw.id(at)),
            kind,
            part_id: id_of(self.list, part.name),
            quantity,
            lot,
            to_depot_id: None,
            work_order_id: None,
            reason: None,
            happened_at: at,
            corrects: None,
        }
    }
}

/// At least so many, in whole packs.
fn packs(part: &Listed, at_least: i64) -> i64 {
    let pack = i64::from(part.pack_size);
    (at_least + pack - 1) / pack * pack
}

/// A belt that went from one depot to another in the last days.
pub fn transfer(draw: &mut Draw, list: &[NewPart], to: Uuid, calendar: &Calendar) -> NewStockMove {
    let at = calendar.at_work(
        draw,
        calendar.now - SignedDuration::from_hours(60),
        calendar.now,
    );
    NewStockMove {
        id: Some(draw.id(at)),
        kind: Move::Moved,
        part_id: id_of(list, "auger belt"),
        quantity: 1,
        lot: Some(lot(calendar.winter())),
        to_depot_id: Some(to),
        work_order_id: None,
        reason: Some("lent until the next delivery".to_owned()),
        happened_at: at,
        corrects: None,
    }
}
