//! One object for every path parameter of the document, made once: what the tests stand on that try each operation many
//! times and change nothing.

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_harness::{Actor, Depot, TestServer};

use super::examples::{Example, example};
use super::operations::{Operation, filled};

/// Of every path parameter an object of ours at Home, at Far, and at the other organisation's Home.
pub struct Everywhere {
    pub home: Objects,
    pub far: Objects,
    pub foreign: Objects,
}

/// Those of one depot, by the name of the path parameter.
pub struct Objects(BTreeMap<String, Example>);

impl Everywhere {
    /// Makes them. A worker works meanwhile, and not any more afterwards: then only requests change anything.
    pub async fn make(server: &TestServer, operations: &[Operation]) -> Self {
        let (ours, theirs) = (server.world.ours, server.world.theirs);
        let us = server.administrator().await;
        let them = server.foreign_administrator().await;
        server
            .with_worker(async || Self {
                home: Objects::make(operations, &us, &ours.home).await,
                far: Objects::make(operations, &us, &ours.far).await,
                foreign: Objects::make(operations, &them, &theirs.home).await,
            })
            .await
    }
}

impl Objects {
    /// Makes them at this depot; some take a worker.
    pub async fn make(operations: &[Operation], administrator: &Actor, depot: &Depot) -> Self {
        let names: BTreeSet<&String> = operations.iter().flat_map(|o| &o.parameters).collect();
        let mut objects = BTreeMap::new();
        for name in names {
            let made = example(name, administrator, depot).await;
            objects.insert(name.clone(), made);
        }
        Self(objects)
    }

    /// The object for this path parameter.
    pub fn named(&self, parameter: &str) -> &Example {
        &self.0[parameter]
    }

    /// The operation's path with these objects in it.
    pub fn path(&self, operation: &Operation) -> String {
        let values = operation.parameters.iter().map(|name| self.named(name));
        let values: Vec<String> = values.map(|object| object.value.clone()).collect();
        filled(operation, &values)
    }

    /// The same with an object of these others in place of one of them.
    pub fn path_but(&self, operation: &Operation, index: usize, others: &Objects) -> String {
        let values: Vec<String> = operation
            .parameters
            .iter()
            .enumerate()
            .map(|(at, name)| {
                let from = if at == index { others } else { self };
                from.named(name).value.clone()
            })
            .collect();
        filled(operation, &values)
    }
}
