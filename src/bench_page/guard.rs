//! Who is answered: only a page that this server gave out.
//!
//! Every address holds a token that nobody can guess, so that no other page in the browser and no other user of the
//! machine can ask for anything. Beyond that the name by which the server is called has to be its own (a name that
//! was made to lead here by somebody else is refused), and nothing is written unless the browser says that the
//! request comes from the server's own page.

use crate::sha256;
use hyper::header::{CONTENT_TYPE, HOST, HeaderName, ORIGIN};
use hyper::{HeaderMap, Method, StatusCode};
use std::net::SocketAddr;
use std::time::Instant;

/// Bytes of a token.
const TOKEN_BYTES: usize = 24;
/// What browsers say of where a request comes from (W3C Fetch Metadata).
static FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// One address that the server listens at, with its token.
#[derive(Clone, Debug)]
pub struct Door {
    /// The address.
    pub address: SocketAddr,
    /// The token in every path.
    pub token: String,
    /// When it stops to answer; `None` for as long as the server runs.
    pub until: Option<Instant>,
}

/// Why a request is not answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refused {
    /// The status.
    pub status: StatusCode,
    /// A sentence.
    pub why: &'static str,
}

fn refused<T>(status: StatusCode, why: &'static str) -> Result<T, Refused> {
    Err(Refused { status, why })
}

impl Door {
    /// A door with a new token.
    ///
    /// # Errors
    ///
    /// The system has no random numbers.
    pub fn new(address: SocketAddr, until: Option<Instant>) -> Result<Door, String> {
        let mut bytes = [0; TOKEN_BYTES];
        getrandom::fill(&mut bytes).map_err(|error| format!("no random number for the address: {error}"))?;
        let token = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        Ok(Door { address, token, until })
    }

    /// What the browser is to open.
    pub fn page(&self) -> String {
        format!("http://{}/{}/", self.address, self.token)
    }

    /// The rest of the path behind the token, if the request may be answered.
    ///
    /// # Errors
    ///
    /// The status and sentence to answer with instead.
    pub fn admit<'p>(&self, method: &Method, path: &'p str, headers: &HeaderMap) -> Result<&'p str, Refused> {
        let Some(host) = self.own_host(headers) else {
            return refused(StatusCode::MISDIRECTED_REQUEST, "This is not the name of this server.");
        };
        let (token, rest) = path.strip_prefix('/').and_then(|path| path.split_once('/')).unwrap_or(("", ""));
        if !self.is_token(token) {
            return refused(
                StatusCode::NOT_FOUND,
                "There is nothing here. Open the address that reweigh printed.",
            );
        }
        if self.until.is_some_and(|until| Instant::now() >= until) {
            return refused(
                StatusCode::GONE,
                "This address has expired. Start reweigh bench again for a new one.",
            );
        }
        let own = format!("http://{host}");
        let origin = headers.get(ORIGIN).map(|origin| origin.as_bytes() == own.as_bytes());
        let site = headers.get(&FETCH_SITE).map(|site| matches!(site.as_bytes(), b"same-origin" | b"none"));
        if origin == Some(false) || site == Some(false) {
            return refused(StatusCode::FORBIDDEN, "Only this server's own page may ask for this.");
        }
        match *method {
            Method::GET => Ok(rest),
            Method::POST if origin.is_none() => {
                refused(StatusCode::FORBIDDEN, "A request that writes has to say where it comes from.")
            }
            Method::POST if !is_json(headers) => {
                refused(StatusCode::UNSUPPORTED_MEDIA_TYPE, "Expected application/json.")
            }
            Method::POST => Ok(rest),
            _ => refused(StatusCode::METHOD_NOT_ALLOWED, "Only GET and POST are answered."),
        }
    }

    /// The name the server was called by, if that is its own.
    fn own_host<'h>(&self, headers: &'h HeaderMap) -> Option<&'h str> {
        let mut all = headers.get_all(HOST).iter();
        let host = all.next()?.to_str().ok()?;
        let local = format!("localhost:{}", self.address.port());
        let own = host == self.address.to_string() || self.address.ip().is_loopback() && host == local;
        (own && all.next().is_none()).then_some(host)
    }

    /// Compared by hashes, so that the time it takes says nothing about how much of a guess was right.
    fn is_token(&self, token: &str) -> bool {
        sha256(token.as_bytes()) == sha256(self.token.as_bytes())
    }
}

fn is_json(headers: &HeaderMap) -> bool {
    let value = headers.get(CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
    value.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use hyper::header::HeaderValue;
    use std::time::Duration;

    fn admitted(door: &Door, host: &str, path: &str) -> Result<String, StatusCode> {
        let mut headers = HeaderMap::new();
        headers.insert(HOST, HeaderValue::from_str(host).unwrap());
        door.admit(&Method::GET, path, &headers).map(str::to_owned).map_err(|refused| refused.status)
    }

    #[test]
    fn an_address_that_expired_is_gone() {
        let address = SocketAddr::from(([192, 0, 2, 7], 4000));
        let door = |until| Door { until: Some(until), ..Door::new(address, None).unwrap() };
        let open = door(Instant::now() + Duration::from_secs(60));
        let path = format!("/{}/list", open.token);
        assert_eq!(admitted(&open, "192.0.2.7:4000", &path), Ok("list".to_owned()));
        let gone = Door { until: Some(Instant::now()), ..open.clone() };
        assert_eq!(admitted(&gone, "192.0.2.7:4000", &path), Err(StatusCode::GONE));
        // Outside this machine `localhost` is no name of it.
        assert_eq!(admitted(&open, "localhost:4000", &path), Err(StatusCode::MISDIRECTED_REQUEST));
    }

    #[test]
    fn two_doors_have_two_tokens() {
        let address = SocketAddr::from(([127, 0, 0, 1], 4000));
        let (a, b) = (Door::new(address, None).unwrap(), Door::new(address, None).unwrap());
        assert_ne!(a.token, b.token);
        assert_eq!(a.token.len(), 2 * TOKEN_BYTES);
    }
}
