//! The connections that are open: so many and no more, the oldest ends for the newest.
//!
//! Whoever holds a connection and does nothing with it is the oldest soon, so nobody can keep others out.

use std::collections::VecDeque;
use std::net::{Shutdown, TcpStream};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// A thread whose connection was ended is gone in much less.
const MOST_WAIT: Duration = Duration::from_secs(1);

/// Connections that are open.
pub(super) struct Connections {
    most: usize,
    open: Mutex<Open>,
    /// One has gone.
    gone: Condvar,
}

#[derive(Default)]
struct Open {
    /// Number of the next one.
    next: u64,
    /// Each with its number, the oldest first.
    streams: VecDeque<(u64, TcpStream)>,
}

/// A connection's place; free again when it is dropped.
pub(super) struct Place {
    connections: Arc<Connections>,
    number: u64,
}

impl Connections {
    /// Places for so many.
    pub(super) fn new(most: usize) -> Self {
        Self {
            most,
            open: Mutex::default(),
            gone: Condvar::new(),
        }
    }

    /// A place for this connection; where all are taken, the oldest connection is ended for it. Nothing where that does not help.
    pub(super) fn place(self: &Arc<Self>, stream: &TcpStream) -> Option<Place> {
        let stream = stream.try_clone().ok()?;
        let mut open = self.lock();
        if open.streams.len() >= self.most {
            if let Some((_, oldest)) = open.streams.front() {
                // It may have ended by itself.
                let _ = oldest.shutdown(Shutdown::Both);
            }
            let waited = self
                .gone
                .wait_timeout_while(open, MOST_WAIT, |open| open.streams.len() >= self.most);
            open = waited.unwrap_or_else(PoisonError::into_inner).0;
            if open.streams.len() >= self.most {
                return None;
            }
        }
        let number = open.next;
        open.next += 1;
        open.streams.push_back((number, stream));
        Some(Place {
            connections: Arc::clone(self),
            number,
        })
    }

    /// Nothing is half done where a thread that holds the lock could end.
    fn lock(&self) -> MutexGuard<'_, Open> {
        self.open.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut open = self.connections.lock();
        open.streams.retain(|(number, _)| *number != self.number);
        self.connections.gone.notify_all();
    }
}
