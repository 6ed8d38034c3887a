//! From the bytes of a request to what it gets.

use httparse::{EMPTY_HEADER, Error, Request, Status};

/// The longest head of a request that is read (bytes); browsers send less than a tenth.
pub(super) const MOST_BYTES: usize = 16 << 10;
/// So many headers at most.
const MOST_HEADERS: usize = 64;

/// The status of a method that is none of reading.
pub(super) const NOT_ALLOWED: u16 = 405;

/// What a request gets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Answer<'a> {
    pub(super) status: u16,
    pub(super) reason: &'static str,
    pub(super) body: &'a str,
}

const fn answer<'a>(status: u16, reason: &'static str, body: &'a str) -> Answer<'a> {
    Answer { status, reason, body }
}

/// For a request whose end does not come.
pub(super) const TOO_SLOW: Answer<'static> =
    answer(408, "Request Timeout", "the request did not end in time\n");
const MALFORMED: Answer<'static> = answer(400, "Bad Request", "this is no request\n");
const TOO_LONG: Answer<'static> = answer(
    431,
    "Request Header Fields Too Large",
    "the request is too long\n",
);
const OTHER_HOST: Answer<'static> = answer(403, "Forbidden", "another host was asked for\n");
const NO_SUCH_PAGE: Answer<'static> = answer(404, "Not Found", "there is one page, at /\n");
const READ_ONLY: Answer<'static> = answer(
    NOT_ALLOWED,
    "Method Not Allowed",
    "this page is read, nothing else\n",
);

/// The answer to what was read so far, and whether only its head is wanted; nothing while the request goes on. What stands behind the
/// head is not looked at, whatever the request says of it.
pub(super) fn answered<'a>(bytes: &[u8], page: &'a str, port: u16) -> Option<(Answer<'a>, bool)> {
    let mut headers = [EMPTY_HEADER; MOST_HEADERS];
    let mut request = Request::new(&mut headers);
    match request.parse(bytes) {
        Ok(Status::Complete(_)) => {}
        Ok(Status::Partial) if bytes.len() < MOST_BYTES => return None,
        Ok(Status::Partial) | Err(Error::TooManyHeaders) => return Some((TOO_LONG, false)),
        Err(_) => return Some((MALFORMED, false)),
    }
    let mut hosts = request
        .headers
        .iter()
        .filter(|header| header.name.eq_ignore_ascii_case("Host"));
    let host = hosts.next().and_then(|header| str::from_utf8(header.value).ok());
    // RFC 9112, section 3.2.
    if hosts.next().is_some() {
        return Some((MALFORMED, false));
    }
    let method = request.method.unwrap_or_default();
    let path = request.path.unwrap_or_default();
    Some((decided(method, path, host, page, port), method == "HEAD"))
}

/// What a request gets by its words.
fn decided<'a>(method: &str, path: &str, host: Option<&str>, page: &'a str, port: u16) -> Answer<'a> {
    let own = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    if !host.is_some_and(|host| own.iter().any(|own| own == host)) {
        return OTHER_HOST;
    }
    match (method, path) {
        ("GET" | "HEAD", "/") => answer(200, "OK", page),
        ("GET" | "HEAD", _) => NO_SUCH_PAGE,
        _ => READ_ONLY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(method: &str, path: &str, host: Option<&str>) -> u16 {
        decided(method, path, host, "page", 8123).status
    }

    #[test]
    fn one_page_for_this_machine_and_nothing_else() {
        let own = Some("127.0.0.1:8123");
        assert_eq!(decided("GET", "/", own, "page", 8123), answer(200, "OK", "page"));
        assert_eq!(status("HEAD", "/", Some("localhost:8123")), 200);
        for path in ["/../Cargo.toml", "//", "/index.html", "/?a", "/etc/passwd"] {
            assert_eq!(status("GET", path, own), 404, "{path}");
        }
        for method in ["POST", "PUT", "DELETE", "OPTIONS", "get"] {
            assert_eq!(status(method, "/", own), 405);
        }
    }

    /// A name that somebody else's server gives this address is refused.
    #[test]
    fn other_hosts_are_refused() {
        for host in [
            None,
            Some("example.org"),
            Some("127.0.0.1"),
            Some("127.0.0.1:80"),
            Some("localhost.example.org:8123"),
            Some(""),
        ] {
            assert_eq!(status("GET", "/", host), 403, "{host:?}");
        }
    }
}
