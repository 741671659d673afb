//! The connections of the desk: from this computer alone, not many at once, none that dawdles.

use std::future::Future;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::{Instant, Sleep, sleep};

/// How long a connection may stay without a word. A browser opens some ahead of time.
const QUIET: Duration = Duration::from_secs(60);
/// How long a request may take to arrive, from its first byte.
const ARRIVING: Duration = Duration::from_secs(10);
/// How many connections there may be at once. A browser has at most six to one host.
const MOST: usize = 64;

/// Listens on the loopback address. INVARIANT: no other address is ever bound, and nothing asks for one.
pub(crate) struct Loopback {
    listener: TcpListener,
    /// One more than there are connections.
    seats: Arc<()>,
}

impl Loopback {
    /// Takes a port, or any free one for 0.
    pub async fn bind(port: u16) -> io::Result<Self> {
        Ok(Self {
            listener: TcpListener::bind((Ipv4Addr::LOCALHOST, port)).await?,
            seats: Arc::new(()),
        })
    }
}

impl Listener for Loopback {
    type Io = Unhurried;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Unhurried, SocketAddr) {
        loop {
            match self.listener.accept().await {
                // One too many is dropped at once: whoever holds the others must let go first.
                Ok((stream, from)) if Arc::strong_count(&self.seats) <= MOST => {
                    let io = Unhurried {
                        stream,
                        until: Box::pin(sleep(QUIET)),
                        has_begun: false,
                        _seat: Arc::clone(&self.seats),
                    };
                    return (io, from);
                }
                Ok(_) => {}
                // Out of file handles, or the other end went away: neither is mended by trying at once.
                Err(_) => sleep(Duration::from_millis(100)).await,
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// A connection whose request must have arrived in time. One request each: answers say `Connection: close`.
pub(crate) struct Unhurried {
    stream: TcpStream,
    until: Pin<Box<Sleep>>,
    has_begun: bool,
    _seat: Arc<()>,
}

impl AsyncRead for Unhurried {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let read = Pin::new(&mut self.stream).poll_read(context, buffer);
        if !self.has_begun && buffer.filled().len() > before {
            self.has_begun = true;
            self.until.as_mut().reset(Instant::now() + ARRIVING);
        }
        if read.is_pending() && self.until.as_mut().poll(context).is_ready() {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        read
    }
}

impl AsyncWrite for Unhurried {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}
