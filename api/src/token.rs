//! Tokens: JWT signed with Ed25519, for the API (ten minutes) or for the pages. They say who someone is and nothing of what they may do,
//! which is looked up (see [`people`](crate::people)), so that a right taken away is gone within seconds.
//!
//! Checked as RFC 8725 advises: one algorithm, the key by its `kid` among those known, `typ`, `iss`, `aud`, `exp`
//! and `nbf` all required, and nothing in the header that we do not write.

use base64::Engine;
use base64::prelude::{BASE64_STANDARD, BASE64_URL_SAFE_NO_PAD};
use jsonwebtoken::jwk::{AlgorithmParameters, Jwk, JwkSet};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation, decode, encode};
use rimeyard_store::Error;
use rimeyard_store::door::SigningKey;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// What a token opens. One kind is never taken for the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The API, as bearer.
    Access,
    /// The pages, in a cookie. It lives a shift and a half: a page has nobody to refresh it. Its session can be ended
    /// at any time all the same.
    Page,
}

impl Kind {
    /// How long such a token lives.
    pub const fn life_s(self) -> i64 {
        match self {
            Kind::Access => 600,
            Kind::Page => 12 * 3600,
        }
    }

    /// Its `typ`; that of an access token is from RFC 9068.
    const fn typ(self) -> &'static str {
        match self {
            Kind::Access => "at+jwt",
            Kind::Page => "page+jwt",
        }
    }
}

/// Who the tokens are for.
const AUDIENCE: &str = "rimeyard";
/// Clocks of several servers differ a little.
const LEEWAY_S: u64 = 5;

/// PKCS #8 of an Ed25519 private key, but for its 32 bytes (RFC 8410, section 7).
const PRIVATE_PREFIX: [u8; 16] = [
    0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20,
];
/// SubjectPublicKeyInfo of an Ed25519 public key, but for its 32 bytes (RFC 8410, section 4).
const PUBLIC_PREFIX: [u8; 12] = [
    0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00,
];

/// Who a token is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Subject {
    /// The organisation.
    #[serde(rename = "org")]
    pub org_id: Uuid,
    /// The person.
    #[serde(rename = "sub")]
    pub person_id: Uuid,
    /// The sign-in it descends from; signing out ends it.
    #[serde(rename = "sid")]
    pub session: Uuid,
}

#[derive(Serialize, Deserialize)]
struct Claims {
    iss: String,
    aud: String,
    iat: i64,
    nbf: i64,
    exp: i64,
    #[serde(flatten)]
    subject: Subject,
}

/// What stands in the header of our tokens, all of it and nothing else. What tells a reader to take its key from elsewhere
/// (`jwk`, `jku`, `x5u`) or to read the token otherwise (`crit`, `b64`, `zip`) is not ours, whoever signed it: the library
/// reads past such a `crit`, which RFC 7515 (4.1.11) forbids.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OurHeader {
    typ: String,
    alg: Algorithm,
    kid: String,
}

/// The header of a token that looks like one of ours of this kind; nothing is verified yet.
fn header(kind: Kind, token: &str) -> Option<OurHeader> {
    let (header, _) = token.split_once('.')?;
    let header = BASE64_URL_SAFE_NO_PAD.decode(header).ok()?;
    let header: OurHeader = serde_json::from_slice(&header).ok()?;
    (header.typ == kind.typ() && header.alg == Algorithm::EdDSA).then_some(header)
}

/// A new random key pair.
///
/// # Errors
/// Where the cryptography refuses.
pub fn new_key() -> Result<SigningKey, Error> {
    let private = [&PRIVATE_PREFIX[..], &rand::random::<[u8; 32]>()].concat();
    let jwk = Jwk::from_encoding_key(&EncodingKey::from_ed_der(&private), Algorithm::EdDSA)
        .map_err(Error::internal)?;
    let AlgorithmParameters::OctetKeyPair(public) = jwk.algorithm else {
        return Err(Error::internal("an Ed25519 key without an octet key pair"));
    };
    let public = BASE64_URL_SAFE_NO_PAD
        .decode(public.x)
        .map_err(Error::internal)?;
    Ok(SigningKey {
        // Named by a digest of the public key.
        kid: BASE64_URL_SAFE_NO_PAD.encode(&Sha256::digest(&public)[..12]),
        private_pem: pem("PRIVATE KEY", &private),
        public_pem: pem("PUBLIC KEY", &[&PUBLIC_PREFIX[..], &public].concat()),
    })
}

fn pem(label: &str, der: &[u8]) -> String {
    // At most 64 bytes of base64: they fit one line.
    format!(
        "-----BEGIN {label}-----\n{}\n-----END {label}-----\n",
        BASE64_STANDARD.encode(der)
    )
}

/// The live keys: the newest signs, all verify.
pub struct Keys {
    issuer: String,
    signing: (String, EncodingKey),
    verifying: Vec<(String, DecodingKey, Jwk)>,
}

impl Keys {
    /// `pairs`, newest first and not empty.
    ///
    /// # Errors
    /// Where a stored key cannot be read.
    pub fn new(issuer: String, pairs: &[SigningKey]) -> Result<Self, Error> {
        let newest = pairs
            .first()
            .ok_or_else(|| Error::internal("there is no signing key"))?;
        let private = |pair: &SigningKey| {
            EncodingKey::from_ed_pem(pair.private_pem.as_bytes()).map_err(Error::internal)
        };
        let verifying = pairs.iter().map(|pair| {
            let mut jwk = Jwk::from_encoding_key(&private(pair)?, Algorithm::EdDSA)
                .map_err(Error::internal)?;
            jwk.common.key_id = Some(pair.kid.clone());
            let key =
                DecodingKey::from_ed_pem(pair.public_pem.as_bytes()).map_err(Error::internal)?;
            Ok((pair.kid.clone(), key, jwk))
        });
        Ok(Self {
            issuer,
            signing: (newest.kid.clone(), private(newest)?),
            verifying: verifying.collect::<Result<_, Error>>()?,
        })
    }

    /// A token that lives from `now_s` on, in seconds since 1970.
    ///
    /// # Errors
    /// Where the cryptography refuses.
    pub fn sign(&self, kind: Kind, subject: Subject, now_s: i64) -> Result<String, Error> {
        let header = Header {
            typ: Some(kind.typ().to_owned()),
            kid: Some(self.signing.0.clone()),
            ..Header::new(Algorithm::EdDSA)
        };
        let claims = Claims {
            iss: self.issuer.clone(),
            aud: AUDIENCE.to_owned(),
            iat: now_s,
            nbf: now_s,
            exp: now_s + kind.life_s(),
            subject,
        };
        encode(&header, &claims, &self.signing.1).map_err(Error::internal)
    }

    /// Whose token it is, if it is one of ours, of this kind, and lives.
    pub fn verify(&self, kind: Kind, token: &str) -> Option<Subject> {
        let kid = header(kind, token)?.kid;
        let (_, key, _) = self.verifying.iter().find(|(known, ..)| *known == kid)?;
        let mut validation = Validation::new(Algorithm::EdDSA);
        validation.set_required_spec_claims(&["iss", "aud", "exp", "nbf", "sub"]);
        validation.set_issuer(&[&self.issuer]);
        validation.set_audience(&[AUDIENCE]);
        validation.validate_nbf = true;
        validation.leeway = LEEWAY_S;
        Some(
            decode::<Claims>(token, key, &validation)
                .ok()?
                .claims
                .subject,
        )
    }

    /// Whether the token names a key that is not among these; another server may have made one meanwhile.
    pub fn is_of_unknown_key(&self, kind: Kind, token: &str) -> bool {
        header(kind, token).is_some_and(|header| {
            !self
                .verifying
                .iter()
                .any(|(known, ..)| *known == header.kid)
        })
    }

    /// The public keys, for whoever wants to check a token themselves (RFC 7517).
    pub fn jwks(&self) -> JwkSet {
        JwkSet {
            keys: self.verifying.iter().map(|(.., jwk)| jwk.clone()).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW_S: i64 = 1_900_000_000;

    fn keys(issuer: &str, pairs: &[SigningKey]) -> Keys {
        Keys::new(issuer.to_owned(), pairs).unwrap()
    }

    fn subject() -> Subject {
        Subject {
            org_id: Uuid::now_v7(),
            person_id: Uuid::now_v7(),
            session: Uuid::now_v7(),
        }
    }

    fn now_s() -> i64 {
        jiff::Timestamp::now().as_second()
    }

    #[test]
    fn a_token_reads_back_and_only_while_it_lives() {
        let pair = new_key().unwrap();
        let keys = keys("house", &[pair]);
        let subject = subject();
        assert_eq!(
            keys.verify(
                Kind::Access,
                &keys.sign(Kind::Access, subject, now_s()).unwrap()
            ),
            Some(subject)
        );
        assert_eq!(
            keys.verify(
                Kind::Access,
                &keys
                    .sign(Kind::Access, subject, now_s() - Kind::Access.life_s() - 60)
                    .unwrap()
            ),
            None,
            "expired"
        );
        assert_eq!(
            keys.verify(
                Kind::Access,
                &keys.sign(Kind::Access, subject, NOW_S * 2).unwrap()
            ),
            None,
            "not yet"
        );
    }

    #[test]
    fn only_our_own_tokens_pass() {
        let pair = new_key().unwrap();
        let ours = keys("house", std::slice::from_ref(&pair));
        let token = ours.sign(Kind::Access, subject(), now_s()).unwrap();
        assert!(
            keys("another house", std::slice::from_ref(&pair))
                .verify(Kind::Access, &token)
                .is_none(),
            "issuer"
        );
        let others = keys("house", &[new_key().unwrap()]);
        assert!(others.verify(Kind::Access, &token).is_none(), "key");
        assert!(others.is_of_unknown_key(Kind::Access, &token));
        assert!(
            ours.verify(Kind::Access, &token[..token.len() - 2])
                .is_none(),
            "signature"
        );
        let [_, claims, signature] = token.split('.').collect::<Vec<_>>()[..] else {
            panic!("three parts")
        };
        for header in [
            r#"{"alg":"none","typ":"at+jwt"}"#,
            r#"{"alg":"HS256","typ":"at+jwt"}"#,
        ] {
            let forged = format!(
                "{}.{claims}.{signature}",
                BASE64_URL_SAFE_NO_PAD.encode(header)
            );
            assert!(ours.verify(Kind::Access, &forged).is_none(), "{header}");
        }
    }

    #[test]
    fn with_one_bit_changed_it_is_none() {
        let keys = keys("house", &[new_key().unwrap()]);
        for kind in [Kind::Access, Kind::Page] {
            let token = keys.sign(kind, subject(), now_s()).unwrap();
            for index in 0..token.len() {
                for bit in 0..8 {
                    let mut changed = token.clone().into_bytes();
                    changed[index] ^= 1 << bit;
                    let changed = String::from_utf8_lossy(&changed);
                    assert_eq!(
                        keys.verify(kind, &changed),
                        None,
                        "{kind:?}: byte {index}, bit {bit}"
                    );
                }
            }
            assert!(keys.verify(kind, &token).is_some());
        }
    }

    #[test]
    fn the_newest_key_signs_and_both_verify() {
        let (old, new) = (new_key().unwrap(), new_key().unwrap());
        let before = keys("house", std::slice::from_ref(&old));
        let after = keys("house", &[new.clone(), old]);
        let subject = subject();
        assert_eq!(
            after.verify(
                Kind::Access,
                &before.sign(Kind::Access, subject, now_s()).unwrap()
            ),
            Some(subject)
        );
        let token = after.sign(Kind::Access, subject, now_s()).unwrap();
        assert_eq!(header(Kind::Access, &token).unwrap().kid, new.kid);
        assert_eq!(after.jwks().keys.len(), 2);
    }
}
