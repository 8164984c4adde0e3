//! What a storm asks of a depot (section 8 of the computation): the rate of work at which every duty is done in time, cycle
//! after cycle. Clearing and blowing count m2 of ground, spreading kg of material.

/// Ground to be cleared, or spread, in one storm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DutyDemand {
    /// What each cycle asks for, m2 or kg, at least 0.
    pub amount: f64,
    /// Within how many hours of each cycle's snow it must be done, over 0.
    pub clear_within_h: f64,
}

/// What a storm asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Rate at which every duty is done in time, m2/h or kg/h.
    pub needed_rate: f64,
    /// How often everything is cleared.
    pub cycles: u32,
}

/// Cycles n = ceil(depth / re-clear depth): how often everything is cleared, at most `u32::MAX`.
pub fn cycles(depth_mm: f64, reclear_mm: f64) -> u32 {
    // Without the 1e-9, 150 / (3 x 50.000...01) would be a cycle more or less: 41 % wrong (tried).
    (depth_mm / reclear_mm - 1e-9).ceil().max(0.0) as u32
}

/// The rate a storm of `storm_hours` (over 0) with `depth_mm` (at least 0) asks for where snow is cleared again at
/// `reclear_mm` (over 0).
///
/// The processor-demand criterion (Baruah, Rosier & Howell 1990): work that appears at (j - 1) tau and is owed T later
/// can be done in time, first owed first, if and only if up to no instant more is owed than can be done. The largest of
/// owed work over time is at some cycle's end of a duty.
pub fn needed_rate(
    storm_hours: f64,
    depth_mm: f64,
    reclear_mm: f64,
    duties: &[DutyDemand],
) -> Demand {
    let cycles = cycles(depth_mm, reclear_mm);
    let between = storm_hours / f64::from(cycles.max(1));
    let mut owed: Vec<(f64, f64)> = by_deadline(duties)
        .iter()
        .flat_map(|(within, amount)| {
            (0..cycles).map(move |cycle| (f64::from(cycle) * between + within, *amount))
        })
        .collect();
    owed.sort_unstable_by(|left, right| left.0.total_cmp(&right.0));
    // What is owed a hair after an instant counts as owed at it, as the floor with 1e-9 has it.
    let hair = 1e-9 * between;
    let mut due = 0;
    let mut amount = 0.0;
    let mut needed_rate: f64 = 0.0;
    for (instant, _) in &owed {
        while due < owed.len() && owed[due].0 <= instant + hair {
            amount += owed[due].1;
            due += 1;
        }
        needed_rate = needed_rate.max(amount / instant);
    }
    Demand {
        needed_rate,
        cycles,
    }
}

/// Deadlines and the amount owed within each, so that many like duties cost as one.
pub(crate) fn by_deadline(duties: &[DutyDemand]) -> Vec<(f64, f64)> {
    let mut sorted: Vec<(f64, f64)> = duties
        .iter()
        .map(|duty| (duty.clear_within_h, duty.amount))
        .collect();
    sorted.sort_unstable_by(|left, right| left.0.total_cmp(&right.0));
    sorted.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    sorted
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Work done in steps, first owed first: does everything that appears get done by when it is owed?
    fn keeps_up(rate: f64, storm_hours: f64, cycles: u32, duties: &[DutyDemand]) -> bool {
        let between = storm_hours / f64::from(cycles);
        // Each job: appears, owed, area left.
        let mut jobs: Vec<(f64, f64, f64)> = duties
            .iter()
            .flat_map(|duty| {
                (0..cycles).map(move |cycle| {
                    let appears = f64::from(cycle) * between;
                    (appears, appears + duty.clear_within_h, duty.amount)
                })
            })
            .collect();
        let mut now = 0.0;
        loop {
            let next_appears = jobs
                .iter()
                .filter(|job| job.0 > now && job.2 > 0.0)
                .map(|job| job.0)
                .fold(f64::INFINITY, f64::min);
            let first = jobs
                .iter_mut()
                .filter(|job| job.0 <= now && job.2 > 1e-7)
                .min_by(|left, right| left.1.total_cmp(&right.1));
            let Some(job) = first else {
                if next_appears.is_infinite() {
                    return true;
                }
                now = next_appears;
                continue;
            };
            let until = (now + job.2 / rate).min(next_appears);
            job.2 -= (until - now) * rate;
            if job.2 <= 1e-7 && until > job.1 + 1e-7 || job.2 > 1e-7 && until >= job.1 {
                return false;
            }
            now = until;
        }
    }

    fn duties() -> impl Strategy<Value = Vec<DutyDemand>> {
        prop::collection::vec(
            (
                100.0..5000.0_f64,
                prop_oneof![0.5..24.0_f64, (1..12_u32).prop_map(f64::from)],
            )
                .prop_map(|(amount, clear_within_h)| DutyDemand {
                    amount,
                    clear_within_h,
                }),
            1..6,
        )
    }

    proptest! {
        /// At the needed rate, and hardly under it, the work itself says whether it can be done. With equal times between
        /// cycles and everything appearing at once, first owed first is what the criterion promises.
        #[test]
        fn the_needed_rate_is_what_the_work_needs(duties in duties(), cycles in 1..7_u32, storm_hours in 2.0..30.0_f64) {
            let depth = f64::from(cycles) * 50.0;
            let demand = needed_rate(storm_hours, depth, 50.0, &duties);
            prop_assert_eq!(demand.cycles, cycles);
            prop_assert!(keeps_up(demand.needed_rate * (1.0 + 1e-6), storm_hours, cycles, &duties));
            prop_assert!(!keeps_up(demand.needed_rate * 0.999, storm_hours, cycles, &duties));
        }

        #[test]
        fn more_snow_or_ground_needs_more(
            duties in duties(), depth in 0.0..400.0_f64, more in 0.0..200.0_f64, storm_hours in 2.0..30.0_f64,
        ) {
            let now = needed_rate(storm_hours, depth, 50.0, &duties).needed_rate;
            prop_assert!(needed_rate(storm_hours, depth + more, 50.0, &duties).needed_rate >= now - 1e-9);
            prop_assert!(needed_rate(storm_hours, depth, 50.0, &duties[1..]).needed_rate <= now + 1e-9);
        }
    }
}
