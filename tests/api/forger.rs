//! Somebody who forges tokens: each from an attack or a rule of RFC 8725 (JSON Web Token Best Current Practices) or of what
//! it builds on: RFC 7515 (JWS), 7516 (JWE), 7517 (JWK), 7519 (JWT), 7797 (b64), 8032 (Ed25519), 4648 (base64), 8259
//! (JSON). The numbers of sections are from memory.
//!
//! Some are signed with the server's own key, taken from the database: what no attacker can do, and what another program
//! of the same house, or a later version of this one, might.

use base64::Engine;
use base64::prelude::{BASE64_URL_SAFE, BASE64_URL_SAFE_NO_PAD};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, crypto};
use rimeyard_harness::TestServer;
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::owner;

/// What a token says, unverified.
pub fn claims_of(token: &str) -> Value {
    part(token, 1)
}

fn part(token: &str, index: usize) -> Value {
    let part = token.split('.').nth(index).expect("a JWT");
    let json = BASE64_URL_SAFE_NO_PAD.decode(part).expect("base64url");
    serde_json::from_slice(&json).expect("JSON")
}

fn encoded(text: impl AsRef<[u8]>) -> String {
    BASE64_URL_SAFE_NO_PAD.encode(text)
}

/// The object with these set; null takes one away.
fn but(object: &Value, change: Value) -> Value {
    let mut object = object.clone();
    let fields = object.as_object_mut().expect("an object");
    for (name, value) in change.as_object().expect("an object").clone() {
        if value.is_null() {
            fields.remove(&name);
        } else {
            fields.insert(name, value);
        }
    }
    object
}

/// Forged tokens by class. Of each class one is tried at every operation, another at the next, and all of them where they
/// cost least.
#[derive(Default)]
pub struct Forged(pub Vec<Class>);

/// One way to forge a token, or one rule that is broken.
pub struct Class {
    /// Where it is from.
    pub source: &'static str,
    /// Each token, and what is wrong with it.
    pub tokens: Vec<(String, String)>,
}

impl Forged {
    /// What is added from here on is of this class.
    fn class(&mut self, source: &'static str) {
        let tokens = Vec::new();
        self.0.push(Class { source, tokens });
    }

    fn add(&mut self, wrong: &str, token: String) {
        let class = self.0.last_mut().expect("a class");
        class.tokens.push((wrong.to_owned(), token));
    }
}

/// Somebody who has a good token, and much else.
pub struct Forger {
    /// The good one.
    token: String,
    pub header: Value,
    pub claims: Value,
    /// The server's own key.
    ours: EncodingKey,
    public_pem: String,
    /// A key of the server's that was retired, and its name.
    retired: (String, EncodingKey),
    /// A key that the server has never had.
    theirs: EncodingKey,
    /// Another role's token, another organisation's, and one of the other kind.
    others: [String; 3],
}

impl Forger {
    /// Of the good `token`, and `others` that are good in their own place.
    pub async fn new(
        server: &TestServer,
        token: &str,
        others: [String; 3],
        retired: (String, EncodingKey),
    ) -> Self {
        let newest = owner(server)
            .await
            .query_one(
                "select private_pem, public_pem from signing_key where retired_at is null",
                &[],
            )
            .await
            .expect("one key is live");
        let key = |pem: &str| EncodingKey::from_ed_pem(pem.as_bytes()).expect("a key");
        let theirs = rimeyard_api::token::new_key().expect("a key");
        Self {
            token: token.to_owned(),
            header: part(token, 0),
            claims: claims_of(token),
            ours: key(newest.get(0)),
            public_pem: newest.get(1),
            retired,
            theirs: key(&theirs.private_pem),
            others,
        }
    }

    fn signed_with(key: &EncodingKey, algorithm: Algorithm, header: &str, claims: &str) -> String {
        let message = format!("{}.{}", encoded(header), encoded(claims));
        let signature = crypto::sign(message.as_bytes(), key, algorithm).expect("signed");
        format!("{message}.{signature}")
    }

    /// Signed with the server's own key, whatever it says.
    pub fn signed(&self, header: &Value, claims: &Value) -> String {
        Self::signed_with(
            &self.ours,
            Algorithm::EdDSA,
            &header.to_string(),
            &claims.to_string(),
        )
    }

    fn with_header(&self, change: Value) -> String {
        self.signed(&but(&self.header, change), &self.claims)
    }

    fn with_claims(&self, change: Value) -> String {
        self.signed(&self.header, &but(&self.claims, change))
    }

    /// The good one's three parts.
    fn parts(&self) -> [&str; 3] {
        let parts: Vec<&str> = self.token.split('.').collect();
        parts.try_into().expect("three parts")
    }

    /// All of them.
    pub fn forged(&self) -> Forged {
        let mut all = Forged::default();
        self.algorithms(&mut all);
        self.signatures(&mut all);
        self.keys(&mut all);
        self.headers(&mut all);
        self.claims(&mut all);
        self.forms(&mut all);
        self.bits(&mut all);
        all
    }

    /// Each byte of the good one in turn with one bit changed, by the part that it is in: one that makes another letter or
    /// digit of it, which nothing refuses but the signature. `a_token_with_one_bit_changed_is_none` tries all bits.
    fn bits(&self, all: &mut Forged) {
        let mut at = 0;
        for (part, source) in self.parts().into_iter().zip([
            "RFC 7515, 5.2: one bit of the header changed",
            "RFC 7515, 5.2: one bit of the claims changed",
            "RFC 7515, 5.2: one bit of the signature changed",
        ]) {
            all.class(source);
            for index in at..at + part.len() {
                let mut changed = self.token.clone().into_bytes();
                let byte = changed[index];
                let other = (0..7)
                    .map(|bit| byte ^ (1 << ((index + bit) % 7)))
                    .find(u8::is_ascii_alphanumeric);
                changed[index] = other.expect("a letter or a digit");
                let changed = String::from_utf8(changed).expect("ASCII");
                all.add(&format!("byte {index}"), changed);
            }
            at += part.len() + 1;
        }
    }

    fn algorithms(&self, all: &mut Forged) {
        let [_, claims, signature] = self.parts();
        all.class("RFC 8725, 2.1 and 3.1; RFC 7519, 6: not secured, in every spelling");
        for none in ["none", "None", "NONE", "nOnE", "none ", ""] {
            let header = encoded(but(&self.header, json!({"alg": none})).to_string());
            all.add(
                &format!("alg {none:?}, not signed"),
                format!("{header}.{claims}."),
            );
            all.add(
                &format!("alg {none:?}, a signature"),
                format!("{header}.{claims}.{signature}"),
            );
        }
        all.class("RFC 8725, 2.1: the public key, which everybody has, taken for a shared secret");
        let der = DecodingKey::from_ed_pem(self.public_pem.as_bytes()).expect("a key");
        let raw = der.try_get_as_bytes().expect("bytes");
        for algorithm in [Algorithm::HS256, Algorithm::HS384, Algorithm::HS512] {
            let header = but(&self.header, json!({"alg": algorithm})).to_string();
            for secret in [
                self.public_pem.as_bytes(),
                self.public_pem.trim().as_bytes(),
                raw,
                b"",
            ] {
                let key = EncodingKey::from_secret(secret);
                all.add(
                    &format!("{algorithm:?} with the public key, {} bytes", secret.len()),
                    Self::signed_with(&key, algorithm, &header, &self.claims.to_string()),
                );
            }
        }
        all.class("RFC 8725, 3.1; RFC 7515, 4.1.1: another algorithm, or the one by another name");
        for algorithm in [
            "ES256", "ES384", "ES512", "RS256", "PS512", "EdDSA ", "eddsa", "Ed25519", "Ed448",
            "HS256",
        ] {
            all.add(
                &format!("alg {algorithm}"),
                self.with_header(json!({"alg": algorithm})),
            );
        }
        for (what, alg) in [
            ("absent", Value::Null),
            ("a number", json!(1)),
            ("a list", json!(["EdDSA"])),
        ] {
            all.add(
                &format!("alg {what}"),
                self.with_header(json!({"alg": alg})),
            );
        }
    }

    fn signatures(&self, all: &mut Forged) {
        let [header, claims, signature] = self.parts();
        all.class("RFC 8725, 3.3; RFC 7515, 5.2: a signature that is none, or of something else");
        all.add("no signature", format!("{header}.{claims}."));
        all.add("no signature and no dot", format!("{header}.{claims}"));
        all.add(
            "another token's signature",
            format!(
                "{header}.{claims}.{}",
                self.others[0].rsplit('.').next().expect("a part")
            ),
        );
        all.add(
            "half a signature",
            format!("{header}.{claims}.{}", &signature[..43]),
        );
        all.add(
            "a signature twice",
            format!("{header}.{claims}.{signature}{signature}"),
        );
        all.add(
            "a signature of zeros",
            format!("{header}.{claims}.{}", encoded([0; 64])),
        );
        all.class("RFC 8032, 5.1.7 and 8.4: the same signature with the group's order added to S");
        let mut bytes = BASE64_URL_SAFE_NO_PAD.decode(signature).expect("base64url");
        let mut carry = 0;
        for (byte, order) in bytes[32..].iter_mut().zip(ORDER) {
            let sum = u16::from(*byte) + u16::from(order) + carry;
            *byte = (sum & 0xff) as u8;
            carry = sum >> 8;
        }
        assert_eq!(carry, 0, "S is less than the order");
        all.add(
            "a signature in another form",
            format!("{header}.{claims}.{}", encoded(bytes)),
        );
        all.class("RFC 8725, 3.3: claims changed under the same signature");
        for (what, change) in [
            (
                "another organisation",
                json!({"org": claims_of(&self.others[1])["org"]}),
            ),
            (
                "another person",
                json!({"sub": claims_of(&self.others[0])["sub"]}),
            ),
            ("a longer life", json!({"exp": 4_000_000_000_u64})),
        ] {
            let claims = encoded(but(&self.claims, change).to_string());
            all.add(
                &format!("{what}, not signed again"),
                format!("{header}.{claims}.{signature}"),
            );
        }
        all.class("RFC 7515, 5.2: parts of two good tokens put together");
        let [other, another] =
            [&self.others[0], &self.others[1]].map(|token| token.split('.').collect::<Vec<_>>());
        all.add(
            "another's claims",
            format!("{header}.{}.{signature}", other[1]),
        );
        all.add(
            "another organisation's claims",
            format!("{header}.{}.{signature}", another[1]),
        );
    }

    fn keys(&self, all: &mut Forged) {
        let claims = self.claims.to_string();
        let with = |key: &EncodingKey, change: Value| {
            Self::signed_with(
                key,
                Algorithm::EdDSA,
                &but(&self.header, change).to_string(),
                &claims,
            )
        };
        all.class(
            "RFC 8725, 3.1; RFC 7515, 4.1.4: a key that is not the server's, or not under its name",
        );
        all.add(
            "a key of theirs under our name",
            with(&self.theirs, json!({})),
        );
        all.add(
            "a key of theirs",
            with(&self.theirs, json!({"kid": "their own"})),
        );
        all.class("RFC 7517, 4.5 and RFC 8725, 3.1: a key that was retired");
        all.add(
            "a key that was retired",
            with(&self.retired.1, json!({"kid": self.retired.0})),
        );
        all.add(
            "a key that was retired, under the newest's name",
            with(&self.retired.1, json!({})),
        );
        all.add(
            "the newest key under the name of one that was retired",
            with(&self.ours, json!({"kid": self.retired.0})),
        );
        all.class(
            "RFC 8725, 3.10; RFC 7515, 4.1.4: a kid that is a path, SQL, no text, none at all",
        );

        for kid in [
            json!(null),
            json!(""),
            json!(1),
            json!(["a"]),
            json!({"kid": "a"}),
            json!("../../../../dev/null"),
            json!("/proc/self/environ"),
            json!("' or '1'='1"),
            json!("x'; drop table signing_key; --"),
            json!("' union select 'AAAA' --"),
            json!("a\u{0}b"),
            json!("k".repeat(10_000)),
            json!(format!(" {}", self.header["kid"].as_str().expect("a kid"))),
        ] {
            let mut told = kid.to_string();
            told.truncate(40);
            all.add(
                &format!("kid {told}, signed by them"),
                with(&self.theirs, json!({"kid": kid})),
            );
            all.add(
                &format!("kid {told}, signed by us"),
                with(&self.ours, json!({"kid": kid})),
            );
        }
        all.class("RFC 8725, 3.10; RFC 7515, 4.1.2, 4.1.3, 4.1.5 to 4.1.8: a key, or the address of one, that the token brings");
        let jwk = jsonwebtoken::jwk::Jwk::from_encoding_key(&self.theirs, Algorithm::EdDSA)
            .expect("a key");
        let elsewhere = "https://keys.example/jwks.json";
        for change in [
            json!({"jwk": jwk}),
            json!({"jwk": jwk, "kid": null}),
            json!({"jku": elsewhere}),
            json!({"jku": elsewhere, "kid": "their own"}),
            json!({"jku": "file:///etc/passwd"}),
            json!({"x5u": elsewhere}),
            json!({"x5c": ["MAA="]}),
            json!({"x5t": "AAAA"}),
            json!({"x5t#S256": "AAAA"}),
        ] {
            all.add(
                &format!("{change} and their key"),
                with(&self.theirs, change.clone()),
            );
            all.add(&format!("{change} and our key"), with(&self.ours, change));
        }
    }

    fn headers(&self, all: &mut Forged) {
        all.class("RFC 8725, 3.11 and 3.12; RFC 7519, 5.1: another kind of token, or none told");
        for typ in [
            json!(null),
            json!(""),
            json!("JWT"),
            json!("jwt"),
            json!("AT+JWT"),
            json!("at+jwt "),
            json!("application/at+jwt"),
            json!(7),
        ] {
            all.add(&format!("typ {typ}"), self.with_header(json!({"typ": typ})));
        }
        all.add("a token of the other kind", self.others[2].clone());
        all.class("RFC 7515, 4.1.11; RFC 7797, 6: what is critical and not understood, and claims that are not encoded");
        for change in [
            json!({"crit": ["exp"], "exp": 1}),
            json!({"crit": []}),
            json!({"crit": ["b64"], "b64": false}),
            json!({"b64": false}),
            json!({"crit": ["typ"]}),
            json!({"crit": "b64"}),
        ] {
            all.add(&change.to_string(), self.with_header(change.clone()));
        }
        let header = but(&self.header, json!({"b64": false, "crit": ["b64"]})).to_string();
        let message = format!("{}.{}", encoded(&header), self.claims);
        let signature =
            crypto::sign(message.as_bytes(), &self.ours, Algorithm::EdDSA).expect("signed");
        all.add(
            "claims that are not encoded",
            format!("{message}.{signature}"),
        );
        all.class("RFC 8725, 3.6; RFC 7516, 4.1.2 and 4.1.3; RFC 7519, 5.2: compressed, encrypted or nested, as it says");
        for change in [
            json!({"zip": "DEF"}),
            json!({"enc": "A256GCM"}),
            json!({"cty": "JWT"}),
        ] {
            all.add(&change.to_string(), self.with_header(change.clone()));
        }
        all.class("RFC 7515, 4; RFC 8725, 2.6 and 3.7: a header with a name twice, that is no object, in another encoding");
        let twice = self
            .header
            .to_string()
            .replacen('{', r#"{"alg":"none","#, 1);
        let claims = self.claims.to_string();
        all.add(
            "alg twice",
            Self::signed_with(&self.ours, Algorithm::EdDSA, &twice, &claims),
        );
        for header in ["", "null", "[]", "{}", "\"EdDSA\"", "{", "\u{feff}{}"] {
            all.add(
                &format!("header {header:?}"),
                Self::signed_with(&self.ours, Algorithm::EdDSA, header, &claims),
            );
        }
        let utf16: Vec<u8> = self
            .header
            .to_string()
            .encode_utf16()
            .flat_map(u16::to_le_bytes)
            .collect();
        let message = format!("{}.{}", encoded(utf16), encoded(&claims));
        let signature =
            crypto::sign(message.as_bytes(), &self.ours, Algorithm::EdDSA).expect("signed");
        all.add("a header in UTF-16", format!("{message}.{signature}"));
    }

    fn claims(&self, all: &mut Forged) {
        let now = self.claims["iat"].as_i64().expect("an instant");
        all.class("RFC 7519, 4.1.1 to 4.1.6: a claim that is absent or of another type");
        for claim in ["iss", "aud", "sub", "exp", "nbf", "iat", "org", "sid"] {
            for wrong in [
                json!(null),
                json!(true),
                json!({}),
                json!([]),
                json!(""),
                json!("1e400"),
                json!(-1.5),
            ] {
                let what = if wrong.is_null() {
                    "absent".to_owned()
                } else {
                    wrong.to_string()
                };
                all.add(
                    &format!("{claim} {what}"),
                    self.with_claims(json!({claim: wrong})),
                );
            }
        }
        let of = |other: usize, claim: &str| claims_of(&self.others[other])[claim].clone();
        for (source, cases) in [
            (
                "RFC 8725, 3.8; RFC 7519, 4.1.1: another issuer",
                vec![
                    (
                        "iss of another house",
                        json!({"iss": "https://issuer.example"}),
                    ),
                    ("iss in capitals", json!({"iss": "RIMEYARD"})),
                    ("iss in a list", json!({"iss": ["rimeyard"]})),
                ],
            ),
            (
                "RFC 8725, 3.9; RFC 7519, 4.1.3: for somebody else",
                vec![
                    ("aud of others", json!({"aud": "another"})),
                    ("aud in a list", json!({"aud": ["rimeyard", "another"]})),
                ],
            ),
            (
                "RFC 7519, 4.1.4: expired",
                vec![
                    ("expired", json!({"exp": now - 60})),
                    ("expired at the beginning of time", json!({"exp": 0})),
                    ("exp as text", json!({"exp": (now + 600).to_string()})),
                    ("exp past every clock", json!({"exp": 1e300})),
                ],
            ),
            (
                "RFC 7519, 4.1.5: not yet valid",
                vec![
                    ("not yet", json!({"nbf": now + 600})),
                    ("nbf as text", json!({"nbf": now.to_string()})),
                ],
            ),
            (
                "RFC 8725, 2.7 and 3.8: good claims of somebody each, and together nobody's",
                vec![
                    ("another organisation", json!({"org": of(1, "org")})),
                    ("another's session", json!({"sid": of(0, "sid")})),
                    ("another person", json!({"sub": of(0, "sub")})),
                    (
                        "another organisation's person",
                        json!({"sub": of(1, "sub")}),
                    ),
                    ("no organisation", json!({"org": Uuid::nil()})),
                ],
            ),
            (
                "RFC 8725, 3.8 and 3.10; RFC 7519, 4.1.2: a subject that is nobody",
                vec![
                    ("nobody", json!({"sub": Uuid::nil()})),
                    ("sub that is no id", json!({"sub": "' or true --"})),
                    ("sub in a list", json!({"sub": [self.claims["sub"]]})),
                ],
            ),
        ] {
            all.class(source);
            for (what, change) in cases {
                all.add(what, self.with_claims(change));
            }
        }
        all.class("RFC 7519, 4 and 7.2: a claim twice, or claims that are no object");
        for claim in ["sub", "org", "exp", "iss"] {
            let first = format!("{{\"{claim}\":{},", self.claims[claim]);
            let claims = self.claims.to_string().replacen('{', &first, 1);
            all.add(
                &format!("{claim} twice"),
                Self::signed_with(
                    &self.ours,
                    Algorithm::EdDSA,
                    &self.header.to_string(),
                    &claims,
                ),
            );
        }
        for claims in ["", "null", "[]", "{}", "7", "{\"sub\":", "rimeyard"] {
            all.add(
                &format!("claims {claims:?}"),
                Self::signed_with(
                    &self.ours,
                    Algorithm::EdDSA,
                    &self.header.to_string(),
                    claims,
                ),
            );
        }
    }

    fn forms(&self, all: &mut Forged) {
        let [header, claims, signature] = self.parts();
        let token = &self.token;
        all.class("RFC 7519, 1 and A.2; RFC 7515, 7.2: a token in a token, and the serialisations in JSON");
        let nested = but(&self.header, json!({"cty": "JWT"}));
        let message = format!("{}.{}", encoded(nested.to_string()), encoded(token));
        let outer = crypto::sign(message.as_bytes(), &self.ours, Algorithm::EdDSA).expect("signed");
        all.add("a token in a token", format!("{message}.{outer}"));
        all.add(
            "JSON, flattened",
            json!({"payload": claims, "protected": header, "signature": signature}).to_string(),
        );
        all.add("JSON, general", json!({"payload": claims, "signatures": [{"protected": header, "signature": signature}]}).to_string());
        all.class("RFC 7515, 2 and 7.1; RFC 4648, 3.2, 3.3 and 3.5: padded, with something between, more parts or fewer");
        for (what, token) in [
            (
                "padded",
                [header, claims, signature]
                    .map(|part| {
                        BASE64_URL_SAFE
                            .encode(BASE64_URL_SAFE_NO_PAD.decode(part).expect("base64url"))
                    })
                    .join("."),
            ),
            (
                "a signature padded",
                format!("{header}.{claims}.{signature}=="),
            ),
            ("blanks in it", format!("{header}. {claims}.{signature}")),
            ("a tab in it", format!("{header}.\t{claims}.{signature}")),
            ("a dot behind", format!("{token}.")),
            ("a dot before", format!(".{token}")),
            ("two dots", format!("{header}..{claims}.{signature}")),
            (
                "five parts",
                format!("{header}.{claims}.{signature}.{claims}.{signature}"),
            ),
            ("one part", header.to_owned()),
            ("dots alone", "..".to_owned()),
            (
                "parts turned round",
                format!("{signature}.{claims}.{header}"),
            ),
            ("in quotes", format!("\"{token}\"")),
            ("twice", format!("{token},{token}")),
            ("twice, with the scheme", format!("{token}, Bearer {token}")),
            ("percent-encoded", token.replace('.', "%2E")),
            ("in capitals", token.to_uppercase()),
            ("something behind", format!("{token}#x")),
        ] {
            all.add(what, token);
        }
        // The last character of 64 bytes in base64 has four bits that say nothing: they are zeros or it is another text
        // for the same bytes.
        const ALPHABET: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
        let last = signature.bytes().last().expect("a character");
        let place = ALPHABET
            .iter()
            .position(|byte| *byte == last)
            .expect("base64url");
        let other = char::from(ALPHABET[place ^ 1]);
        all.add(
            "another text for the same signature",
            format!("{}{other}", &token[..token.len() - 1]),
        );
        // The whole head may have 32 KiB.
        all.class("RFC 8259, 9: very long, very deep");
        all.add("30,000 characters", "x".repeat(30_000));
        all.add("20,000 dots", ".".repeat(20_000));
        all.add(
            "a long claim",
            self.signed(
                &self.header,
                &but(&self.claims, json!({"sub": "x".repeat(20_000)})),
            ),
        );
        let deep = format!("{}{}", "[".repeat(10_000), "]".repeat(10_000));
        all.add(
            "a deep claim",
            Self::signed_with(
                &self.ours,
                Algorithm::EdDSA,
                &self.header.to_string(),
                &deep,
            ),
        );
    }
}

/// L, the order of Ed25519's group, least byte first (RFC 8032, 5.1).
const ORDER: [u8; 32] = [
    0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58, 0xd6, 0x9c, 0xf7, 0xa2, 0xde, 0xf9, 0xde, 0x14,
    0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x10,
];
