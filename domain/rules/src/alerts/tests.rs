//! Hand-worked histories, and what must hold for all.

use jiff::ToSpan;
use proptest::prelude::*;

use super::*;

const UNIT: Uuid = Uuid::from_u128(7);

fn start() -> Timestamp {
    "2025-12-01T08:00:00Z".parse().unwrap()
}

fn signal(raised: Option<Severity>) -> Signal {
    Signal {
        kind: AlertKind::UnitHeld,
        subject_id: UNIT,
        unit_id: Some(UNIT),
        raised: raised.map(|severity| (severity, format!("{severity:?}"))),
    }
}

/// Applies what follows, as the store does: ids by the order of opening.
fn apply(
    open: &mut Vec<OpenAlert>,
    signals: &[Signal],
    as_of: Timestamp,
    opened: &mut u128,
) -> Next {
    let next = next(open, signals, as_of);
    open.retain(|alert| !next.cleared.contains(&alert.id));
    for now in &next.changed {
        *open.iter_mut().find(|alert| alert.id == now.id).unwrap() = now.clone();
    }
    for signal in &next.opened {
        let (severity, text) = signal.raised.clone().unwrap();
        *opened += 1;
        open.push(OpenAlert {
            id: Uuid::from_u128(*opened),
            kind: signal.kind,
            subject_id: signal.subject_id,
            severity,
            text,
            raised_at: as_of,
            acknowledged: false,
            escalated_at: None,
        });
    }
    next
}

#[test]
fn it_is_opened_raised_kept_and_cleared_and_then_a_new_one() {
    let (mut open, mut count) = (Vec::new(), 0);
    let at = |hours: i64| start() + hours.hours();
    let mut see = |raised: Option<Option<Severity>>, hours| {
        let signals: Vec<Signal> = raised.map(signal).into_iter().collect();
        apply(&mut open, &signals, at(hours), &mut count);
        open.clone()
    };
    assert!(
        see(Some(None), 0).is_empty(),
        "what is nearly well opens nothing"
    );
    let first = see(Some(Some(Severity::Notice)), 1).remove(0);
    assert_eq!((first.severity, first.raised_at), (Severity::Notice, at(1)));
    let raised = see(Some(Some(Severity::Warning)), 2).remove(0);
    assert_eq!(
        (raised.id, raised.severity, raised.raised_at),
        (first.id, Severity::Warning, at(2))
    );
    // As bad as its cause is now, and worse again it is raised again.
    let better = see(Some(Some(Severity::Notice)), 3).remove(0);
    assert_eq!(
        (better.severity, better.text.as_str(), better.raised_at),
        (Severity::Notice, "Notice", at(2))
    );
    // Between the floor and the floor with hysteresis it stays as it is.
    assert_eq!(see(Some(None), 4), [better]);
    let worse = see(Some(Some(Severity::Urgent)), 5).remove(0);
    assert_eq!((worse.id, worse.raised_at), (first.id, at(5)));
    assert!(see(None, 6).is_empty());
    let again = see(Some(Some(Severity::Notice)), 7).remove(0);
    assert_ne!(again.id, first.id);
    assert_eq!(again.severity, Severity::Notice);
}

#[test]
fn the_district_is_told_once_and_only_what_nobody_took_up() {
    let (mut open, mut count) = (Vec::new(), 0);
    let urgent = [signal(Some(Severity::Urgent))];
    apply(&mut open, &urgent, start(), &mut count);
    let due = start() + 24.hours();
    assert_eq!(Next::default().escalates_at(&open, start()), Some(due));
    apply(&mut open, &urgent, due - 1.second(), &mut count);
    assert_eq!(open[0].escalated_at, None);
    apply(&mut open, &urgent, due, &mut count);
    assert_eq!(open[0].escalated_at, Some(due));
    assert_eq!(
        apply(&mut open, &urgent, due + 48.hours(), &mut count),
        Next::default()
    );
    assert_eq!(Next::default().escalates_at(&open, start()), None);

    let (mut open, mut count) = (Vec::new(), 0);
    apply(
        &mut open,
        &[signal(Some(Severity::Notice))],
        start(),
        &mut count,
    );
    open[0].acknowledged = true;
    let later = start() + (24 * 30).hours();
    apply(
        &mut open,
        &[signal(Some(Severity::Notice))],
        later,
        &mut count,
    );
    assert_eq!(open[0].escalated_at, None);
    // Worse than what was taken up: somebody must look again.
    apply(&mut open, &urgent, later, &mut count);
    assert!(!open[0].acknowledged);
    assert_eq!(
        Next::default().escalates_at(&open, start()),
        Some(later + 24.hours())
    );
}

fn severity() -> impl Strategy<Value = Option<Severity>> {
    prop_oneof![
        Just(None),
        Just(Some(Severity::Notice)),
        Just(Some(Severity::Warning)),
        Just(Some(Severity::Urgent)),
    ]
}

proptest! {
    /// However signals come, several of one subject among them: never two open alerts of one subject; an alert is open
    /// exactly while a signal stands; nothing happens twice.
    #[test]
    fn one_open_alert_for_each_kind_and_subject(
        history in prop::collection::vec(prop::collection::vec((0..3_u128, severity()), 0..6), 1..30)
    ) {
        let (mut open, mut count) = (Vec::new(), 0);
        for (hour, signals) in history.iter().enumerate() {
            let signals: Vec<Signal> = signals
                .iter()
                .map(|(subject, raised)| Signal { subject_id: Uuid::from_u128(*subject), ..signal(*raised) })
                .collect();
            let before: Vec<Uuid> = open.iter().map(|alert: &OpenAlert| alert.subject_id).collect();
            let at = start() + (hour as i64).hours();
            apply(&mut open, &signals, at, &mut count);
            for subject in (0..3).map(Uuid::from_u128) {
                let now = open.iter().filter(|alert| alert.subject_id == subject).count();
                let own: Vec<&Signal> = signals.iter().filter(|one| one.subject_id == subject).collect();
                let raised = own.iter().any(|one| one.raised.is_some());
                let stays = before.contains(&subject) && !own.is_empty();
                prop_assert_eq!(now, usize::from(raised || stays));
            }
            prop_assert_eq!(next(&open, &signals, at), Next::default(), "the same again changes nothing");
        }
    }
}
