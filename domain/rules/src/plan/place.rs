//! What one visit serves: all that is planned for at one place, its kinds of work apart, and the way there once.

use std::collections::BTreeMap;

use super::choice::{CHOICES_MAX, Choice};
use super::work::{TooMuch, Work};
use super::yard::Yard;
use super::{SAME, Ticks};

/// Yards that are at one place.
pub(super) struct Place {
    /// By their place among all yards.
    pub(super) yards: Vec<usize>,
    /// What can be had there, by rising minutes and rising gain, nothing done first.
    pub(super) worth: Vec<Worth>,
}

/// Of each yard of a place one choice.
pub(super) struct Worth {
    /// Minutes, in thousandths, with the way once.
    pub(super) ticks: Ticks,
    /// What they bring together.
    pub(super) gain: f64,
    /// Which choice of each yard.
    pub(super) picks: Vec<u32>,
}

/// The yards by place, in the order of their first ones; a yard of no place is one by itself.
pub(super) fn places(
    yards: &[Yard],
    choices: &[Vec<Choice>],
    at_hand: Ticks,
    work: &mut Work,
) -> Result<Vec<Place>, TooMuch> {
    let mut places: Vec<Place> = Vec::with_capacity(yards.len());
    let mut known: BTreeMap<&str, usize> = BTreeMap::new();
    for (index, (yard, own)) in yards.iter().zip(choices).enumerate() {
        let at = match yard.place {
            Some(place) => *known.entry(place).or_insert(places.len()),
            None => places.len(),
        };
        match places.get_mut(at) {
            Some(place) => {
                work.spend((place.worth.len() * own.len()) as u64)?;
                place.worth = together(&place.worth, own, yard.travel, at_hand);
                place.yards.push(index);
            }
            None => places.push(Place {
                yards: vec![index],
                worth: (own.iter().zip(0..))
                    .map(|(choice, pick)| Worth {
                        ticks: choice.ticks,
                        gain: choice.gain,
                        picks: vec![pick],
                    })
                    .collect(),
            }),
        }
    }
    Ok(places)
}

/// The best of all pairs for each step of minutes; there are as many steps as a yard has choices at most.
fn together(before: &[Worth], own: &[Choice], way: Ticks, at_hand: Ticks) -> Vec<Worth> {
    let longest = before.last().map_or(0, |one| one.ticks);
    let longest = longest.saturating_add(own.last().map_or(0, |other| other.ticks));
    let longest = longest.min(at_hand);
    let width = longest / CHOICES_MAX + 1;
    let mut best: Vec<Option<(Ticks, f64, usize, usize)>> =
        vec![None; (longest / width) as usize + 1];
    for (place, one) in before.iter().enumerate() {
        for (pick, other) in own.iter().enumerate() {
            // Whoever is there already does not come again. What takes no time is at no distance.
            let saved = if one.ticks > 0 && other.ticks > 0 {
                way
            } else {
                0
            };
            let ticks = one.ticks.saturating_add(other.ticks) - saved;
            if ticks > at_hand {
                break;
            }
            let gain = one.gain + other.gain;
            let step = &mut best[(ticks / width) as usize];
            let better = |known: (Ticks, f64, usize, usize)| {
                gain > known.1 + SAME || (gain >= known.1 - SAME && ticks < known.0)
            };
            if step.is_none_or(better) {
                *step = Some((ticks, gain, place, pick));
            }
        }
    }
    // Nothing is a choice of its own, however much there is in its step.
    let nothing = (0, before[0].gain + own[0].gain, 0, 0);
    let mut worth: Vec<Worth> = Vec::new();
    for (ticks, gain, place, pick) in std::iter::once(nothing).chain(best.into_iter().flatten()) {
        if worth.last().is_none_or(|last| gain > last.gain + SAME) {
            let mut picks = before[place].picks.clone();
            picks.push(pick as u32);
            worth.push(Worth { ticks, gain, picks });
        }
    }
    worth
}
