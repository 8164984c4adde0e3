//! A phone with a key pair of its own, as it comes to the server.

use jsonwebtoken::jwk::{Jwk, ThumbprintHash};
use jsonwebtoken::{Algorithm, EncodingKey, Header, encode};
use reqwest::Method;
use rimeyard_harness::{Actor, Answer};
use serde_json::{Value, json};
use uuid::Uuid;

/// PKCS #8 of an Ed25519 private key, but for its 32 bytes (RFC 8410, section 7).
const PKCS8: [u8; 16] = [
    0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20,
];

/// A phone.
pub struct Phone {
    key: EncodingKey,
    jwk: Jwk,
}

/// What a proof says of the request that it is for.
#[derive(Clone)]
pub struct Told {
    pub typ: &'static str,
    pub method: String,
    pub address: String,
    pub made_at_s: i64,
    pub jti: String,
}

impl Phone {
    /// One with a new key.
    pub fn new() -> Self {
        let private = [&PKCS8[..], &rand::random::<[u8; 32]>()].concat();
        let key = EncodingKey::from_ed_der(&private);
        let jwk = Jwk::from_encoding_key(&key, Algorithm::EdDSA).expect("a public key");
        Phone { key, jwk }
    }

    /// Its key's name.
    pub fn thumbprint(&self) -> String {
        self.jwk.thumbprint(ThumbprintHash::SHA256).expect("a key")
    }

    /// What a good proof says for a POST to this path.
    pub fn told(anyone: &Actor, path: &str) -> Told {
        let url = anyone
            .request(Method::POST, path)
            .build()
            .expect("a request");
        Told {
            typ: "dpop+jwt",
            method: "POST".to_owned(),
            address: url.url().to_string(),
            made_at_s: jiff::Timestamp::now().as_second(),
            jti: Uuid::now_v7().to_string(),
        }
    }

    /// A proof that says this.
    pub fn proof(&self, told: &Told) -> String {
        let header = Header {
            typ: Some(told.typ.to_owned()),
            jwk: Some(self.jwk.clone()),
            ..Header::new(Algorithm::EdDSA)
        };
        let claims = json!({
            "jti": told.jti, "htm": told.method, "htu": told.address, "iat": told.made_at_s,
        });
        encode(&header, &claims, &self.key).expect("signed")
    }

    /// Posts with a good proof.
    pub async fn post(&self, anyone: &Actor, path: &str, body: &Value) -> Answer {
        let proof = self.proof(&Self::told(anyone, path));
        let request = anyone.request(Method::POST, path);
        Answer::of(request.header("DPoP", proof).json(body)).await
    }

    /// Comes with a code.
    pub async fn enrol(&self, anyone: &Actor, code: &str) -> Answer {
        let body = json!({"code": code, "name": "Yellow phone"});
        self.post(anyone, "/v1/devices", &body).await
    }

    /// Goes on with its session.
    pub async fn refresh(&self, anyone: &Actor, tokens: &Value, operator: Option<&str>) -> Answer {
        let mut body = json!({"refresh_token": tokens["refresh_token"]});
        if let Some(operator) = operator {
            body["operator_id"] = json!(operator);
        }
        self.post(anyone, "/v1/sign-in/refresh", &body).await
    }
}

/// The letters of a new code, made by this lead for this phone.
pub async fn code(lead: &Actor, of: Value) -> String {
    let made = lead.post("/v1/device-codes", &of).await.expect(201).json();
    made["code"].as_str().expect("letters").to_owned()
}
