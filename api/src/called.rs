//! What this server is called by those who come to it: its public address, where the settings name one, or else what the
//! request says, which whoever sends it has chosen.

use std::fmt;
use std::net::SocketAddr;
use std::str::FromStr;

use actix_web::HttpRequest;
use actix_web::web::Data;
use rimeyard_rules::Invalid;
use url::Url;

use crate::problem::Problem;
use crate::state::State;

/// Bytes of a name with its port: 253 of a name (RFC 1035, 2.3.4, less what is written only on the wire), and `:65535`.
const NAME_BYTES_MAX: usize = 253 + 6;

/// A scheme, a name and a port, with nothing behind them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PublicAddress(Url);

impl FromStr for PublicAddress {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let plain = |url: &Url| {
            matches!(url.scheme(), "http" | "https")
                && url.username().is_empty()
                && url.password().is_none()
                && url.path() == "/"
                && url.query().is_none()
                && url.fragment().is_none()
        };
        Url::parse(text)
            .ok()
            .filter(plain)
            .map(Self)
            .ok_or_else(|| "must be like https://rimeyard.example, with nothing behind".to_owned())
    }
}

impl PublicAddress {
    /// That of a server on this machine which nothing stands in front of.
    ///
    /// # Panics
    /// Never: a socket's address is one.
    pub fn of_this_machine(address: SocketAddr) -> Self {
        format!("http://{address}")
            .parse()
            .expect("a socket's address is one")
    }
}

/// Without a slash behind, and without the port that its scheme has anyhow.
impl fmt::Display for PublicAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.origin().ascii_serialization())
    }
}

/// What this server is called.
#[derive(Debug, Clone)]
pub enum Called {
    /// By its public address alone.
    Public(PublicAddress),
    /// By what the request says, and what the proxy in front says that it was called; with the scheme it was asked by.
    Told {
        /// As far as anybody has told it.
        scheme: String,
        /// Names with their ports, the likeliest first.
        names: Vec<String>,
    },
}

impl Called {
    /// By this request.
    pub fn by(request: &HttpRequest) -> Self {
        let state = request.app_data::<Data<State>>();
        if let Some(address) = state.and_then(|state| state.public_address.get()) {
            return Called::Public(address.clone());
        }
        let connection = request.connection_info();
        let told = state
            .is_some_and(|state| state.behind_proxy)
            .then(|| connection.host().to_owned());
        let host = request.headers().get("host");
        let called = host.and_then(|host| host.to_str().ok()).map(str::to_owned);
        // HTTP/2 has it in the address.
        let named = request.uri().authority().map(ToString::to_string);
        Called::Told {
            scheme: connection.scheme().to_owned(),
            names: [told, called, named].into_iter().flatten().collect(),
        }
    }

    /// Whether an address is one at this server. Where nothing but the request says what that is called, the scheme is the
    /// proxy's matter: not every one tells it.
    pub fn has(&self, address: &Url) -> bool {
        match self {
            Called::Public(public) => public.0.origin() == address.origin(),
            Called::Told { names, .. } => names.iter().any(|name| {
                let here = Url::parse(&format!("{}://{name}", address.scheme()));
                here.is_ok_and(|here| here.origin() == address.origin())
            }),
        }
    }

    /// The address to send others to.
    ///
    /// # Errors
    /// 400 where a request calls it what nothing is called.
    pub fn address(&self) -> Result<PublicAddress, Problem> {
        let (scheme, names) = match self {
            Called::Public(public) => return Ok(public.clone()),
            Called::Told { scheme, names } => (scheme, names),
        };
        let address = names
            .first()
            .filter(|name| name.len() <= NAME_BYTES_MAX)
            .and_then(|name| format!("{scheme}://{name}").parse().ok());
        address.ok_or_else(|| {
            let problem = format!(
                "must be this server's name, of at most {NAME_BYTES_MAX} bytes with its port"
            );
            Problem::malformed(vec![Invalid::new("Host", problem)])
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn url(text: &str) -> Url {
        Url::parse(text).expect("an address")
    }

    #[test]
    fn a_public_address_is_a_scheme_a_name_and_a_port() {
        for (text, shown) in [
            ("https://rimeyard.example", "https://rimeyard.example"),
            ("https://Rimeyard.Example:443/", "https://rimeyard.example"),
            ("http://127.0.0.1:8080", "http://127.0.0.1:8080"),
            ("http://[2001:db8::1]:80", "http://[2001:db8::1]"),
        ] {
            let address: PublicAddress = text.parse().expect(text);
            assert_eq!(address.to_string(), shown);
        }
        for text in [
            "",
            "rimeyard.example",
            "ftp://rimeyard.example",
            "https://rimeyard.example/yard",
            "https://rimeyard.example/?a=b",
            "https://rimeyard.example/#a",
            "https://me@rimeyard.example",
            "https://",
        ] {
            assert!(text.parse::<PublicAddress>().is_err(), "{text}");
        }
    }

    #[test]
    fn only_the_public_address_counts_where_there_is_one() {
        let public = Called::Public("https://rimeyard.example".parse().expect("an address"));
        assert!(public.has(&url("https://RIMEYARD.example:443/v1/devices?a=b#c")));
        for other in [
            "http://rimeyard.example/",
            "https://rimeyard.example:8443/",
            "https://rimeyard.example.elsewhere.example/",
            "https://rimeyard.example@elsewhere.example/",
        ] {
            assert!(!public.has(&url(other)), "{other}");
        }
    }

    #[test]
    fn without_one_any_name_that_was_told_counts_by_any_scheme() {
        let told = Called::Told {
            scheme: "http".to_owned(),
            names: vec!["Inside:8080".to_owned(), "rimeyard.example".to_owned()],
        };
        for here in [
            "http://inside:8080/",
            "https://rimeyard.example/",
            "https://rimeyard.example:443/",
        ] {
            assert!(told.has(&url(here)), "{here}");
        }
        assert!(!told.has(&url("http://inside/")));
        assert!(!told.has(&url("data:rimeyard.example")));
        assert_eq!(
            told.address().expect("an address").to_string(),
            "http://inside:8080"
        );
        for name in ["", "a b", "a/b", "me@here", &"a".repeat(260)] {
            let told = Called::Told {
                scheme: "http".to_owned(),
                names: vec![name.to_owned()],
            };
            assert!(told.address().is_err(), "{name}");
        }
    }
}
