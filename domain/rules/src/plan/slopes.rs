//! What doing, or undoing, up to three more tasks changes, from wherever a depot stands.
//!
//! The depot's chance is linear in the chance of each machine, so a change of three machines' chances by x, y and z changes it
//! by x D1 + y D2 + z D3 + x y D12 + x z D13 + y z D23 + x y z D123, exactly, with D its mixed slopes where it stands.
//! Those come from the law before the first machine, carried through the machines between, met with the value after the
//! last: no bundle costs an evaluation of its own.

use super::Ticks;
use super::work::{TooMuch, Work};
use super::yard::Yard;
use crate::score::met;

/// Tasks of a bundle at most.
pub(super) const BUNDLE_MAX: usize = 3;

/// Up to three tasks of one machine, and what toggling them does to its chance.
struct Move {
    tasks: [usize; BUNDLE_MAX],
    size: usize,
    ticks: Ticks,
    by: f64,
}

/// A machine that can be changed.
struct Active {
    /// Its place among the yard's machines.
    place: usize,
    /// Moves, rising in size.
    moves: Vec<Move>,
    /// How many of them are of one task.
    single: usize,
    /// The law before it.
    law: Vec<f64>,
    /// By how much the value before it rises with its chance.
    rise: Vec<f64>,
}

/// About how many steps [`bundles`] takes, with `tasks` that may be toggled on `active` machines.
pub(super) fn steps(yard: &Yard, tasks: usize, active: usize, size: usize) -> u64 {
    let states = yard.lattice.states() as f64;
    let (tasks, active) = (tasks as f64, active as f64);
    let (all, longest) = (yard.machines.len() as f64, yard.longest as f64);
    // How many machines lie between two active ones.
    let between = if yard.lattice.any_order() {
        1.0
    } else {
        all / active.max(1.0)
    };
    // Each move of a machine asks for all its tasks.
    let mut steps = states * 4.0 * all + tasks * (1.0 + longest);
    if size >= 2 {
        let moves = tasks * longest.powi(2);
        steps += states * active * active * (1.0 + between) + tasks * tasks * 2.0 + moves;
    }
    if size >= 3 {
        let moves = tasks * longest.powi(3);
        let bundles = tasks.powi(3) * 4.0;
        steps += ((states * active.powi(3) * (1.0 + between)).max(bundles) + moves) / 6.0;
    }
    steps as u64
}

/// Calls `visit` with each bundle of up to `size` of the tasks that `may` be toggled (done if they are not, undone if they are),
/// with the change of the depot's chance and the minutes of the bundle.
pub(super) fn bundles(
    yard: &Yard,
    done: &[bool],
    may: &[bool],
    size: usize,
    work: &mut Work,
    mut visit: impl FnMut(&[usize], f64, Ticks),
) -> Result<(), TooMuch> {
    let lattice = &yard.lattice;
    let works: Vec<f64> = (yard.machines.iter())
        .map(|machine| yard.works(machine, |task| done[task]))
        .collect();
    let (mut active, order) = active(yard, done, may, size, &works);
    let tasks = may.iter().filter(|may| **may).count();
    work.spend(steps(yard, tasks, active.len(), size))?;
    // A law and a rise of each.
    work.hold(2 * active.len() as u64 * (lattice.states() as u64 + 1))?;
    let kind = |place: usize| yard.machines[place].kind;
    sweep(yard, &works, &order, &mut active);
    if active.is_empty() {
        return Ok(());
    }
    let count = active.len();
    // Slopes of two machines, filled from the last backwards, so that those behind a machine are known.
    let mut pairs = vec![0.0; if size >= 2 { count * count } else { 0 }];
    let singles: Vec<f64> = (active.iter())
        .map(|machine| met(&machine.law, &machine.rise))
        .collect();
    let place_in_order: Vec<usize> = {
        let mut places = vec![0; yard.machines.len()];
        for (index, place) in order.iter().enumerate() {
            places[*place] = index;
        }
        active.iter().map(|machine| places[machine.place]).collect()
    };
    let carry = |law: &mut Vec<f64>, from: usize, to: usize| {
        // From behind one active machine to before another.
        for place in &order[place_in_order[from] + 1..place_in_order[to]] {
            lattice.forward(law, kind(*place), works[*place]);
        }
    };
    let pass = |law: &mut Vec<f64>, machine: usize| {
        let place = active[machine].place;
        lattice.forward(law, kind(place), works[place]);
    };
    for i in (0..count).rev() {
        for own in &active[i].moves {
            visit(&own.tasks[..own.size], own.by * singles[i], own.ticks);
        }
        if size < 2 {
            continue;
        }
        let changed = lattice.shifted(&active[i].law, kind(active[i].place));
        let mut law = changed.clone();
        for j in i + 1..count {
            carry(&mut law, j - 1, j);
            let slope = met(&law, &active[j].rise);
            pairs[i * count + j] = slope;
            pass(&mut law, j);
            for one in &active[i].moves {
                let fits = active[j]
                    .moves
                    .iter()
                    .take_while(|other| one.size + other.size <= size);
                for other in fits {
                    let change =
                        one.by * singles[i] + other.by * singles[j] + one.by * other.by * slope;
                    let mut both = [0; BUNDLE_MAX];
                    both[..one.size].copy_from_slice(&one.tasks[..one.size]);
                    both[one.size..one.size + other.size]
                        .copy_from_slice(&other.tasks[..other.size]);
                    visit(
                        &both[..one.size + other.size],
                        change,
                        one.ticks + other.ticks,
                    );
                }
            }
        }
        if size < 3 {
            continue;
        }
        let mut law = changed;
        for j in i + 1..count.saturating_sub(1) {
            carry(&mut law, j - 1, j);
            let mut both = lattice.shifted(&law, kind(active[j].place));
            pass(&mut law, j);
            for k in j + 1..count {
                carry(&mut both, k - 1, k);
                let slope = met(&both, &active[k].rise);
                pass(&mut both, k);
                for one in &active[i].moves[..active[i].single] {
                    for two in &active[j].moves[..active[j].single] {
                        let change = one.by * singles[i]
                            + two.by * singles[j]
                            + one.by * two.by * pairs[i * count + j];
                        let more = singles[k]
                            + one.by * pairs[i * count + k]
                            + two.by * pairs[j * count + k]
                            + one.by * two.by * slope;
                        for three in &active[k].moves[..active[k].single] {
                            let tasks = [one.tasks[0], two.tasks[0], three.tasks[0]];
                            let ticks = one.ticks + two.ticks + three.ticks;
                            visit(&tasks, change + three.by * more, ticks);
                        }
                    }
                }
            }
        }
    }
    Ok(())
}

/// The machines that can be changed, and the order in which all are taken: where any will do, those last.
fn active(
    yard: &Yard,
    done: &[bool],
    may: &[bool],
    size: usize,
    works: &[f64],
) -> (Vec<Active>, Vec<usize>) {
    let mut active = Vec::new();
    let mut order = Vec::with_capacity(yard.machines.len());
    for (place, works) in works.iter().enumerate() {
        let moves = moves(yard, place, done, may, size, *works);
        if moves.is_empty() {
            order.push(place);
            continue;
        }
        if !yard.lattice.any_order() {
            order.push(place);
        }
        active.push(Active {
            place,
            single: moves.iter().take_while(|own| own.size == 1).count(),
            moves,
            law: Vec::new(),
            rise: Vec::new(),
        });
    }
    if yard.lattice.any_order() {
        order.extend(active.iter().map(|machine| machine.place));
    }
    (active, order)
}

/// Leaves with each active machine the law before it and the rise over it.
fn sweep(yard: &Yard, works: &[f64], order: &[usize], active: &mut [Active]) {
    let lattice = &yard.lattice;
    let mut law = lattice.start();
    let mut next = 0;
    for place in order {
        let kind = yard.machines[*place].kind;
        if active
            .get(next)
            .is_some_and(|machine| machine.place == *place)
        {
            active[next].law.clone_from(&law);
            next += 1;
        }
        lattice.forward(&mut law, kind, works[*place]);
    }
    let mut value = lattice.end();
    for place in order.iter().rev() {
        if next == 0 {
            break;
        }
        let kind = yard.machines[*place].kind;
        if active[next - 1].place == *place {
            next -= 1;
            active[next].rise = lattice.rise(&value, kind);
        }
        lattice.backward(&mut value, kind, works[*place]);
    }
}

/// The bundles of one machine's tasks that may be toggled.
fn moves(
    yard: &Yard,
    place: usize,
    done: &[bool],
    may: &[bool],
    size: usize,
    works: f64,
) -> Vec<Move> {
    let machine = &yard.machines[place];
    let own: Vec<usize> = machine.tasks.clone().filter(|task| may[*task]).collect();
    let mut moves = Vec::new();
    let mut add = |tasks: &[usize]| {
        let toggled = |task| done[task] != tasks.contains(&task);
        let mut bundle = [0; BUNDLE_MAX];
        bundle[..tasks.len()].copy_from_slice(tasks);
        moves.push(Move {
            tasks: bundle,
            size: tasks.len(),
            ticks: tasks.iter().map(|task| yard.tasks[*task].ticks).sum(),
            by: yard.works(machine, toggled) - works,
        });
    };
    for one in &own {
        add(&[*one]);
    }
    for (index, one) in own.iter().enumerate().filter(|_| size >= 2) {
        for two in &own[index + 1..] {
            add(&[*one, *two]);
        }
    }
    for (index, one) in own.iter().enumerate().filter(|_| size >= 3) {
        for (next, two) in own.iter().enumerate().skip(index + 1) {
            for three in &own[next + 1..] {
                add(&[*one, *two, *three]);
            }
        }
    }
    moves
}
