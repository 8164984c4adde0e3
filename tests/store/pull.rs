//! What readers get: pages of whole commits, resets, grants that come and go.

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_store::feed::{self, Cursor, Page, Pull, kind};
use rimeyard_store::sweep::sweep;
use rimeyard_store::{Depots, Error, Tenant};
use serde_json::json;
use uuid::Uuid;

use super::{House, owner};

/// A phone: what it holds, per scope.
#[derive(Default)]
struct Phone {
    epoch: Option<String>,
    scopes: BTreeMap<Uuid, Held>,
    resets: u32,
}

#[derive(Default)]
struct Held {
    cursor: i64,
    /// By kind and id: rev and check.
    objects: BTreeMap<(String, Uuid), (i64, String)>,
}

impl Phone {
    /// Pulls until there is no more, as a client does, and compares digests at the end. Answers with the pages.
    async fn sync(&mut self, house: &House, tenant: &Tenant, limit: u32) -> Vec<Page> {
        let mut pages = Vec::new();
        loop {
            let pull = Pull {
                epoch: self.epoch.clone(),
                scopes: self
                    .scopes
                    .iter()
                    .map(|(id, held)| Cursor {
                        scope_id: *id,
                        cursor: held.cursor,
                    })
                    .collect(),
                limit: Some(limit),
            };
            let page = house
                .database
                .read(tenant, async |tx| feed::pull(tx, &pull).await)
                .await
                .expect("pulled");
            self.epoch = Some(page.epoch.clone());
            for gone in &page.revoked {
                self.scopes.remove(gone);
            }
            for scope in &page.scopes {
                assert_eq!(scope.new, !self.scopes.contains_key(&scope.scope_id));
                let held = self.scopes.entry(scope.scope_id).or_default();
                if scope.reset {
                    held.objects.clear();
                    self.resets += 1;
                }
                for entry in &scope.entries {
                    let key = (entry.kind.clone(), entry.id);
                    let doc = feed::hex(feed::check(
                        &entry.kind,
                        entry.id,
                        entry.rev,
                        entry.doc.get(),
                    ));
                    assert_eq!(doc, entry.check, "the document arrived as it was written");
                    if entry.deleted {
                        held.objects.remove(&key);
                    } else {
                        held.objects.insert(key, (entry.rev, entry.check.clone()));
                    }
                }
                held.cursor = scope.cursor;
                if scope.cursor == scope.head {
                    assert_eq!(
                        held.digest(),
                        scope.digest,
                        "at rest the phone equals the server"
                    );
                }
            }
            let more = page.more;
            pages.push(page);
            if !more {
                return pages;
            }
        }
    }
}

impl Held {
    fn digest(&self) -> String {
        let checks = self
            .objects
            .values()
            .map(|(_, check)| u64::from_str_radix(check, 16).expect("16 hex digits"));
        format!("{:016x}", checks.fold(0, |digest, check| digest ^ check))
    }
}

/// Publishes `count` units in one commit.
async fn commit(house: &House, scope: Uuid, count: usize) -> Vec<Uuid> {
    let ids: Vec<Uuid> = (0..count).map(|_| Uuid::now_v7()).collect();
    feed::write(&house.database, &house.tenant, &[scope], async |tx| {
        for id in &ids {
            tx.publish(scope, kind::UNIT, *id, 1, &json!({"id": id}))?;
        }
        Ok(())
    })
    .await
    .expect("published");
    ids
}

async fn ask(house: &House, pull: Pull) -> Result<Page, Error> {
    house
        .database
        .read(&house.tenant, async |tx| feed::pull(tx, &pull).await)
        .await
}

#[tokio::test]
async fn pages_hold_whole_commits_and_advance_over_what_they_hold() {
    let house = House::new().await;
    let (one, two) = (house.depot().await, house.depot().await);
    for count in [3, 5, 2, 30, 1] {
        commit(&house, one, count).await;
        commit(&house, two, count).await;
    }
    for limit in [1, 4, 7, 29, 2_000] {
        let mut phone = Phone::default();
        let pages = phone.sync(&house, &house.tenant, limit).await;
        for page in &pages {
            let mut commits: BTreeMap<(Uuid, i64), usize> = BTreeMap::new();
            for scope in &page.scopes {
                for entry in &scope.entries {
                    *commits.entry((scope.scope_id, entry.seq)).or_default() += 1;
                }
            }
            let entries: usize = commits.values().sum();
            assert!(
                entries <= limit as usize || commits.len() == 1,
                "limit {limit}: {entries} entries in {} commits",
                commits.len()
            );
        }
        let mut whole: BTreeSet<(Uuid, i64)> = BTreeSet::new();
        for entry in pages
            .iter()
            .flat_map(|page| &page.scopes)
            .flat_map(|scope| {
                scope
                    .entries
                    .iter()
                    .map(move |entry| (scope.scope_id, entry.seq))
            })
            .collect::<BTreeSet<_>>()
        {
            assert!(whole.insert(entry), "a commit came in one page only");
        }
        let units: usize = phone
            .scopes
            .values()
            .map(|held| {
                held.objects
                    .keys()
                    .filter(|(kind, _)| kind == kind::UNIT)
                    .count()
            })
            .sum();
        assert_eq!(units, 2 * 41, "limit {limit}");
        let quiet = phone.sync(&house, &house.tenant, limit).await;
        assert!(
            quiet
                .iter()
                .flat_map(|page| &page.scopes)
                .all(|scope| scope.entries.is_empty()),
            "nothing twice"
        );
    }
}

/// A page ends before 4 MiB of documents, whatever the limit says.
#[tokio::test]
async fn a_page_is_bounded_in_bytes() {
    let house = House::new().await;
    let depot = house.depot().await;
    let text = "x".repeat(60 * 1024);
    for _ in 0..8 {
        feed::write(&house.database, &house.tenant, &[depot], async |tx| {
            (0..16).try_for_each(|_| tx.publish(depot, kind::UNIT, Uuid::now_v7(), 1, &text))
        })
        .await
        .expect("published");
    }
    let mut phone = Phone::default();
    let pages = phone.sync(&house, &house.tenant, 2_000).await;
    let bytes = |page: &Page| {
        page.scopes
            .iter()
            .flat_map(|scope| &scope.entries)
            .map(|entry| entry.doc.get().len())
            .sum::<usize>()
    };
    assert!(pages.len() >= 2, "{} pages", pages.len());
    assert!(pages.iter().all(|page| bytes(page) <= 4 * 1024 * 1024));
    assert_eq!(phone.scopes[&depot].objects.len(), 8 * 16 + 1);
}

/// Postgres stops when the page is full: places come in order, so it need not read and sort what all scopes lack. It
/// counts what it reads itself.
#[tokio::test]
async fn a_page_does_not_read_every_scope() {
    let house = House::new().await;
    for _ in 0..40 {
        let depot = house.depot().await;
        for _ in 0..3 {
            commit(&house, depot, 10).await;
        }
    }
    let pull = Pull {
        epoch: None,
        scopes: vec![],
        limit: Some(50),
    };
    // The count goes on from whatever the connection did before.
    let counted = async |tx: &rimeyard_store::Tx<'_>| {
        let read = diesel::sql_query(
            "select seq_tup_read + coalesce(idx_tup_fetch, 0) as read from pg_stat_xact_user_tables where relname = 'feed_entry'",
        );
        let read = diesel_async::RunQueryDsl::get_result::<Read>(read, &mut tx.connection());
        Ok::<_, Error>(read.await?.read)
    };
    let (page, read) = house
        .database
        .read(&house.tenant, async |tx| {
            let before = counted(tx).await?;
            let page = feed::pull(tx, &pull).await?;
            Ok((page, counted(tx).await? - before))
        })
        .await
        .expect("pulled");
    let held: usize = page.scopes.iter().map(|scope| scope.entries.len()).sum();
    assert!((41..=50).contains(&held) && page.more, "{held}");
    assert!(
        read < 620,
        "{read} of 1,240 rows for a page of {held}: no more than the longest commit has"
    );
}

#[derive(diesel::QueryableByName)]
struct Read {
    #[diesel(sql_type = diesel::sql_types::BigInt)]
    read: i64,
}

#[tokio::test]
async fn a_new_reader_gets_no_tombstones_and_an_old_one_does() {
    let house = House::new().await;
    let depot = house.depot().await;
    let ids = commit(&house, depot, 4).await;
    let mut old = Phone::default();
    old.sync(&house, &house.tenant, 500).await;
    feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        tx.remove(depot, kind::UNIT, ids[0], 2)
    })
    .await
    .expect("removed");
    let deleted = |pages: &[Page]| {
        pages
            .iter()
            .flat_map(|page| &page.scopes)
            .flat_map(|scope| &scope.entries)
            .filter(|entry| entry.deleted)
            .count()
    };
    assert_eq!(deleted(&old.sync(&house, &house.tenant, 500).await), 1);
    let mut new = Phone::default();
    assert_eq!(deleted(&new.sync(&house, &house.tenant, 500).await), 0);
    assert_eq!(old.scopes[&depot].objects, new.scopes[&depot].objects);
}

#[tokio::test]
async fn a_moved_unit_leaves_one_scope_and_arrives_in_the_other() {
    let house = House::new().await;
    let (from, to) = (house.depot().await, house.depot().await);
    let unit = commit(&house, from, 1).await[0];
    let mut phone = Phone::default();
    phone.sync(&house, &house.tenant, 500).await;
    feed::write(&house.database, &house.tenant, &[from, to], async |tx| {
        tx.moved(from, kind::UNIT, unit, 2)?;
        tx.publish(
            to,
            kind::UNIT,
            unit,
            2,
            &json!({"id": unit, "depot_id": to}),
        )
    })
    .await
    .expect("moved");
    let pages = phone.sync(&house, &house.tenant, 500).await;
    let left = pages[0]
        .scopes
        .iter()
        .find(|scope| scope.scope_id == from)
        .expect("granted");
    assert_eq!(left.entries[0].doc.get(), r#"{"moved":true}"#);
    let key = (kind::UNIT.to_owned(), unit);
    assert!(!phone.scopes[&from].objects.contains_key(&key));
    assert!(phone.scopes[&to].objects.contains_key(&key));
}

#[tokio::test]
async fn grants_come_and_go() {
    let house = House::new().await;
    let (one, two) = (house.depot().await, house.depot().await);
    let foreign = {
        let other = house.other().await;
        other.depot().await
    };
    let granted = |depots: &[Uuid]| Tenant {
        depots: Depots::Some(depots.iter().copied().collect()),
        ..house.tenant.clone()
    };
    let mut phone = Phone::default();
    phone.sync(&house, &granted(&[one]), 500).await;
    assert_eq!(
        phone.scopes.keys().copied().collect::<BTreeSet<_>>(),
        [house.org_id(), one].into()
    );
    let pages = phone.sync(&house, &granted(&[two]), 500).await;
    assert_eq!(pages[0].revoked, [one]);
    assert_eq!(
        phone.scopes.keys().copied().collect::<BTreeSet<_>>(),
        [house.org_id(), two].into()
    );
    // Another organisation's depot, even if named and granted by mistake, is like one that does not exist.
    phone.scopes.insert(foreign, Held::default());
    let pages = phone.sync(&house, &granted(&[two, foreign]), 500).await;
    assert_eq!(pages[0].revoked, [foreign]);
}

#[tokio::test]
async fn a_reader_from_another_past_is_reset_loudly() {
    let house = House::new().await;
    let depot = house.depot().await;
    commit(&house, depot, 3).await;
    let mut phone = Phone::default();
    phone.sync(&house, &house.tenant, 500).await;
    let epoch = phone.epoch.clone().expect("told");

    // Ahead of the head: a backup was restored and nobody said so.
    phone.scopes.get_mut(&depot).expect("held").cursor += 5;
    phone.sync(&house, &house.tenant, 500).await;
    assert_eq!(phone.resets, 1, "that scope only");

    // Below the floor: the tombstones it lacks are gone.
    for _ in 0..3 {
        commit(&house, depot, 1).await;
    }
    let client = owner(&house.name).await;
    client
        .execute(
            "update feed_scope set floor = head where scope_id = $1",
            &[&depot],
        )
        .await
        .expect("forgotten");
    phone.sync(&house, &house.tenant, 500).await;
    assert_eq!(phone.resets, 2);

    // The operator's counter: every scope with a cursor.
    client
        .execute("update installation set counter = counter + 1", &[])
        .await
        .expect("raised");
    phone.sync(&house, &house.tenant, 500).await;
    let with_entries = phone.scopes.values().filter(|held| held.cursor > 0).count() as u32;
    assert_eq!(phone.resets, 2 + with_entries);
    assert_ne!(phone.epoch.as_ref(), Some(&epoch));
    // A clone of the database is another database.
    let elsewhere = House::new().await;
    let other = elsewhere
        .database
        .read(&elsewhere.tenant, async |tx| feed::epoch(tx).await)
        .await
        .expect("told");
    assert_ne!(other, epoch);
}

#[tokio::test]
async fn wrong_questions_are_told_what_is_wrong() {
    let house = House::new().await;
    let depot = house.depot().await;
    let epoch = Some("of old".to_owned());
    let cursor = |cursor| Cursor {
        scope_id: depot,
        cursor,
    };
    for (pull, field) in [
        (
            Pull {
                epoch: None,
                scopes: vec![],
                limit: Some(0),
            },
            "limit",
        ),
        (
            Pull {
                epoch: None,
                scopes: vec![],
                limit: Some(feed::LIMIT_MAX + 1),
            },
            "limit",
        ),
        (
            Pull {
                epoch: None,
                scopes: vec![cursor(-1)],
                limit: None,
            },
            "epoch",
        ),
        (
            Pull {
                epoch: None,
                scopes: vec![cursor(1)],
                limit: None,
            },
            "epoch",
        ),
        (
            Pull {
                epoch,
                scopes: vec![cursor(0), cursor(1)],
                limit: None,
            },
            "scopes[1].scope_id",
        ),
    ] {
        match ask(&house, pull).await {
            Err(Error::Invalid { field: told, .. }) => assert_eq!(told, field),
            other => panic!("{field}: {other:?}"),
        }
    }
}

#[tokio::test]
async fn old_tombstones_are_swept_and_who_lacks_them_reads_anew() {
    let house = House::new().await;
    let depot = house.depot().await;
    let ids = commit(&house, depot, 4).await;
    let (mut old, mut current) = (Phone::default(), Phone::default());
    old.sync(&house, &house.tenant, 500).await;
    feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        tx.remove(depot, kind::UNIT, ids[0], 2)?;
        tx.remove(depot, kind::UNIT, ids[1], 2)
    })
    .await
    .expect("removed");
    let owner = owner(&house.name).await;
    let age = async |id: Uuid, days: i32| {
        let at =
            "update feed_entry set at = now() - make_interval(days => $2) where object_id = $1";
        owner.execute(at, &[&id, &days]).await.expect("aged");
    };
    age(ids[0], 401).await;
    age(ids[1], 399).await;
    // Living entries are as old as they like.
    age(ids[2], 4_000).await;
    current.sync(&house, &house.tenant, 500).await;

    let swept = sweep(&house.database, 100).await.expect("swept");
    assert_eq!(swept.tombstones, 1);
    let left = "select count(*) from feed_entry where scope_id = $1 and object_id = any($2)";
    let left: i64 = owner
        .query_one(left, &[&depot, &ids])
        .await
        .expect("counted")
        .get(0);
    assert_eq!(left, 3);
    // Who has seen it goes on; who has not is told so; whoever is new reads to the end page by page and is not.
    commit(&house, depot, 3).await;
    current.sync(&house, &house.tenant, 500).await;
    assert_eq!(current.resets, 0);
    old.sync(&house, &house.tenant, 500).await;
    assert_eq!(old.resets, 1);
    let mut new = Phone::default();
    assert!(new.sync(&house, &house.tenant, 2).await.len() > 2);
    assert_eq!(new.resets, 0);
    for phone in [&old, &current, &new] {
        assert_eq!(phone.scopes[&depot].digest(), new.scopes[&depot].digest());
    }
}
