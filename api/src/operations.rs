//! The document, read back: for each address its methods, who may call them and which query parameters they know.

use std::collections::{BTreeSet, HashMap};

use actix_web::http::Method;
use rimeyard_store::Role;
use rimeyard_store::access_key::Writes;
use utoipa::openapi::path::{Operation, ParameterIn};
use utoipa::openapi::{OpenApi, RefOr};

use crate::document::{X_ROLES, operations};
use crate::page;

/// Every documented operation.
pub struct Operations(HashMap<String, Address>);

struct Address {
    methods: HashMap<Method, Known>,
    allow: String,
}

/// What the document says of one operation.
pub struct Known {
    /// Its operationId.
    pub id: String,
    /// Who may call it; `None` is anyone, signed in or not.
    pub roles: Option<BTreeSet<Role>>,
    /// What a depot system writes by it, where only keys that name it may.
    pub writes: Option<Writes>,
    /// The names of its query parameters.
    pub query: BTreeSet<String>,
    /// Whether it is a page: signed in by a cookie, its problems are pages too.
    pub page: bool,
}

/// What stands at an address.
pub enum Lookup<'a> {
    /// This operation.
    Found(&'a Known),
    /// Operations, but none of this method. The methods there are, separated by commas.
    OtherMethods(&'a str),
    /// None.
    Undocumented,
}

impl Operations {
    /// Reads a completed document.
    pub fn new(document: &OpenApi) -> Self {
        let addresses = document.paths.paths.iter().map(|(path, item)| {
            let methods: HashMap<Method, Known> = operations(item)
                .filter_map(|(method, operation)| {
                    let method: Method = method.parse().ok()?;
                    let known = Known::new(&method, operation);
                    Some((method, known))
                })
                .collect();
            let mut allow: Vec<&str> = methods.keys().map(Method::as_str).collect();
            if methods.contains_key(&Method::GET) {
                allow.push("HEAD");
            }
            allow.sort_unstable();
            let allow = allow.join(", ");
            (path.clone(), Address { methods, allow })
        });
        Self(addresses.collect())
    }

    /// Whether a page stands at an address, given as in the document.
    pub fn is_page(&self, pattern: &str) -> bool {
        let address = self.0.get(pattern);
        address.is_some_and(|address| address.methods.values().any(|known| known.page))
    }

    /// The operation at an address, given as in the document (`/v1/depots/{depot_id}`).
    pub fn lookup(&self, pattern: &str, method: &Method) -> Lookup<'_> {
        match self.0.get(pattern) {
            None => Lookup::Undocumented,
            Some(address) => match address.methods.get(method) {
                Some(known) => Lookup::Found(known),
                None => Lookup::OtherMethods(&address.allow),
            },
        }
    }
}

impl Known {
    fn new(method: &Method, operation: &Operation) -> Self {
        let roles = operation
            .extensions
            .as_ref()
            .and_then(|extensions| extensions.get(X_ROLES))
            .map(|roles| {
                let names = roles
                    .as_array()
                    .into_iter()
                    .flatten()
                    .filter_map(|role| role.as_str());
                names.filter_map(|name| name.parse().ok()).collect()
            });
        let parameters = operation.parameters.iter().flatten();
        let query = parameters.filter_map(|parameter| match parameter {
            RefOr::T(parameter) if parameter.parameter_in == ParameterIn::Query => {
                Some(parameter.name.clone())
            }
            _ => None,
        });
        // Its tag is the noun that a key names.
        let tag = operation.tags.iter().flatten().next();
        let noun = tag.filter(|_| method != Method::GET).cloned();
        let writes = noun.and_then(|noun| serde_json::from_value(noun.into()).ok());
        Self {
            id: operation.operation_id.clone().unwrap_or_default(),
            roles,
            writes,
            query: query.collect(),
            page: operation.tags.iter().flatten().any(|tag| tag == page::TAG),
        }
    }
}
