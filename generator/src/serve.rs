//! One page, served to this machine alone.
//!
//! The server listens on the loopback address, answers only requests that name that address as their host (so that no other site can
//! reach it through a name of its own), gives out one fixed page, and takes nothing in. Whoever connects has a thread, some seconds and
//! some kilobytes; what a request says of its own length is not believed, as nothing behind its head is used.

mod connections;
mod request;
#[cfg(test)]
mod tests;

use std::io::{self, Read as _, Write as _};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use jiff::Timestamp;
use jiff::fmt::rfc2822::DateTimePrinter;

use crate::failure::Failure;
use connections::Connections;
use request::Answer;

/// What every answer says of itself.
const HEADERS: [(&str, &str); 7] = [
    ("Connection", "close"),
    ("Content-Type", "text/html; charset=utf-8"),
    ("Cache-Control", "no-store"),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Content-Security-Policy", "frame-ancestors 'none'"),
];

/// So many connections are open at once; one more ends the oldest of them.
const MOST_CONNECTIONS: usize = 16;
/// What is discarded behind the head of a request (bytes), so that the answer arrives before the end does.
const MOST_DISCARDED: usize = 64 << 10;
/// Before the next try where the system gives no connection: it may lack handles for a while.
const PAUSE: Duration = Duration::from_millis(20);

/// How long each part of a connection may take.
#[derive(Clone, Copy)]
struct Patience {
    /// Until the whole head of the request is there.
    request: Duration,
    /// Until the whole answer is taken.
    answer: Duration,
    /// Until the other side ends the connection.
    end: Duration,
}

/// Beyond what a browser on the same machine needs.
const PATIENCE: Patience = Patience {
    request: Duration::from_secs(5),
    answer: Duration::from_secs(20),
    end: Duration::from_secs(1),
};

/// What is served, and how.
struct Served {
    page: String,
    port: u16,
    patience: Patience,
}

/// Serves `page` until the process is stopped; port 0 stands for any free one.
pub(crate) fn page(page: &str, port: u16) -> Result<(), Failure> {
    let unusable = |error: io::Error| Failure::Unusable(format!("port {port} cannot be served on: {error}"));
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(unusable)?;
    let port = listener.local_addr().map_err(unusable)?.port();
    crate::commands::say(&format!(
        "the workbench is at http://127.0.0.1:{port}/ for this machine alone; Ctrl-C stops it"
    ));
    let page = page.to_owned();
    serve(
        &listener,
        Served {
            page,
            port,
            patience: PATIENCE,
        },
    );
    Ok(())
}

/// Answers whoever connects, each on a thread of its own.
fn serve(listener: &TcpListener, served: Served) {
    let served = Arc::new(served);
    let connections = Arc::new(Connections::new(MOST_CONNECTIONS));
    for stream in listener.incoming() {
        let Ok(stream) = stream else {
            thread::sleep(PAUSE);
            continue;
        };
        // Without a place the connection is ended.
        let Some(place) = connections.place(&stream) else {
            continue;
        };
        let served = Arc::clone(&served);
        let answering = thread::Builder::new().spawn(move || {
            // A reader that went away is nobody's fault.
            let _ = served.answer(&stream);
            drop(place);
        });
        if answering.is_err() {
            thread::sleep(PAUSE);
        }
    }
}

impl Served {
    /// Reads one request, answers it and ends the connection.
    fn answer(&self, mut stream: &TcpStream) -> io::Result<()> {
        let patience = self.patience;
        let Some((answer, is_head)) = self.answer_to(stream)? else {
            return Ok(());
        };
        let until = Instant::now() + patience.answer;
        send(stream, head(&answer).as_bytes(), until)?;
        if !is_head {
            send(stream, answer.body.as_bytes(), until)?;
        }
        // Ended with something unread, the connection would be cut off before the answer is taken.
        stream.shutdown(Shutdown::Write)?;
        let until = Instant::now() + patience.end;
        let (mut discarded, mut bytes) = (0, [0; 4096]);
        while discarded < MOST_DISCARDED {
            stream.set_read_timeout(Some(remaining(until)?))?;
            match stream.read(&mut bytes)? {
                0 => break,
                read => discarded += read,
            }
        }
        Ok(())
    }

    /// What the request on a connection gets, and whether only the head of that; nothing where there is no request.
    fn answer_to(&self, mut stream: &TcpStream) -> io::Result<Option<(Answer<'_>, bool)>> {
        let until = Instant::now() + self.patience.request;
        let mut bytes = [0; request::MOST_BYTES];
        let mut length = 0;
        loop {
            let Ok(left) = remaining(until) else {
                return Ok(Some((request::TOO_SLOW, false)));
            };
            stream.set_read_timeout(Some(left))?;
            let read = match stream.read(&mut bytes[length..]) {
                Ok(0) => return Ok(None),
                Ok(read) => read,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                // Which of the two it is depends on the system.
                Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
                    continue;
                }
                Err(error) => return Err(error),
            };
            length += read;
            if let Some(answered) = request::answered(&bytes[..length], &self.page, self.port) {
                return Ok(Some(answered));
            }
        }
    }
}

/// Writes all of it, however slowly it is taken, but no longer than until then.
fn send(mut stream: &TcpStream, mut left: &[u8], until: Instant) -> io::Result<()> {
    while !left.is_empty() {
        stream.set_write_timeout(Some(remaining(until)?))?;
        match stream.write(left) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(written) => left = &left[written..],
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// The time that is left, which is above 0.
fn remaining(until: Instant) -> io::Result<Duration> {
    let left = until.saturating_duration_since(Instant::now());
    if left.is_zero() {
        return Err(io::ErrorKind::TimedOut.into());
    }
    Ok(left)
}

/// The status line and the headers of an answer.
fn head(answer: &Answer<'_>) -> String {
    let mut head = format!("HTTP/1.1 {} {}\r\n", answer.status, answer.reason);
    // RFC 9110, section 6.6.1; a clock that is beyond its calendar leaves it out.
    if let Ok(date) = DateTimePrinter::new().timestamp_to_rfc9110_string(&Timestamp::now()) {
        head.push_str(&format!("Date: {date}\r\n"));
    }
    if answer.status == request::NOT_ALLOWED {
        head.push_str("Allow: GET, HEAD\r\n");
    }
    head.push_str(&format!("Content-Length: {}\r\n", answer.body.len()));
    for (name, value) in HEADERS {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    head + "\r\n"
}
