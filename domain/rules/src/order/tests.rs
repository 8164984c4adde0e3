use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;

/// The states that can be reached from `from`, itself too, without passing through `avoided`.
fn reach(from: State, avoided: Option<State>) -> BTreeSet<State> {
    let mut reached = BTreeSet::from([from]);
    let mut next = vec![from];
    while let Some(state) = next.pop() {
        for &to in state.next() {
            if Some(to) != avoided && reached.insert(to) {
                next.push(to);
            }
        }
    }
    reached
}

#[test]
fn what_is_closed_or_dropped_stays_so_and_all_else_can_become_either() {
    for state in State::ALL {
        assert_eq!(
            state.is_final(),
            matches!(state, State::Closed | State::Dropped)
        );
        assert!(!state.next().contains(&state));
        if !state.is_final() {
            assert!(state.next().contains(&State::Dropped));
            assert!(reach(state, None).contains(&State::Closed));
        }
    }
    assert_eq!(reach(State::Found, None).len(), State::ALL.len());
}

#[test]
fn nothing_is_closed_that_was_not_on_the_bench_and_nothing_is_found_again() {
    let without_bench = reach(State::Found, Some(State::OnTheBench));
    assert!(!without_bench.contains(&State::Closed) && !without_bench.contains(&State::ToBeProved));
    assert!(
        State::ALL
            .iter()
            .all(|state| !state.next().contains(&State::Found))
    );
}

#[test]
fn the_words_are_those_on_the_wire() {
    for state in State::ALL {
        assert_eq!(serde_json::to_value(state).unwrap(), state.as_str());
    }
    let problem = State::Closed.may_become(State::Planned).unwrap_err();
    assert!(problem.starts_with("is closed and cannot become planned"));
}

fn line() -> impl Strategy<Value = Line<'static>> {
    let proof = prop_oneof![
        Just(None),
        any::<bool>().prop_map(|proved| Some(Proof {
            check: "tension",
            lacks: (!proved).then(|| "no reading of it".to_owned()),
        })),
    ];
    (0..3, proof).prop_map(|(state, proof)| Line {
        title: "Renew the belt",
        done: state == 1,
        taken_off: state == 2,
        proof,
    })
}

proptest! {
    #[test]
    fn an_order_closes_once_all_that_stands_on_it_is_done_and_proved(
        lines in proptest::collection::vec(line(), 0..6)
    ) {
        let good = |line: &Line<'_>| {
            line.taken_off || line.done && line.proof.as_ref().is_none_or(|proof| proof.lacks.is_none())
        };
        let something = lines.iter().any(|line| !line.taken_off);
        let closes = bars_closing(&lines).is_empty();
        prop_assert_eq!(closes, something && lines.iter().all(good));
    }

    #[test]
    fn doing_a_line_and_proving_it_never_bars_more(
        lines in proptest::collection::vec(line(), 1..6), which in any::<prop::sample::Index>()
    ) {
        let before = bars_closing(&lines).len();
        let mut after = lines.clone();
        let line = which.get_mut(&mut after);
        if !line.taken_off {
            line.done = true;
            if let Some(proof) = &mut line.proof {
                proof.lacks = None;
            }
        }
        prop_assert!(bars_closing(&after).len() <= before);
    }
}
