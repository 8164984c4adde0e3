//! Tokens: of what is not ours to the bit, none is taken.

use std::sync::OnceLock;

use rimeyard_api::token::{Keys, Kind, Subject, new_key};
use uuid::Uuid;

struct Ours {
    keys: Keys,
    /// One of each kind.
    tokens: [(Kind, String); 2],
}

fn ours() -> &'static Ours {
    static OURS: OnceLock<Ours> = OnceLock::new();
    OURS.get_or_init(|| {
        let pair = new_key().expect("a key");
        let keys = Keys::new("rimeyard".to_owned(), &[pair]).expect("keys");
        let subject = Subject {
            org_id: Uuid::from_u128(1),
            person_id: Uuid::from_u128(2),
            session: Uuid::from_u128(3),
        };
        let now_s = jiff::Timestamp::now().as_second();
        let token = |kind| (kind, keys.sign(kind, subject, now_s).expect("signed"));
        let tokens = [token(Kind::Access), token(Kind::Page)];
        Ours { keys, tokens }
    })
}

/// The bytes as a token, and as a change to a true one: a place, and what stands there instead.
pub fn target(bytes: &[u8]) {
    let Ours { keys, tokens } = ours();
    let text = String::from_utf8_lossy(bytes);
    for kind in [Kind::Access, Kind::Page] {
        let _ = keys.is_of_unknown_key(kind, &text);
        assert!(keys.verify(kind, &text).is_none());
    }
    let Some((&place, rest)) = bytes.split_first() else {
        return;
    };
    let instead = String::from_utf8_lossy(rest);
    for (kind, token) in tokens {
        // Tokens are ASCII.
        let at = usize::from(place) * token.len() / 256;
        let end = (at + instead.len()).min(token.len());
        let changed = format!("{}{instead}{}", &token[..at], &token[end..]);
        let other = match kind {
            Kind::Access => Kind::Page,
            Kind::Page => Kind::Access,
        };
        assert!(keys.verify(other, &changed).is_none());
        assert_eq!(keys.verify(*kind, &changed).is_some(), changed == *token);
        assert!(keys.verify(*kind, token).is_some());
    }
}
