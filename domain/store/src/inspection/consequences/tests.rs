use super::*;

const CHECK: &str = "auger_stands_still";

fn id(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

fn moment(second: i64, number: u128) -> Moment {
    Moment {
        at: Timestamp::from_second(second).unwrap(),
        id: id(number),
    }
}

fn outcome(unserviceable: bool) -> Outcome<'static> {
    Outcome {
        check: CHECK,
        unserviceable,
        effect: Effect::Hold,
        text: "auger creeps",
    }
}

fn event(second: i64, number: u128, outcomes: Vec<Outcome<'static>>) -> Event<'static> {
    Event {
        unit_id: id(1),
        depot_id: id(2),
        moment: moment(second, number),
        received_at: moment(second, number).at,
        by: id(3),
        outcomes,
        corrects: None,
    }
}

/// What is known after events, one commit each, as the store would load it.
#[derive(Default)]
struct World {
    read: BTreeMap<Moment, bool>,
    findings: Vec<Finding>,
    holds: Vec<Hold>,
}

impl World {
    fn apply(&mut self, mut event: Event<'static>, corrects: Option<Moment>) {
        if let Some(old) = corrects {
            self.read.remove(&old);
            event.corrects = Some(Corrected {
                id: old.id,
                checks: vec![outcome(true)],
            });
        }
        let newest = self
            .read
            .last_key_value()
            .map(|(moment, bad)| ((id(1), CHECK.to_owned()), (*moment, *bad)));
        let known = self.findings.iter().filter(|finding| {
            let by_old = |by: Option<Uuid>| by.is_some() && by == corrects.map(|old| old.id);
            finding.closed_at.is_none()
                || by_old(Some(finding.inspection_id))
                || by_old(finding.closed_by)
        });
        let hanging = self.holds.iter().filter(|hold| hold.lifted_at.is_none());
        let (known, hanging) = (known.cloned().collect(), hanging.cloned().collect());
        let after = follow(
            std::slice::from_ref(&event),
            newest.into_iter().collect(),
            known,
            hanging,
        );
        for tracked in after.findings {
            match self
                .findings
                .iter_mut()
                .find(|finding| finding.id == tracked.object.id)
            {
                Some(finding) => *finding = tracked.object,
                None => self.findings.push(tracked.object),
            }
        }
        for tracked in after.holds {
            match self
                .holds
                .iter_mut()
                .find(|hold| hold.id == tracked.object.id)
            {
                Some(hold) => *hold = tracked.object,
                None => self.holds.push(tracked.object),
            }
        }
        if let Some(outcome) = event.outcomes.first() {
            self.read.insert(event.moment, outcome.unserviceable);
        }
    }

    fn open(&self) -> Vec<&Finding> {
        self.findings
            .iter()
            .filter(|finding| finding.closed_at.is_none())
            .collect()
    }

    fn hanging(&self) -> usize {
        self.holds
            .iter()
            .filter(|hold| hold.lifted_at.is_none())
            .count()
    }
}

#[test]
fn one_finding_and_one_tag_however_often_it_is_found() {
    let mut world = World::default();
    world.apply(event(10, 10, vec![outcome(true)]), None);
    world.apply(event(20, 20, vec![outcome(true)]), None);
    assert_eq!(
        (world.findings.len(), world.open().len(), world.hanging()),
        (1, 1, 1)
    );
    world.apply(event(30, 30, vec![outcome(false)]), None);
    assert_eq!(
        (world.open().len(), world.hanging()),
        (0, 1),
        "a person lifts the tag"
    );
    assert_eq!(
        (world.findings[0].closed_by, world.findings[0].rev),
        (Some(id(30)), 2)
    );
    world.apply(event(40, 40, vec![outcome(true)]), None);
    assert_eq!(
        (world.findings.len(), world.open().len(), world.hanging()),
        (2, 1, 2)
    );
}

#[test]
fn what_arrives_late_changes_nothing() {
    let mut world = World::default();
    world.apply(event(10, 10, vec![outcome(true)]), None);
    world.apply(event(5, 5, vec![outcome(false)]), None);
    assert_eq!(world.open().len(), 1);
    world.apply(event(20, 20, vec![outcome(false)]), None);
    world.apply(event(15, 15, vec![outcome(true)]), None);
    assert_eq!(
        (world.findings.len(), world.open().len(), world.hanging()),
        (1, 0, 1)
    );
}

#[test]
fn a_slip_taken_back_leaves_nothing_standing() {
    for said in [vec![outcome(false)], vec![]] {
        let mut world = World::default();
        world.apply(event(10, 10, vec![outcome(true)]), None);
        world.apply(event(10, 11, said), Some(moment(10, 10)));
        assert_eq!((world.open().len(), world.hanging()), (0, 0));
        assert_eq!(world.holds[0].lifted_inspection, Some(id(11)));
    }
}

#[test]
fn a_correction_that_says_the_same_stands_in_the_corrected_ones_place() {
    let mut world = World::default();
    world.apply(event(10, 10, vec![outcome(true)]), None);
    world.apply(event(10, 11, vec![outcome(true)]), Some(moment(10, 10)));
    assert_eq!(
        (
            world.findings.len(),
            world.open()[0].inspection_id,
            world.hanging()
        ),
        (1, id(11), 1)
    );
}

#[test]
fn a_closing_taken_back_opens_again() {
    for said in [vec![outcome(true)], vec![]] {
        let mut world = World::default();
        world.apply(event(10, 10, vec![outcome(true)]), None);
        let finding = world.findings[0].id;
        world.apply(event(20, 20, vec![outcome(false)]), None);
        world.holds[0].lifted_at = Some(moment(21, 0).at);
        world.apply(event(20, 21, said), Some(moment(20, 20)));
        assert_eq!(
            (world.findings.len(), world.open()[0].id, world.hanging()),
            (1, finding, 1)
        );
    }
}

#[test]
fn an_older_reading_counts_again_once_the_newer_is_taken_back() {
    let mut world = World::default();
    world.apply(event(20, 20, vec![outcome(false)]), None);
    world.apply(event(10, 10, vec![outcome(true)]), None);
    assert!(world.findings.is_empty(), "history when it came");
    world.apply(event(20, 21, vec![]), Some(moment(20, 20)));
    assert_eq!(
        (
            world.open()[0].inspection_id,
            world.open()[0].opened_at,
            world.hanging()
        ),
        (id(10), moment(10, 0).at, 1)
    );
}

#[test]
fn a_correction_of_the_date_alone_is_weighed_like_any_other() {
    let mut world = World::default();
    world.apply(event(10, 10, vec![outcome(false)]), None);
    world.apply(event(20, 20, vec![outcome(true)]), None);
    world.apply(event(5, 21, vec![outcome(true)]), Some(moment(20, 20)));
    assert_eq!(
        (world.open().len(), world.findings[0].closed_by),
        (0, Some(id(21)))
    );
}

#[test]
fn many_at_once_end_as_one_by_one() {
    let all = [
        (10, true),
        (20, false),
        (30, true),
        (40, true),
        (50, false),
        (60, true),
    ];
    let one = |(second, bad): (i64, bool)| {
        event(
            second,
            u128::from(second.unsigned_abs()),
            vec![outcome(bad)],
        )
    };
    let mut singly = World::default();
    for each in all {
        singly.apply(one(each), None);
    }
    let mut shuffled = all.map(one);
    shuffled.reverse();
    let at_once = follow(&shuffled, Newest::new(), vec![], vec![]);
    let shape = |finding: &Finding| {
        (
            finding.inspection_id,
            finding.opened_at,
            finding.closed_by,
            finding.closed_at,
        )
    };
    let singly: Vec<_> = singly.findings.iter().map(shape).collect();
    let at_once: Vec<_> = at_once
        .findings
        .iter()
        .map(|tracked| shape(&tracked.object))
        .collect();
    assert_eq!(singly, at_once);
}
