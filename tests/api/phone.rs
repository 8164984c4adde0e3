//! A phone with a key pair of its own, as it comes to the server.

use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use jsonwebtoken::jwk::{Jwk, ThumbprintHash};
use jsonwebtoken::{Algorithm, EncodingKey, crypto};
use reqwest::Method;
use rimeyard_harness::{Actor, Answer};
use serde_json::{Value, json};
use uuid::Uuid;

/// PKCS #8 of an Ed25519 private key, but for its 32 bytes (RFC 8410, section 7).
const ED25519: [u8; 16] = [
    0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20,
];
/// The same of a P-256 private key, without the public one (RFC 5915, section 3).
const P256: [u8; 35] = [
    0x30, 0x41, 0x02, 0x01, 0x00, 0x30, 0x13, 0x06, 0x07, 0x2a, 0x86, 0x48, 0xce, 0x3d, 0x02, 0x01,
    0x06, 0x08, 0x2a, 0x86, 0x48, 0xce, 0x3d, 0x03, 0x01, 0x07, 0x04, 0x27, 0x30, 0x25, 0x02, 0x01,
    0x01, 0x04, 0x20,
];

/// A phone.
pub struct Phone {
    key: EncodingKey,
    jwk: Jwk,
    algorithm: Algorithm,
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
    /// One with a new key of Ed25519.
    pub fn new() -> Self {
        let private = [&ED25519[..], &rand::random::<[u8; 32]>()].concat();
        Self::with(EncodingKey::from_ed_der(&private), Algorithm::EdDSA)
    }

    /// One with this key of P-256, the curve that the secure parts of most phones have.
    pub fn of_p256(private: &[u8; 32]) -> Self {
        let private = [&P256[..], private].concat();
        Self::with(EncodingKey::from_ec_der(&private), Algorithm::ES256)
    }

    fn with(key: EncodingKey, algorithm: Algorithm) -> Self {
        let jwk = Jwk::from_encoding_key(&key, algorithm).expect("a public key");
        Phone {
            key,
            jwk,
            algorithm,
        }
    }

    /// Its public key (RFC 7517).
    pub fn jwk(&self) -> Value {
        let mut jwk = json!(self.jwk);
        let fields = jwk.as_object_mut().expect("an object");
        fields.retain(|name, _| matches!(name.as_str(), "kty" | "crv" | "x" | "y"));
        jwk
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
        let header = json!({"typ": told.typ, "alg": self.algorithm, "jwk": self.jwk()});
        self.proof_under(&header, told)
    }

    /// The same under this header, whatever that says.
    pub fn proof_under(&self, header: &Value, told: &Told) -> String {
        let claims = json!({
            "jti": told.jti, "htm": told.method, "htu": told.address, "iat": told.made_at_s,
        });
        let encoded = |part: &Value| BASE64_URL_SAFE_NO_PAD.encode(part.to_string());
        let message = format!("{}.{}", encoded(header), encoded(&claims));
        let signature =
            crypto::sign(message.as_bytes(), &self.key, self.algorithm).expect("signed");
        format!("{message}.{signature}")
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
