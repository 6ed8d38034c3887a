//! One page, served to this machine alone.
//!
//! The server listens on the loopback address, answers only requests that name that address as their host (so that no other site can
//! reach it through a name of its own), gives out one fixed page, and takes nothing in.

use std::net::Ipv4Addr;

use tiny_http::{Header, Method, Request, Response, Server};

use crate::failure::Failure;

/// What every answer says of itself.
const HEADERS: [(&str, &str); 6] = [
    ("Content-Type", "text/html; charset=utf-8"),
    ("Cache-Control", "no-store"),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Content-Security-Policy", "frame-ancestors 'none'"),
];

/// Serves `page` until the process is stopped; port 0 stands for any free one.
pub(crate) fn page(page: &str, port: u16) -> Result<(), Failure> {
    let server = Server::http((Ipv4Addr::LOCALHOST, port))
        .map_err(|error| Failure::Unusable(format!("port {port} cannot be served on: {error}")))?;
    let port = server
        .server_addr()
        .to_ip()
        .map_or(port, |address| address.port());
    crate::commands::say(&format!(
        "the workbench is at http://127.0.0.1:{port}/ for this machine alone; Ctrl-C stops it"
    ));
    for request in server.incoming_requests() {
        // A reader that went away is nobody's fault.
        let _ = answer(request, page, port);
    }
    Ok(())
}

fn answer(request: Request, page: &str, port: u16) -> std::io::Result<()> {
    let host = request
        .headers()
        .iter()
        .find(|header| header.field.equiv("Host"))
        .map(|header| header.value.as_str());
    let (status, body) = decided(request.method(), request.url(), host, page, port);
    let mut response = Response::from_string(body).with_status_code(status);
    for (name, value) in HEADERS {
        if let Ok(header) = Header::from_bytes(name, value) {
            response.add_header(header);
        }
    }
    request.respond(response)
}

/// What a request gets: a status and a text.
fn decided<'a>(method: &Method, url: &str, host: Option<&str>, page: &'a str, port: u16) -> (u16, &'a str) {
    let own = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    if !host.is_some_and(|host| own.iter().any(|own| own == host)) {
        return (403, "another host was asked for\n");
    }
    match (method, url) {
        (Method::Get | Method::Head, "/") => (200, page),
        (Method::Get | Method::Head, _) => (404, "there is one page, at /\n"),
        _ => (405, "this page is read, nothing else\n"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(method: Method, url: &str, host: Option<&str>) -> u16 {
        decided(&method, url, host, "page", 8123).0
    }

    #[test]
    fn one_page_for_this_machine_and_nothing_else() {
        let own = Some("127.0.0.1:8123");
        assert_eq!(decided(&Method::Get, "/", own, "page", 8123), (200, "page"));
        assert_eq!(status(Method::Head, "/", Some("localhost:8123")), 200);
        for url in ["/../Cargo.toml", "//", "/index.html", "/?a", "/etc/passwd"] {
            assert_eq!(status(Method::Get, url, own), 404, "{url}");
        }
        for method in [Method::Post, Method::Put, Method::Delete, Method::Options] {
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
            assert_eq!(status(Method::Get, "/", host), 403, "{host:?}");
        }
    }
}
