//! Two hundred requests of the worst sort, in a row and side by side, and then a good one. Only on the loopback address; every wait ends.

use std::io::{Read as _, Write as _};
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::thread;
use std::time::Duration;

use snapbox::{Data, assert_data_eq};

use super::*;

/// No wait of these tests lasts longer.
const MOST_WAIT: Duration = Duration::from_secs(20);
/// As many requests as are made of one sort or another.
const REQUESTS: usize = 200;
/// More than the system keeps for a reader that does not read.
const PAGE_BYTES: usize = 32 << 20;

/// A server on a port of its own, which ends with the process of the tests.
fn server(page: &str, patience: Patience) -> SocketAddr {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a free port");
    let address = listener.local_addr().expect("bound");
    let served = Served {
        page: page.to_owned(),
        port: address.port(),
        patience,
    };
    thread::spawn(move || serve(&listener, served));
    address
}

fn connected(address: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect_timeout(&address, MOST_WAIT).expect("connected");
    stream.set_read_timeout(Some(MOST_WAIT)).expect("set");
    stream.set_write_timeout(Some(MOST_WAIT)).expect("set");
    stream
}

/// What comes back for these bytes. A server that ends the connection early is no fault.
fn answer(address: SocketAddr, request: &[u8]) -> Vec<u8> {
    let mut stream = connected(address);
    let mut answer = Vec::new();
    let _ = stream.write_all(request);
    let _ = stream.shutdown(Shutdown::Write);
    let _ = stream.read_to_end(&mut answer);
    answer
}

fn good(address: SocketAddr, method: &str) -> Vec<u8> {
    let request = format!("{method} / HTTP/1.1\r\nHost: {address}\r\nAccept: */*\r\n\r\n");
    answer(address, request.as_bytes())
}

fn body(answer: &[u8]) -> &[u8] {
    let end = answer
        .windows(4)
        .position(|four| four == b"\r\n\r\n")
        .expect("a head");
    &answer[end + 4..]
}

/// Each sort of nonsense with its name; HOST stands for the server's own.
fn nonsense() -> Vec<(&'static str, Vec<u8>)> {
    let with = |header: &str| format!("GET / HTTP/1.1\r\nHost: HOST\r\n{header}\r\n\r\n").into_bytes();
    let post = |rest: &str| format!("POST / HTTP/1.1\r\nHost: HOST\r\n{rest}").into_bytes();
    vec![
        ("a length of 99999999999", with("Content-Length: 99999999999")),
        (
            "a length beyond 64 bits",
            with("Content-Length: 99999999999999999999999"),
        ),
        ("a length below zero", with("Content-Length: -1")),
        ("a length that is no number", with("Content-Length: abc")),
        ("two lengths", with("Content-Length: 1\r\nContent-Length: 2")),
        (
            "a post of 99999999999",
            post("Content-Length: 99999999999\r\n\r\nabc"),
        ),
        (
            "a post that waits to go on",
            post("Expect: 100-continue\r\nContent-Length: 5\r\n\r\n"),
        ),
        (
            "a post shorter than it says",
            post("Content-Length: 10\r\n\r\nabc"),
        ),
        (
            "a post longer than it says",
            post("Content-Length: 1\r\n\r\nabcdefghij"),
        ),
        (
            "chunks of nonsense",
            post("Transfer-Encoding: chunked\r\n\r\nzzz\r\nabc\r\n"),
        ),
        (
            "a chunk of 2^64",
            post("Transfer-Encoding: chunked\r\n\r\nffffffffffffffff\r\nabc"),
        ),
        (
            "chunks and a length",
            post("Transfer-Encoding: chunked\r\nContent-Length: 99999999999\r\n\r\n0\r\n\r\n"),
        ),
        ("an unknown coding", post("Transfer-Encoding: \u{1}\r\n\r\n")),
        ("many headers", with(&"a: b\r\n".repeat(1000))),
        ("a long header", with(&format!("a: {}", "b".repeat(20_000)))),
        (
            "a long path",
            format!("GET /{} HTTP/1.1\r\nHost: HOST\r\n\r\n", "a".repeat(20_000)).into_bytes(),
        ),
        ("a header without a name", with(": b")),
        ("a header without a colon", with("a")),
        ("a header that goes on", with("a: b\r\n c")),
        ("a NUL in a header", with("a: \0")),
        ("two hosts", with("Host: HOST")),
        (
            "another host",
            b"GET / HTTP/1.1\r\nHost: example.org\r\n\r\n".to_vec(),
        ),
        ("no host", b"GET / HTTP/1.1\r\n\r\n".to_vec()),
        (
            "a whole address",
            b"GET http://HOST/ HTTP/1.1\r\nHost: HOST\r\n\r\n".to_vec(),
        ),
        (
            "a way up",
            b"GET /../../etc/passwd HTTP/1.1\r\nHost: HOST\r\n\r\n".to_vec(),
        ),
        ("an upgrade", with("Connection: Upgrade\r\nUpgrade: websocket")),
        ("a second request at once", [with("a: b"), with("a: b")].concat()),
        ("another protocol", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".to_vec()),
        (
            "an encrypted greeting",
            b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".to_vec(),
        ),
        ("no words", b"\r\n\r\n\r\n\r\n".to_vec()),
        ("a line alone", b"GET\r\n\r\n".to_vec()),
        ("half a head", b"GET / HTTP/1.1\r\nHost: HO".to_vec()),
        ("nothing", Vec::new()),
    ]
}

fn addressed(request: &[u8], address: SocketAddr) -> Vec<u8> {
    match str::from_utf8(request) {
        Ok(text) => text.replace("HOST", &address.to_string()).into_bytes(),
        Err(_) => request.to_vec(),
    }
}

/// What each gets, stored and read: `SNAPSHOTS=overwrite cargo test -p millpond --bin millpond`.
#[test]
fn nonsense_is_answered_or_the_connection_ends() {
    let address = server("the page", PATIENCE);
    let mut answers = String::new();
    for (name, request) in nonsense() {
        let answer = answer(address, &addressed(&request, address));
        let text = String::from_utf8_lossy(&answer);
        let said = match text.lines().next() {
            Some(status) => format!("{status}: {}", String::from_utf8_lossy(body(&answer)).trim_end()),
            None => "ended without an answer".to_owned(),
        };
        answers.push_str(&format!("{name}: {said}\n"));
    }
    let stored = concat!(env!("CARGO_MANIFEST_DIR"), "/src/serve/answers.txt");
    assert_data_eq!(answers, Data::read_from(stored.as_ref(), None));
}

#[test]
fn hundreds_of_bad_requests_in_a_row_leave_a_good_one_its_answer() {
    let address = server("the page", PATIENCE);
    let requests = nonsense();
    for (_, request) in requests.iter().cycle().take(REQUESTS) {
        answer(address, &addressed(request, address));
        assert_eq!(body(&good(address, "GET")), b"the page");
    }
    // The head of the same answer, with the length that it would have.
    let head = String::from_utf8(good(address, "HEAD")).expect("text");
    assert!(
        head.contains("\r\nContent-Length: 8\r\n") && head.ends_with("\r\n\r\n"),
        "{head}"
    );
    for (name, value) in HEADERS {
        assert!(head.contains(&format!("\r\n{name}: {value}\r\n")), "{head}");
    }
}

/// Ten million bytes of head: the connection ends long before they are sent.
#[test]
fn a_head_without_an_end_is_cut_off() {
    let address = server("the page", PATIENCE);
    let mut request = b"GET / HTTP/1.1\r\n".to_vec();
    request.extend(b"a: b\r\n".repeat(10_000_000 / 6));
    let answer = answer(address, &request);
    assert!(
        answer.is_empty() || answer.starts_with(b"HTTP/1.1 431 "),
        "{} bytes",
        answer.len()
    );
    assert_eq!(body(&good(address, "GET")), b"the page");
}

/// Two hundred connections at once that never write, stop in the middle, never read or are half closed, all kept open: the page still
/// comes whole, as the oldest of them go.
#[test]
fn whoever_is_slow_or_silent_keeps_nobody_out() {
    let page = "x".repeat(PAGE_BYTES);
    let address = server(&page, PATIENCE);
    let mut kept = Vec::new();
    for number in 0..REQUESTS {
        let mut stream = connected(address);
        let whole = format!("GET / HTTP/1.1\r\nHost: {address}\r\n\r\n");
        // The server may have ended it by then.
        let _ = match number % 4 {
            0 => Ok(()),
            1 => stream.write_all(b"GET / HT"),
            2 => stream.write_all(whole.as_bytes()),
            _ => stream.shutdown(Shutdown::Write),
        };
        kept.push(stream);
        if number % 40 == 0 {
            assert!(body(&good(address, "GET")) == page.as_bytes());
        }
    }
    assert!(body(&good(address, "GET")) == page.as_bytes());
    drop(kept);
}

/// Without anybody new, too, a slow request is answered with that and its connection ends.
#[test]
fn patience_ends() {
    let short = Duration::from_millis(50);
    let patience = Patience {
        request: short,
        answer: short,
        end: short,
    };
    let address = server(&"x".repeat(PAGE_BYTES), patience);
    let mut silent = connected(address);
    let mut answer = String::new();
    silent.read_to_string(&mut answer).expect("it ends");
    assert!(answer.starts_with("HTTP/1.1 408 "), "{answer}");
    // Asks, and reads only after the server has given up.
    let mut slow = connected(address);
    write!(slow, "GET / HTTP/1.1\r\nHost: {address}\r\n\r\n").expect("written");
    thread::sleep(10 * short);
    let mut taken = Vec::new();
    let _ = slow.read_to_end(&mut taken);
    assert!(taken.len() < PAGE_BYTES, "{}", taken.len());
}
