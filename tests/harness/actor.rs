//! Someone who speaks to the server.

use std::net::SocketAddr;

use reqwest::header::HeaderMap;
use reqwest::{Client, Method, RequestBuilder};
use serde_json::{Value, json};

use crate::world::PASSWORD;

/// The HTTP client of every test: straight to the server, redirects left alone.
///
/// # Panics
/// When there is no making it.
pub fn client() -> Client {
    // reqwest wants some TLS wherever the build has any; here all is plain. Installed already is as well.
    let _ = rustls::crypto::ring::default_provider().install_default();
    Client::builder()
        .no_proxy()
        .redirect(reqwest::redirect::Policy::none())
        .build()
        .expect("a client")
}

/// Someone with or without a token.
#[derive(Clone)]
pub struct Actor {
    client: Client,
    base: String,
    token: Option<String>,
}

impl Actor {
    /// Someone who speaks to the server there.
    pub fn new(address: SocketAddr, token: Option<String>) -> Self {
        Self {
            client: client(),
            base: format!("http://{address}"),
            token,
        }
    }

    /// The same, signed in with this address and everyone's password.
    pub async fn signed_in(&self, email: &str) -> Self {
        let body = json!({"email": email, "password": PASSWORD});
        let tokens = self.post("/v1/sign-in", &body).await.expect(200).json();
        self.with_token(tokens["access_token"].as_str().expect("an access token"))
    }

    /// The same with this token.
    pub fn with_token(&self, token: &str) -> Self {
        Self {
            token: Some(token.to_owned()),
            ..self.clone()
        }
    }

    /// The token.
    pub fn token(&self) -> &str {
        self.token.as_deref().expect("signed in")
    }

    /// A request, to be given more headers or another body.
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.client.request(method, format!("{}{path}", self.base));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    /// GET.
    pub async fn get(&self, path: &str) -> Answer {
        Answer::of(self.request(Method::GET, path)).await
    }

    /// POST with a JSON body.
    pub async fn post(&self, path: &str, body: &Value) -> Answer {
        Answer::of(self.request(Method::POST, path).json(body)).await
    }

    /// POST with a table as its body.
    pub async fn post_table(&self, path: &str, table: impl Into<reqwest::Body>) -> Answer {
        let request = self
            .request(Method::POST, path)
            .header("Content-Type", "text/csv")
            .body(table);
        Answer::of(request).await
    }

    /// PATCH with a JSON body, of the version with this ETag.
    pub async fn patch(&self, path: &str, etag: &str, body: &Value) -> Answer {
        Answer::of(
            self.request(Method::PATCH, path)
                .header("If-Match", etag)
                .json(body),
        )
        .await
    }
}

/// What came back.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The body.
    pub body: String,
}

impl Answer {
    /// Sends the request.
    pub async fn of(request: RequestBuilder) -> Self {
        let answer = request.send().await.expect("the server answers");
        let (status, headers) = (answer.status().as_u16(), answer.headers().clone());
        Self {
            status,
            headers,
            body: answer.text().await.expect("a body in UTF-8"),
        }
    }

    /// Itself, if it has this status.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.body);
        self
    }

    /// The body as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body)
            .unwrap_or_else(|error| panic!("{error} in {:?}", self.body))
    }

    /// A header, or "".
    pub fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .and_then(|value| value.to_str().ok())
            .unwrap_or_default()
    }

    /// The ETag.
    #[track_caller]
    pub fn etag(&self) -> String {
        let etag = self.header("etag");
        assert!(
            etag.starts_with('"') && etag.ends_with('"') && etag.len() > 2,
            "a strong ETag, not {etag:?}"
        );
        etag.to_owned()
    }

    /// The `id` in the body.
    #[track_caller]
    pub fn id(&self) -> String {
        self.json()["id"]
            .as_str()
            .unwrap_or_else(|| panic!("an id in {}", self.body))
            .to_owned()
    }

    /// Checks that it is a whole problem of this status (RFC 9457), and answers with the fields it names.
    #[track_caller]
    pub fn problem(&self, status: u16) -> Vec<String> {
        assert_eq!(self.status, status, "{}", self.body);
        assert_eq!(
            self.header("content-type"),
            "application/problem+json",
            "{}",
            self.body
        );
        let body = self.json();
        assert_eq!(body["type"], "about:blank");
        assert_eq!(body["status"], status);
        assert!(
            body["title"]
                .as_str()
                .is_some_and(|title| !title.is_empty()),
            "{body}"
        );
        assert!(
            body["detail"]
                .as_str()
                .is_some_and(|detail| !detail.is_empty()),
            "{body}"
        );
        let errors = body["errors"]
            .as_array()
            .unwrap_or_else(|| panic!("errors in {body}"));
        let field = |error: &Value| {
            assert!(
                error["problem"]
                    .as_str()
                    .is_some_and(|problem| !problem.is_empty()),
                "{body}"
            );
            error["field"]
                .as_str()
                .unwrap_or_else(|| panic!("a field in {error}"))
                .to_owned()
        };
        errors.iter().map(field).collect()
    }
}
