//! Many stills at a time, their results in the order of the stills.

use super::inputs::Job;
use crate::measurement::{Measured, measure};
use crate::record::{Outcome, Record, Refusal, RefusalCode, Still};
use crate::stills::load::{Loaded, load, unread};
use crate::vision::Picture;
use std::any::Any;
use std::num::NonZeroUsize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::channel;

/// What came of a still: its record, and what `draw` made of it where there was a picture.
pub(super) struct Done<D> {
    /// The record.
    pub record: Record,
    /// The drawing's result; `None` without a picture.
    pub drawn: Option<D>,
}

/// Load, measure and draw one still. The picture is gone when this returns.
pub(super) fn measured<D>(job: &Job, draw: impl FnOnce(&Measured, &Picture) -> D) -> Done<D> {
    let all = || match load(&job.path, job.case.recording()) {
        Ok(Loaded { picture, still, warnings }) => {
            let mut measured = measure(&picture, still, &job.case);
            measured.record.warnings.splice(0..0, warnings.into_iter().chain(job.warnings.iter().cloned()));
            let drawn = draw(&measured, &picture);
            Done { record: measured.record, drawn: Some(drawn) }
        }
        Err(failure) => Done {
            record: unreadable(job, failure.still.clone(), failure.to_string(), failure.cause.hint()),
            drawn: None,
        },
    };
    // A fault of ours in one still must not lose the others.
    catch_unwind(AssertUnwindSafe(all)).unwrap_or_else(|panic| {
        let message = format!("a fault in stillaxis stopped the measurement: {}", panic_text(panic.as_ref()));
        let still = unread(&job.path, job.case.recording());
        Done {
            record: unreadable(job, still, message, "measure the other stills; report this one to who keeps stillaxis"),
            drawn: None,
        }
    })
}

/// Run `work` on every job, `threads` at a time, and hand the results to `done` in the order of the jobs.
pub(super) fn in_order<J: Sync, R: Send>(
    jobs: &[J],
    threads: NonZeroUsize,
    work: impl Fn(usize, &J) -> R + Sync,
    mut done: impl FnMut(R),
) {
    let next = AtomicUsize::new(0);
    let (sender, results) = channel();
    std::thread::scope(|scope| {
        for _ in 0..threads.get().min(jobs.len()) {
            let sender = sender.clone();
            let (next, work) = (&next, &work);
            scope.spawn(move || {
                while let Some((at, job)) = {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    jobs.get(at).map(|job| (at, job))
                } {
                    if sender.send((at, work(at, job))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let mut waiting: Vec<Option<R>> = jobs.iter().map(|_| None).collect();
        let mut first = 0;
        for (at, result) in results {
            waiting[at] = Some(result);
            while let Some(result) = waiting.get_mut(first).and_then(Option::take) {
                done(result);
                first += 1;
            }
        }
    });
}

fn unreadable(job: &Job, still: Still, message: String, hint: &str) -> Record {
    Record {
        refusals: vec![Refusal { code: RefusalCode::Unreadable, message, hint: hint.into(), alternatives: Vec::new() }],
        warnings: job.warnings.clone(),
        ..Record::new(still, job.case.columns.clone(), Outcome::Unreadable)
    }
}

fn panic_text(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().copied().or_else(|| panic.downcast_ref::<String>().map(String::as_str));
    text.unwrap_or("without a message").to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stills::sheet::Case;
    use image::{Rgb, RgbImage};

    fn job(path: std::path::PathBuf) -> Job {
        Job { path, case: Case::default(), warnings: vec!["from the sheet".to_owned()] }
    }

    /// A fault of the program in one still becomes its record; the stills about it keep theirs, in their order.
    #[test]
    fn a_panic_loses_no_other_still() {
        let folder = tempfile::tempdir().unwrap();
        let jobs: Vec<Job> = (0..4).map(|k| job(folder.path().join(format!("{k}.png")))).collect();
        for job in &jobs {
            RgbImage::from_pixel(120, 100, Rgb([90, 60, 50])).save(&job.path).unwrap();
        }
        let work = |at: usize, job: &Job| measured(job, |_, _| assert_ne!(at, 2, "drawn badly"));
        let mut records = Vec::new();
        in_order(&jobs, NonZeroUsize::new(2).unwrap(), work, |done| records.push(done.record));
        let outcomes: Vec<Outcome> = records.iter().map(|record| record.outcome).collect();
        let [refused, unreadable] = [Outcome::Refused, Outcome::Unreadable];
        assert_eq!(outcomes, [refused, refused, unreadable, refused]);
        let message = &records[2].refusals[0].message;
        assert!(message.contains("a fault in stillaxis stopped the measurement") && message.contains("drawn badly"));
        assert_eq!(records[2].still.path, jobs[2].path.to_string_lossy());
        assert_eq!(records[2].warnings, ["from the sheet"]);
    }
}
