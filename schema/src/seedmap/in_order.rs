//! Work on several threads whose results are taken in order.
//!
//! In: how many pieces there are, how one is made, how one is taken. Whichever thread is free makes the
//! next piece, so that no thread waits for a slower one; at most [`AHEAD`] pieces a thread are made or
//! wait beyond the one that is taken next, so that memory does not grow with their number.

use std::collections::VecDeque;
use std::io;
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, SyncSender, channel, sync_channel};
use std::thread;

/// Pieces for each thread that are being made or wait to be taken.
const AHEAD: usize = 2;

/// How many threads may run at once.
pub fn processors() -> usize {
    thread::available_parallelism().map_or(1, usize::from)
}

/// Makes pieces 0, 1, … on so many threads and takes them in that order on this one. What a thread needs
/// again from piece to piece it keeps in `K`. The first piece that cannot be taken ends the work.
pub fn in_order<K: Default, T: Send + 'static>(
    threads: usize,
    pieces: usize,
    make: impl Fn(usize, &mut K) -> T + Sync,
    mut take: impl FnMut(T) -> io::Result<()>,
) -> io::Result<()> {
    let (orders, queue) = channel::<(usize, SyncSender<T>)>();
    let queue = Mutex::new(queue);
    let next_order = || queue.lock().ok()?.recv().ok();
    thread::scope(|scope| {
        for _ in 0..threads.min(pieces) {
            scope.spawn(|| {
                let mut kept = K::default();
                while let Some((piece, answer)) = next_order() {
                    if answer.send(make(piece, &mut kept)).is_err() {
                        return;
                    }
                }
            });
        }
        // Dropped where this closure ends, however it ends: then the threads end too.
        let orders = orders;
        let ahead = AHEAD * threads;
        let mut answers: VecDeque<Receiver<T>> = VecDeque::with_capacity(ahead);
        for piece in 0..pieces + ahead {
            if piece >= ahead
                && let Some(answer) = answers.pop_front()
            {
                take(answer.recv().map_err(io::Error::other)?)?;
            }
            if piece < pieces {
                let (sender, answer) = sync_channel(1);
                orders.send((piece, sender)).map_err(io::Error::other)?;
                answers.push_back(answer);
            }
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    fn taken(threads: usize, pieces: usize) -> Vec<usize> {
        let mut taken = Vec::new();
        // Every third piece takes longer, so that the next are ready before it.
        let make = |piece: usize, (): &mut ()| {
            if piece.is_multiple_of(3) {
                thread::sleep(Duration::from_millis(2));
            }
            piece
        };
        let take = |piece| {
            taken.push(piece);
            Ok(())
        };
        in_order(threads, pieces, make, take).unwrap();
        taken
    }

    #[test]
    fn every_piece_is_taken_once_and_in_order() {
        for (threads, pieces) in [(1, 10), (2, 40), (7, 40), (7, 3), (2, 0)] {
            assert_eq!(taken(threads, pieces), (0..pieces).collect::<Vec<_>>());
        }
    }

    /// While each piece is taken slowly, the threads could run far ahead.
    #[test]
    fn few_pieces_are_made_ahead() {
        let (made, mut taken) = (AtomicUsize::new(0), 0);
        let make = |_, (): &mut ()| made.fetch_add(1, Ordering::SeqCst);
        let take = |_| {
            thread::sleep(Duration::from_millis(2));
            assert!(made.load(Ordering::SeqCst) <= taken + AHEAD * 3);
            taken += 1;
            Ok(())
        };
        in_order(3, 50, make, take).unwrap();
        assert_eq!(taken, 50);
    }

    #[test]
    fn a_thread_keeps_what_it_needs_again() {
        let make = |_, so_far: &mut usize| {
            *so_far += 1;
            *so_far
        };
        let mut last = 0;
        let take = |so_far| {
            last = so_far;
            Ok(())
        };
        in_order(1, 9, make, take).unwrap();
        assert_eq!(last, 9);
    }

    #[test]
    fn a_piece_that_cannot_be_taken_ends_the_work() {
        let made = AtomicUsize::new(0);
        let make = |_, (): &mut ()| made.fetch_add(1, Ordering::SeqCst);
        let error = in_order(2, 1000, make, |_| Err(io::ErrorKind::StorageFull.into())).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::StorageFull);
        assert!(made.load(Ordering::SeqCst) <= AHEAD * 2);
    }
}
