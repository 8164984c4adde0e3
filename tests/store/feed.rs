//! The write path: dense heads, digests, limits, and no reader who loses anything.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use rimeyard_store::feed::{self, kind};
use rimeyard_store::{Error, Tenant, mark};
use serde_json::json;
use uuid::Uuid;

use super::{House, owner};

#[tokio::test]
async fn a_commit_advances_each_scope_by_one_whatever_it_writes() {
    let house = House::new().await;
    let (one, two) = (house.depot().await, house.depot().await);
    let before = (house.scope(one).await.0, house.scope(two).await.0);
    feed::write(&house.database, &house.tenant, &[two, one], async |tx| {
        for _ in 0..3 {
            tx.publish(one, kind::UNIT, Uuid::now_v7(), 1, &json!({"tag": "T-1"}))?;
        }
        tx.publish(two, kind::UNIT, Uuid::now_v7(), 1, &json!({"tag": "T-2"}))
    })
    .await
    .expect("written");
    assert_eq!(house.scope(one).await.0, before.0 + 1);
    assert_eq!(house.scope(two).await.0, before.1 + 1);
    feed::write(&house.database, &house.tenant, &[one], async |_| Ok(()))
        .await
        .expect("nothing to publish");
    assert_eq!(
        house.scope(one).await.0,
        before.0 + 1,
        "a commit without entries leaves the head"
    );
}

#[tokio::test]
async fn the_digest_is_the_xor_of_the_live_checks() {
    let house = House::new().await;
    let depot = house.depot().await;
    let ids: Vec<Uuid> = (0..6).map(|_| Uuid::now_v7()).collect();
    for (rev, id) in (1..).zip(ids.iter().chain(&ids).chain(&ids[..3])) {
        house
            .publish(depot, kind::UNIT, *id, rev, &json!({"rev": rev}))
            .await;
        let (_, digest, recomputed) = house.scope(depot).await;
        assert_eq!(digest, recomputed, "after rev {rev}");
    }
    // Tombstones, of what lives, of what is gone, and of what never was; then back to life.
    feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        tx.remove(depot, kind::UNIT, ids[0], 90)?;
        tx.moved(depot, kind::UNIT, ids[1], 90)?;
        tx.remove(depot, kind::UNIT, Uuid::now_v7(), 1)
    })
    .await
    .expect("removed");
    let (_, digest, recomputed) = house.scope(depot).await;
    assert_eq!(digest, recomputed);
    house
        .publish(depot, kind::UNIT, ids[0], 91, &json!({"back": true}))
        .await;
    let (_, digest, recomputed) = house.scope(depot).await;
    assert_eq!(digest, recomputed);
}

/// Postgres plans by what it knows of a table, and of one that nobody has analysed it knows nothing. What a commit reads
/// of the entries must not hang on that: at most what it replaces, however many are there.
#[tokio::test]
async fn a_commit_reads_only_what_it_replaces() {
    let house = House::new().await;
    let depot = house.depot().await;
    let owner = owner(&house.name).await;
    owner
        .batch_execute("alter table feed_entry set (autovacuum_enabled = false)")
        .await
        .expect("never analysed");
    let ids: Vec<Uuid> = (0..2_000).map(|_| Uuid::now_v7()).collect();
    let write = async |rev: i64| {
        for commit in ids.chunks(100) {
            feed::write(&house.database, &house.tenant, &[depot], async |tx| {
                let unit =
                    |id: &Uuid| tx.publish(depot, kind::UNIT, *id, rev, &json!({"rev": rev}));
                commit.iter().try_for_each(unit)
            })
            .await
            .expect("written");
        }
    };
    write(1).await;
    write(2).await;
    // What a connection counted is told at the latest when it ends.
    drop(house.database);
    let mut told = (0, 0, 0);
    for _ in 0..200 {
        let row = owner
            .query_one(
                "select n_tup_ins, n_tup_upd, coalesce(seq_tup_read, 0) + coalesce(idx_tup_fetch, 0)
                 from pg_stat_user_tables where relname = 'feed_entry'",
                &[],
            )
            .await
            .expect("counted");
        told = (row.get(0), row.get(1), row.get(2));
        if told.1 >= 2_000 {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let (inserted, updated, read): (i64, i64, i64) = told;
    assert!(
        (2_000..2_100).contains(&inserted) && updated == 2_000,
        "{told:?}"
    );
    assert!(
        (2_000..2_100).contains(&read),
        "{read} entries read to replace 2,000"
    );
}

/// SHA-256 by another implementation: Postgres' own.
#[tokio::test]
async fn a_check_is_eight_bytes_of_sha_256() {
    let house = House::new().await;
    let depot = house.depot().await;
    let id = Uuid::now_v7();
    house
        .publish(depot, kind::UNIT, id, 7, &json!({"tag": "Schneefräse 12"}))
        .await;
    let row = owner(&house.name)
        .await
        .query_one(
            "select encode(substr(sha256(convert_to(kind || ':' || object_id || ':' || rev || ':' || doc, 'UTF8')), 1, 8), 'hex'), digest, doc
             from feed_entry where object_id = $1",
            &[&id],
        )
        .await
        .expect("the entry");
    let (expected, digest, doc): (String, i64, String) = (row.get(0), row.get(1), row.get(2));
    assert_eq!(feed::hex(digest), expected);
    assert_eq!(feed::hex(feed::check(kind::UNIT, id, 7, &doc)), expected);
}

#[tokio::test]
async fn nothing_is_stored_when_the_work_fails() {
    let house = House::new().await;
    let depot = house.depot().await;
    let before = house.scope(depot).await;
    let audits = audits(&house).await;
    let failed: Result<(), Error> =
        feed::write(&house.database, &house.tenant, &[depot], async |tx| {
            tx.publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))?;
            tx.audit(depot, "create", kind::UNIT, Uuid::now_v7(), json!({}));
            Err(Error::invalid("tag", "is wrong"))
        })
        .await;
    assert!(matches!(failed, Err(Error::Invalid { .. })));
    // And when it is the database that refuses, at the very end: no such depot to mark.
    let failed = feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        tx.publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))?;
        tx.mark(Uuid::now_v7());
        Ok(())
    })
    .await;
    assert!(failed.is_err());
    assert_eq!(house.scope(depot).await, before);
    assert_eq!(self::audits(&house).await, audits);
    house
        .publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))
        .await;
    assert_eq!(house.scope(depot).await.0, before.0 + 1, "no gap is left");
}

async fn audits(house: &House) -> i64 {
    owner(&house.name)
        .await
        .query_one("select count(*) from audit", &[])
        .await
        .expect("counted")
        .get(0)
}

#[tokio::test]
async fn an_unknown_scope_is_not_found_and_an_unlocked_one_is_a_fault() {
    let house = House::new().await;
    let depot = house.depot().await;
    let unknown = feed::write(
        &house.database,
        &house.tenant,
        &[depot, Uuid::now_v7()],
        async |_| Ok(()),
    )
    .await;
    assert!(
        matches!(unknown, Err(Error::NotFound { .. })),
        "{unknown:?}"
    );
    let unlocked = feed::write(
        &house.database,
        &house.tenant,
        &[house.org_id()],
        async |tx| tx.publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({})),
    )
    .await;
    assert!(matches!(unlocked, Err(Error::Internal(_))), "{unlocked:?}");
}

#[tokio::test]
async fn documents_and_commits_have_limits() {
    let house = House::new().await;
    let depot = house.depot().await;
    let head = house.scope(depot).await.0;
    let publish = async |count: usize, bytes: usize| {
        feed::write(&house.database, &house.tenant, &[depot], async |tx| {
            for _ in 0..count {
                // Two quotes belong to the document.
                tx.publish(depot, kind::UNIT, Uuid::now_v7(), 1, &"x".repeat(bytes - 2))?;
            }
            Ok(())
        })
        .await
    };
    let kib = 1024;
    for (count, bytes) in [
        (1, 64 * kib + 1),
        (feed::DOCUMENTS_MAX + 1, 10),
        (17, 64 * kib),
    ] {
        let refused = publish(count, bytes).await;
        assert!(
            matches!(refused, Err(Error::Invalid { .. })),
            "{count} of {bytes}: {refused:?}"
        );
    }
    assert_eq!(house.scope(depot).await.0, head, "nothing of it is stored");
    for (count, bytes) in [(1, 64 * kib), (feed::DOCUMENTS_MAX, 10), (16, 64 * kib)] {
        publish(count, bytes).await.expect("just within");
    }
}

#[tokio::test]
async fn a_mark_is_due_at_once_and_one_generation_on() {
    let house = House::new().await;
    let depot = house.depot().await;
    let client = owner(&house.name).await;
    client
        .execute("update mark set due_at = now() + interval '1 day'", &[])
        .await
        .expect("put off");
    let generation = async || -> i64 {
        client
            .query_one("select gen from mark", &[])
            .await
            .expect("there")
            .get(0)
    };
    let before = generation().await;
    feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        tx.mark(depot);
        tx.mark(depot);
        Ok(())
    })
    .await
    .expect("marked");
    assert_eq!(generation().await, before + 1);
    assert_eq!(mark::backlog(&house.database).await.expect("asked").due, 1);
}

/// Many writers at once on overlapping scopes in every order, and a reader who only remembers the last number it saw:
/// with a plain sequence it would lose about half (see `feed::write`), here nothing.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_reader_who_remembers_the_last_number_loses_nothing() {
    const WRITERS: usize = 12;
    const COMMITS: usize = 40;
    let house = House::new().await;
    let scopes = [
        house.depot().await,
        house.depot().await,
        house.depot().await,
    ];
    let mut starts = BTreeMap::new();
    for scope in scopes.into_iter().chain([house.org_id()]) {
        starts.insert(scope, house.scope(scope).await.0);
    }
    let done = AtomicBool::new(false);
    let writer = async |number: usize| {
        let mut written = Vec::new();
        for commit in 0..COMMITS {
            let (first, second) = (
                scopes[(number + commit) % 3],
                scopes[(number * 2 + commit) % 3],
            );
            let id = Uuid::now_v7();
            feed::write(
                &house.database,
                &house.tenant,
                &[first, second],
                async |tx| {
                    tx.publish(
                        first,
                        kind::UNIT,
                        id,
                        1,
                        &json!({"by": number, "commit": commit}),
                    )?;
                    tx.publish(
                        second,
                        kind::UNIT,
                        id,
                        1,
                        &json!({"by": number, "commit": commit}),
                    )
                },
            )
            .await
            .expect("written");
            written.extend([(first, id), (second, id)]);
        }
        written
    };
    let reader = async || {
        let mut seen = BTreeSet::new();
        let mut heads = starts.clone();
        loop {
            let last_look = done.load(Ordering::SeqCst);
            let pull = feed::Pull {
                epoch: Some(
                    house
                        .database
                        .read(&house.tenant, async |tx| feed::epoch(tx).await)
                        .await
                        .expect("epoch"),
                ),
                scopes: heads
                    .iter()
                    .map(|(scope_id, head)| feed::Cursor {
                        scope_id: *scope_id,
                        cursor: *head,
                    })
                    .collect(),
                limit: Some(20),
            };
            let page = house
                .database
                .read(&house.tenant, async |tx| feed::pull(tx, &pull).await)
                .await
                .expect("pulled");
            for part in page.scopes {
                let head = heads.get_mut(&part.scope_id).expect("known");
                assert!(!part.reset && !part.new);
                let mut last = *head;
                for entry in part.entries {
                    assert!(
                        entry.seq == last || entry.seq == last + 1,
                        "dense: {} after {last}",
                        entry.seq
                    );
                    last = entry.seq;
                    seen.insert((part.scope_id, entry.id));
                }
                *head = part.cursor;
            }
            if last_look && !page.more {
                return (seen, heads);
            }
        }
    };
    let writers = async {
        let written = futures::future::join_all((0..WRITERS).map(writer)).await;
        done.store(true, Ordering::SeqCst);
        written.into_iter().flatten().collect::<BTreeSet<_>>()
    };
    let (written, (seen, heads)) = tokio::join!(writers, reader());
    assert_eq!(seen, written);
    for scope in scopes {
        let (head, digest, recomputed) = house.scope(scope).await;
        assert_eq!(head, heads[&scope]);
        assert_eq!(digest, recomputed);
    }
}

/// Two writers that take rows of their own in opposite order deadlock; Postgres ends one, and it runs again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_deadlock_is_tried_again() {
    let house = House::new().await;
    let (one, two) = (house.depot().await, house.depot().await);
    let runs = AtomicU32::new(0);
    let both_hold_one = tokio::sync::Barrier::new(2);
    let first_run = [AtomicBool::new(true), AtomicBool::new(true)];
    let rename = async |tx: &feed::Write<'_>, depot: Uuid| -> Result<(), Error> {
        use diesel::prelude::*;
        use diesel_async::RunQueryDsl;
        use rimeyard_store::schema::depot::dsl;
        diesel::update(dsl::depot.find((tx.org_id(), depot)))
            .set(dsl::rev.eq(dsl::rev + 1))
            .execute(&mut tx.connection())
            .await?;
        Ok(())
    };
    let writer = async |number: usize, first: Uuid, second: Uuid| {
        feed::write(&house.database, &house.tenant, &[], async |tx| {
            runs.fetch_add(1, Ordering::SeqCst);
            rename(tx, first).await?;
            if first_run[number].swap(false, Ordering::SeqCst) {
                both_hold_one.wait().await;
            }
            rename(tx, second).await
        })
        .await
    };
    let (left, right) = tokio::join!(writer(0, one, two), writer(1, two, one));
    left.expect("written");
    right.expect("written");
    // Three, or more when the one that was ended takes its first row again before the other wakes.
    assert!(runs.load(Ordering::SeqCst) >= 3, "one of the two ran again");
}

/// A client that goes away drops its request anywhere; the next user of the connection must not inherit a transaction.
#[tokio::test]
async fn a_dropped_write_leaves_nothing_behind() {
    let house = House::new().await;
    let depot = house.depot().await;
    let head = house.scope(depot).await.0;
    for _ in 0..20 {
        let entered = tokio::sync::Notify::new();
        let scopes = [depot];
        let work = feed::write(&house.database, &house.tenant, &scopes, async |tx| {
            tx.publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))?;
            entered.notify_one();
            std::future::pending::<()>().await;
            Ok(())
        });
        tokio::select! {
            _ = work => unreachable!("it never ends"),
            () = entered.notified() => {}
        }
    }
    house
        .publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))
        .await;
    assert_eq!(house.scope(depot).await.0, head + 1);
}

#[tokio::test]
async fn reads_cannot_write_and_see_one_instant() {
    use diesel_async::RunQueryDsl;
    let house = House::new().await;
    let depot = house.depot().await;
    let refused = house
        .database
        .read(&house.tenant, async |tx| {
            diesel::sql_query("update depot set name = 'changed'")
                .execute(&mut tx.connection())
                .await?;
            Ok(())
        })
        .await;
    assert!(refused.is_err());
    house
        .database
        .read(&house.tenant, async |tx| {
            let before = feed::heads(tx)
                .await?
                .into_iter()
                .find(|head| head.scope_id == depot)
                .expect("granted")
                .head;
            house
                .publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))
                .await;
            let after = feed::heads(tx)
                .await?
                .into_iter()
                .find(|head| head.scope_id == depot)
                .expect("granted")
                .head;
            assert_eq!(before, after);
            Ok(())
        })
        .await
        .expect("read");
}

#[tokio::test]
async fn the_audit_names_who_and_for_which_request() {
    let house = House::new().await;
    let depot = house.depot().await;
    let request_id = Uuid::now_v7();
    let tenant = Tenant {
        request_id: Some(request_id),
        ..house.tenant.clone()
    };
    let unit = Uuid::now_v7();
    feed::write(&house.database, &tenant, &[depot], async |tx| {
        tx.audit(
            depot,
            "update",
            kind::UNIT,
            unit,
            json!({"tag": {"from": "a", "to": "b"}}),
        );
        Ok(())
    })
    .await
    .expect("written");
    let row = owner(&house.name)
        .await
        .query_one("select action, object_kind, scope_id, request_id, detail::text from audit where object_id = $1", &[&unit])
        .await
        .expect("audited");
    assert_eq!(row.get::<_, &str>(0), "update");
    assert_eq!(row.get::<_, &str>(1), "unit");
    assert_eq!(row.get::<_, Uuid>(2), depot);
    assert_eq!(row.get::<_, Option<Uuid>>(3), Some(request_id));
    assert_eq!(
        row.get::<_, &str>(4),
        r#"{"tag": {"to": "b", "from": "a"}}"#
    );
}
