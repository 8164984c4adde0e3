//! Why a depot scores as it does, in sentences: the work first, then the machines that weigh most.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::score_rounded;
use super::works::{Scored, WorkOf};
use crate::because::{number, odds, quantity};
use crate::sheet::Work;
use crate::unit::standing::Status;
use crate::unit::{Shared, UnitState};

/// Machines named one by one, at most; the rest are counted.
const MACHINES_MAX: usize = 12;

/// One reason of a depot's score.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct DepotReason {
    /// Said for people.
    pub text: String,
    /// The kind of work it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub work: Option<Work>,
    /// The machine it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit_id: Option<Uuid>,
    /// That machine's chance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance: Option<f64>,
}

impl DepotReason {
    fn of_work(work: &WorkOf<'_>, text: String) -> Self {
        DepotReason {
            text,
            work: Some(work.work),
            unit_id: None,
            chance: None,
        }
    }

    fn plain(text: String) -> Self {
        DepotReason {
            text,
            work: None,
            unit_id: None,
            chance: None,
        }
    }
}

/// The reasons; never empty.
pub fn because(
    shared: &Shared<'_>,
    works: &[WorkOf<'_>],
    scored: &[Scored],
    units: &[UnitState],
) -> Vec<DepotReason> {
    let mut all = Vec::new();
    if works.is_empty() {
        all.push(DepotReason::plain(
            "no score: no duties are entered, so nothing is asked of its machines".to_owned(),
        ));
    } else if works.iter().all(|work| work.members.is_empty()) {
        all.push(DepotReason::plain(
            "no score: none of its machines is rigged for its duties and fits their ground"
                .to_owned(),
        ));
    }
    let mut order: Vec<usize> = (0..works.len()).collect();
    order.sort_by(|left, right| {
        scored[*left]
            .score
            .at_least
            .total_cmp(&scored[*right].score.at_least)
    });
    for index in order {
        of_work(shared, &works[index], &scored[index], &mut all);
    }
    machines(units, &mut all);
    all
}

/// "clearing", or "clearing, places up to 900 mm wide".
fn name(work: &WorkOf<'_>) -> String {
    let kind = work.work.doing();
    match work.narrowest_width_mm {
        Some(width) => format!(
            "{kind}, places up to {} wide",
            quantity(number(width, 0), "mm")
        ),
        None => kind.to_owned(),
    }
}

/// A rate of its, with its unit.
fn rate(work: &WorkOf<'_>, rate: f64) -> String {
    let unit = work.work.rate_unit();
    quantity(number(unit.rounded(rate), unit.decimals()), unit.symbol()).to_string()
}

fn of_work(shared: &Shared<'_>, work: &WorkOf<'_>, scored: &Scored, all: &mut Vec<DepotReason>) {
    if work.members.is_empty() {
        all.push(DepotReason::of_work(
            work,
            format!(
                "{}: no machine is rigged for it and fits its ground",
                name(work)
            ),
        ));
        return;
    }
    let score = scored.score.at_least;
    let operators = match work.operators {
        Some(1) => "1 operator".to_owned(),
        Some(operators) => format!("{operators} operators"),
        None => "no limit of operators entered".to_owned(),
    };
    all.push(DepotReason::of_work(
        work,
        format!(
            "{}: {} needed for {}; the machines that count bring {} with {operators}, if all run: {} to keep up",
            name(work),
            rate(work, work.needed_rate),
            shared.storm.name,
            rate(work, scored.best_rate),
            odds(score)
        ),
    ));
    let points = |chance: f64| score_rounded(chance) - score_rounded(score);
    let mut what_if = |text: &str, chance: Option<f64>| {
        // A point or two is noise to whoever plans.
        if let Some(gain) = chance.map(points).filter(|gain| *gain >= 3.0) {
            all.push(DepotReason::of_work(
                work,
                format!("{}: {text} adds {} points", name(work), number(gain, 0)),
            ));
        }
    };
    what_if("one more operator", scored.one_operator_more);
    what_if("one more machine", scored.one_machine_more);
    what_if(
        "going to look at the unproven machines",
        (scored.with_unproven > score).then_some(scored.with_unproven),
    );
    let loss = scored.one_machine_fewer.map(points);
    if let Some((loss, index)) = loss.filter(|loss| *loss <= -3.0).zip(scored.brings_most) {
        let unit = &shared.facts.units[index];
        let text = format!(
            "{}: losing {}, the machine that brings most, takes {} points",
            name(work),
            unit.tag,
            number(-loss, 0)
        );
        all.push(DepotReason {
            unit_id: Some(unit.id),
            ..DepotReason::of_work(work, text)
        });
    }
    if scored.score.shortfall >= 0.01 * work.needed_rate
        && work.work.rate_unit().rounded(scored.score.shortfall) > 0.0
    {
        let text = format!(
            "{}: short by {} on average",
            name(work),
            rate(work, scored.score.shortfall)
        );
        all.push(DepotReason::of_work(work, text));
    }
}

/// Machines that do not bring their whole rate, what they take away first.
fn machines(units: &[UnitState], all: &mut Vec<DepotReason>) {
    let mut weak: Vec<(f64, &UnitState)> = units
        .iter()
        .filter(|unit| unit.document.status != Status::Ready || unit.document.away.is_some())
        .map(|unit| {
            let brings = if unit.document.counts {
                unit.document.chance
            } else {
                0.0
            };
            // In quanta: kilograms stand beside square metres.
            let rate = unit.document.rate / unit.document.rate_unit.quantum();
            ((1.0 - brings) * rate, unit)
        })
        .collect();
    weak.sort_by(|left, right| {
        right
            .0
            .total_cmp(&left.0)
            .then_with(|| left.1.document.tag.cmp(&right.1.document.tag))
    });
    let left_out = weak.len().saturating_sub(MACHINES_MAX);
    for (_, unit) in weak.into_iter().take(MACHINES_MAX) {
        let document = &unit.document;
        let said = unit.inputs.away.as_deref().unwrap_or(&document.summary);
        all.push(DepotReason {
            text: format!("{}: {}", document.tag, lower_first(said)),
            work: Some(document.work),
            unit_id: Some(unit.unit_id),
            chance: Some(document.chance),
        });
    }
    if left_out > 0 {
        all.push(DepotReason::plain(format!(
            "{left_out} more machines are not ready, or away"
        )));
    }
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(chars).collect()
    })
}
