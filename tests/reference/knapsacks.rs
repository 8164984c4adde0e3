//! Plans that are plain 0-1 knapsacks, against published ones: the data set KNAPSACK_01 (J. Burkardt, Florida State University;
//! its first seven problems are from Martello & Toth, Knapsack Problems, 1990, and textbooks, the last from Kreher & Stinson,
//! Combinatorial Algorithms, 1999). Data and optima are written down from memory; each optimum is that of the published selection.

use rimeyard_rules::calculations::plan::{DepotInput, Input, JobInput, UnitInput, calculate};
use rimeyard_rules::plan::JobId;

struct Knapsack {
    capacity: f64,
    weights: &'static [u32],
    profits: &'static [u32],
    optimum: f64,
}

const KNAPSACKS: [Knapsack; 8] = [
    Knapsack {
        capacity: 165.0,
        weights: &[23, 31, 29, 44, 53, 38, 63, 85, 89, 82],
        profits: &[92, 57, 49, 68, 60, 43, 67, 84, 87, 72],
        optimum: 309.0,
    },
    Knapsack {
        capacity: 26.0,
        weights: &[12, 7, 11, 8, 9],
        profits: &[24, 13, 23, 15, 16],
        optimum: 51.0,
    },
    Knapsack {
        capacity: 190.0,
        weights: &[56, 59, 80, 64, 75, 17],
        profits: &[50, 50, 64, 46, 50, 5],
        optimum: 150.0,
    },
    Knapsack {
        capacity: 50.0,
        weights: &[31, 10, 20, 19, 4, 3, 6],
        profits: &[70, 20, 39, 37, 7, 5, 10],
        optimum: 107.0,
    },
    Knapsack {
        capacity: 104.0,
        weights: &[25, 35, 45, 5, 25, 3, 2, 2],
        profits: &[350, 400, 450, 20, 70, 8, 5, 5],
        optimum: 900.0,
    },
    Knapsack {
        capacity: 170.0,
        weights: &[41, 50, 49, 59, 55, 57, 60],
        profits: &[442, 525, 511, 593, 546, 564, 617],
        optimum: 1735.0,
    },
    Knapsack {
        capacity: 750.0,
        weights: &[
            70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120,
        ],
        profits: &[
            135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240,
        ],
        optimum: 1458.0,
    },
    Knapsack {
        capacity: 6_404_180.0,
        weights: &[
            382_745, 799_601, 909_247, 729_069, 467_902, 44_328, 34_610, 698_150, 823_460, 903_959,
            853_665, 551_830, 610_856, 670_702, 488_960, 951_111, 323_046, 446_298, 931_161,
            31_385, 496_951, 264_724, 224_916, 169_684,
        ],
        profits: &[
            825_594, 1_677_009, 1_676_628, 1_523_970, 943_972, 97_426, 69_666, 1_296_457,
            1_679_693, 1_902_996, 1_844_992, 1_049_289, 1_252_836, 1_319_836, 953_277, 2_067_538,
            675_367, 853_655, 1_826_027, 65_731, 901_489, 577_243, 466_257, 369_261,
        ],
        optimum: 13_549_094.0,
    },
];

/// An object is a depot of one machine that is needed, held until its one job is done: the gain of the job is the depot's weight.
fn depot(id: usize, minutes: f64, weight: f64) -> DepotInput {
    let job = JobInput {
        id: JobId::Number(id as i64),
        minutes,
        now: 0.0,
        after: 1.0,
    };
    DepotInput {
        needed_rate: 1000.0,
        operators: None,
        weight,
        travel_minutes: 0.0,
        place: None,
        units: vec![UnitInput {
            rest: 1.0,
            rate: 1000.0,
            jobs: vec![job],
        }],
    }
}

#[test]
fn published_knapsacks_are_packed_to_their_optimum() {
    for knapsack in &KNAPSACKS {
        let objects = knapsack.weights.iter().zip(knapsack.profits).enumerate();
        let depots = objects
            .map(|(id, (weight, profit))| depot(id, f64::from(*weight), f64::from(*profit)))
            .collect();
        let input = Input {
            depots,
            minutes: knapsack.capacity,
        };
        let got = calculate(&input).unwrap();
        assert!(
            (got.gain - knapsack.optimum).abs() < 1e-6,
            "{got:?}, not {}",
            knapsack.optimum
        );
        assert!(got.minutes_used <= knapsack.capacity);
    }
}
