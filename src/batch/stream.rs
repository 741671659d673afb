//! Blocks answered by several threads, and what came of them handed on in the order of the blocks.
//!
//! One thread reads, some work, and the caller's own takes what is done. There are so many buffers for what is read and no
//! more: who reads waits for one that was handed back, so that a slow reader of the answers slows everything, and nothing piles up.
//! The thread that reads is left behind where it waits for something that nobody writes, when the answers cannot be taken any more.

use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

use crate::batch::lines::{Block, InputEnd};

/// Buffers for each thread that works: one in work, one that waits for it, one that waits to be handed on.
const BUFFERS_A_THREAD: usize = 3;
/// How often it is looked whether somebody wants to stop while nothing happens.
const LOOK: Duration = Duration::from_millis(100);

/// How what is read is shared out.
#[derive(Debug, Clone, Copy)]
pub struct Share {
    /// Threads that work; at least one does.
    pub n_threads: usize,
    /// Most lines of a block.
    pub n_lines: usize,
}

/// What the threads tell.
enum Event<T> {
    Read(Block),
    Ended(InputEnd),
    Done(u64, Block, T),
}

/// Has every block of what is read worked on, and hands on each block with what came of it, in their order. `next` makes the
/// next block of a buffer, or says how the input ended.
///
/// `take` may break off, for example since a result cannot be written; `stop` ends the reading, and what was read by then is
/// still worked on and handed on.
///
/// # Returns
/// How the input ended; `None` after `take` broke off.
pub fn run<T: Send + 'static>(
    mut next: impl FnMut(Vec<u8>) -> Result<Block, InputEnd> + Send + 'static,
    n_threads: usize,
    stop: &AtomicBool,
    work: impl Fn(&Block) -> T + Sync,
    mut take: impl FnMut(&Block, T) -> ControlFlow<()>,
) -> Option<InputEnd> {
    let n_threads = n_threads.max(1);
    let (tell, told) = mpsc::channel();
    let (hand_back, free) = mpsc::channel();
    for _ in 0..n_threads * BUFFERS_A_THREAD {
        let _ = hand_back.send(Vec::new());
    }
    let tell_read = tell.clone();
    thread::spawn(move || {
        while let Ok(buffer) = free.recv() {
            let (event, is_last) = match next(buffer) {
                Ok(block) => (Event::Read(block), false),
                Err(end) => (Event::Ended(end), true),
            };
            if tell_read.send(event).is_err() || is_last {
                return;
            }
        }
    });
    let (give, given) = mpsc::channel::<(u64, Block)>();
    let given = Mutex::new(given);
    thread::scope(|scope| {
        let workers: Vec<_> = (0..n_threads)
            .map(|_| {
                let (tell, given, work) = (tell.clone(), &given, &work);
                scope.spawn(move || {
                    let next = || given.lock().ok()?.recv().ok();
                    while let Some((n, block)) = next() {
                        let made = work(&block);
                        if tell.send(Event::Done(n, block, made)).is_err() {
                            return;
                        }
                    }
                })
            })
            .collect();
        // Whatever ends this ends the workers, too: there is nobody else to give them anything.
        let give = give;
        let (mut n_given, mut n_taken) = (0, 0);
        let mut done: BTreeMap<u64, (Block, T)> = BTreeMap::new();
        let mut end: Option<InputEnd> = None;
        loop {
            match end.take() {
                Some(it) if n_taken == n_given => return Some(it),
                it => end = it,
            }
            if end.is_none() && stop.load(Ordering::Relaxed) {
                end = Some(InputEnd::Stopped);
            }
            match told.recv_timeout(LOOK) {
                Ok(Event::Read(block)) if end.is_none() => {
                    let _ = give.send((n_given, block));
                    n_given += 1;
                }
                // Read after somebody stopped it.
                Ok(Event::Read(_)) => {}
                Ok(Event::Ended(it)) => {
                    end.get_or_insert(it);
                }
                Ok(Event::Done(n, block, made)) => {
                    done.insert(n, (block, made));
                    while let Some((block, made)) = done.remove(&n_taken) {
                        if take(&block, made).is_break() {
                            return None;
                        }
                        n_taken += 1;
                        let _ = hand_back.send(block.bytes);
                    }
                }
                // A worker ends before the others only by a panic, which leaving the scope hands on.
                Err(RecvTimeoutError::Timeout)
                    if workers.iter().all(|worker| !worker.is_finished()) => {}
                Err(_) => return None,
            }
        }
    })
}
