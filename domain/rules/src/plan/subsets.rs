//! Every subset of some of a depot's tasks.
//!
//! The depot's chance is linear in the chance of each of its machines. So it is worked out once for each set of machines with
//! such tasks that work while the others of them do not, all other machines left to chance; each subset of tasks is then a mean
//! of those, taken machine by machine and shared by all subsets that begin alike.

use super::Ticks;
use super::choice::{Best, Window};
use super::work::{TooMuch, Work};
use super::yard::Yard;
use crate::score::{Lattice, met};

/// Steps that one subset takes.
const STEPS_A_SUBSET: u64 = 8;

/// About how many steps a window with so many open tasks takes, at most.
pub(super) fn steps(yard: &Yard, open: usize) -> u64 {
    let states = yard.lattice.states() as u64;
    let all = yard.machines.len() as u64;
    let laws = if yard.lattice.any_order() {
        0
    } else {
        // Machines of one rate count by how many work. The most laws there can be: from all rates alike.
        let mut left = open;
        let mut open_of_kind = vec![0_u64; yard.kinds.len()];
        while left > 0 {
            let room = open_of_kind.iter_mut().zip(&yard.kinds);
            let mut with_room = room
                .filter(|(open, machines)| **open < **machines as u64)
                .peekable();
            if with_room.peek().is_none() {
                break;
            }
            for (open, _) in with_room.take(left) {
                *open += 1;
                left -= 1;
            }
        }
        let laws: u64 = open_of_kind.iter().map(|open| open + 1).product();
        let between = all / (open as u64).max(1);
        laws.saturating_mul(2 + between)
    };
    (all + laws)
        .saturating_mul(states)
        .saturating_add((STEPS_A_SUBSET + yard.longest as u64) << open)
}

/// Offers each subset of the window's open tasks, with what is done in any case, that fits.
pub(super) fn offer(
    yard: &Yard,
    window: Window,
    best: &mut Best,
    work: &mut Work,
) -> Result<(), TooMuch> {
    best.open(window.clone());
    each(
        yard,
        &window,
        best.most,
        work,
        &mut |ticks, chance, bits| {
            best.offer(yard, ticks, chance, bits);
        },
    )
}

/// Visits each subset of the window's open tasks that takes at most `most` with what is done in any case: its minutes, travel
/// not counted, the depot's chance, and its bits.
pub(super) fn each(
    yard: &Yard,
    window: &Window,
    most: Ticks,
    work: &mut Work,
    visit: &mut impl FnMut(Ticks, f64, u32),
) -> Result<(), TooMuch> {
    work.spend(steps(yard, window.open.len()))?;
    let is_fixed = |task: &usize| window.done[*task] && !window.open.contains(task);
    let fixed = (0..yard.tasks.len()).filter(is_fixed);
    let ticks: Ticks = fixed.map(|task| yard.tasks[task].ticks).sum();
    if ticks > most {
        return Ok(());
    }
    // The open tasks are in the order of their machines.
    let parts: Vec<Vec<Part>> = window
        .open
        .chunk_by(|one, other| yard.tasks[*one].machine == yard.tasks[*other].machine)
        .scan(0, |bit, own| {
            let parts = parts(yard, window, own, *bit);
            *bit += own.len();
            Some(parts)
        })
        .collect();
    let chances = chances(yard, window);
    let mut room = vec![0.0; chances.len()];
    descend(&parts, &chances, &mut room, ticks, 0, most, visit);
    Ok(())
}

/// What one machine's open tasks can be made of: one subset of them.
struct Part {
    works: f64,
    ticks: Ticks,
    bits: u32,
}

fn parts(yard: &Yard, window: &Window, own: &[usize], bit: usize) -> Vec<Part> {
    let machine = &yard.machines[yard.tasks[own[0]].machine];
    (0_u32..1 << own.len())
        .map(|bits| {
            let has = |task: usize| match own.iter().position(|open| *open == task) {
                Some(place) => bits >> place & 1 == 1,
                None => window.done[task],
            };
            let ticks = own
                .iter()
                .filter(|task| has(**task))
                .map(|task| yard.tasks[*task].ticks);
            Part {
                works: yard.works(machine, has),
                ticks: ticks.sum(),
                bits: bits << bit,
            }
        })
        .collect()
}

/// Goes through the subsets of the tasks of the machines that are left, given the chances by which of those work.
fn descend(
    parts: &[Vec<Part>],
    chances: &[f64],
    room: &mut [f64],
    ticks: Ticks,
    bits: u32,
    most: Ticks,
    visit: &mut impl FnMut(Ticks, f64, u32),
) {
    let Some((last, parts)) = parts.split_last() else {
        visit(ticks, chances[0], bits);
        return;
    };
    let (does_not, does) = chances.split_at(chances.len() / 2);
    let (means, room) = room.split_at_mut(does.len());
    for part in last {
        let ticks = ticks + part.ticks;
        if ticks > most {
            continue;
        }
        for (mean, (does_not, does)) in means.iter_mut().zip(does_not.iter().zip(does)) {
            *mean = does_not + part.works * (does - does_not);
        }
        descend(parts, means, room, ticks, bits | part.bits, most, visit);
    }
}

/// The depot's chance for each set of machines with open tasks that work, bit by bit in their order.
fn chances(yard: &Yard, window: &Window) -> Vec<f64> {
    let mut open = vec![false; yard.machines.len()];
    for task in &window.open {
        open[yard.tasks[*task].machine] = true;
    }
    let closed = |place: usize| {
        let machine = &yard.machines[place];
        (machine.kind, yard.works(machine, |task| window.done[task]))
    };
    let all = 0..yard.machines.len();
    let lattice = &yard.lattice;
    if lattice.any_order() {
        // Those that work first, then the others: one state, and its value.
        let mut value = lattice.end();
        for (kind, works) in all.clone().filter(|place| !open[*place]).map(closed) {
            lattice.backward(&mut value, kind, works);
        }
        let kinds = all
            .filter(|place| open[*place])
            .map(|place| yard.machines[place].kind);
        let states = sets(Lattice::START, kinds, |state, kind| {
            lattice.follows(kind, state)
        });
        return states.into_iter().map(|state| value[state]).collect();
    }
    // Machines of one rate are alike once they work: how many do is all that matters.
    let mut groups: Vec<Group> = Vec::new();
    let mut closed_before = Vec::new();
    let machines: Vec<usize> = all.collect();
    let kind = |place: &usize| yard.machines[*place].kind;
    for alike in machines.chunk_by(|one, other| kind(one) == kind(other)) {
        let count = alike.iter().filter(|place| open[**place]).count();
        closed_before.extend(
            alike
                .iter()
                .copied()
                .filter(|place| !open[*place])
                .map(closed),
        );
        if count > 0 {
            groups.push(Group {
                closed_before: std::mem::take(&mut closed_before),
                kind: kind(&alike[0]),
                open: count,
            });
        }
    }
    let mut tail = lattice.end();
    for (kind, works) in closed_before.into_iter().rev() {
        lattice.backward(&mut tail, kind, works);
    }
    let mut by_counts = Vec::new();
    count(lattice, &groups, lattice.start(), &tail, &mut by_counts);
    // The counts of the last group change fastest.
    let mut strides = Vec::new();
    let mut stride = by_counts.len();
    for group in &groups {
        stride /= group.open + 1;
        strides.extend(std::iter::repeat_n(stride, group.open));
    }
    let places = sets(0, strides.into_iter(), |place, stride| place + stride);
    places.into_iter().map(|place| by_counts[place]).collect()
}

/// What is true of each set of some members, bit by bit, from what is true of none and of a set with one more.
fn sets(
    of_none: usize,
    members: impl Iterator<Item = usize>,
    with: impl Fn(usize, usize) -> usize,
) -> Vec<usize> {
    let mut sets = vec![of_none];
    for member in members {
        for place in 0..sets.len() {
            sets.push(with(sets[place], member));
        }
    }
    sets
}

/// Machines of one rate with open tasks, and those without that come before them.
struct Group {
    closed_before: Vec<(usize, f64)>,
    kind: usize,
    open: usize,
}

/// The chances for each number of machines that work in each of `groups`.
fn count(
    lattice: &Lattice,
    groups: &[Group],
    mut law: Vec<f64>,
    tail: &[f64],
    by_counts: &mut Vec<f64>,
) {
    let Some((group, rest)) = groups.split_first() else {
        by_counts.push(met(&law, tail));
        return;
    };
    for (kind, works) in &group.closed_before {
        lattice.forward(&mut law, *kind, *works);
    }
    for _ in 0..group.open {
        count(lattice, rest, law.clone(), tail, by_counts);
        lattice.forward(&mut law, group.kind, 1.0);
    }
    count(lattice, rest, law, tail, by_counts);
}
