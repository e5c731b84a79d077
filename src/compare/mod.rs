//! Comparison: the reports of a boat before and after, and what changed between them.
//!
//! Both sides are read as JSON reports are ([`side`]), so that an earlier run serves as well as a recording. Devices and
//! wires are paired by what they are (`same`); everything else is looked up on the other side through a `view`, which
//! also says what that side could not have shown. Absence is taken for proof only where `proof` finds that the trouble
//! would have shown itself.

mod conditions;
mod devices;
mod findings;
mod html;
mod json;
mod markdown;
pub mod model;
mod need;
mod noise;
mod numbers;
mod proof;
mod said;
mod same;
pub mod side;
mod sources;
mod text;
mod timing;
mod verdict;
mod view;
mod wires;

pub use html::Html;
pub use json::Json;
pub use markdown::Markdown;
pub use text::Text;

use crate::report::model::{Severity, Tool};
use model::{Comparison, RecordingRow, SideRow};
use same::{Ids, Same};
use side::Side;
use std::io;
use view::View;

/// One format of the comparison.
pub trait Renderer {
    /// Writes the whole comparison.
    ///
    /// # Errors
    /// When the output refuses it.
    fn render(&self, comparison: &Comparison, out: &mut dyn io::Write) -> io::Result<()>;
}

/// Compares two sides.
#[must_use]
pub fn compare(before: &Side, after: &Side) -> Comparison {
    let (b_ids, a_ids) = (Ids::of(before), Ids::of(after));
    let (b, a) = ((before, &b_ids), (after, &a_ids));
    let same = Same::of(b, a);
    let (forth, back) = (View::forth(b, a, &same), View::back(b, a, &same));
    let wires = wires::compare(&forth, &back);
    let findings = findings::compare(&forth, &back, &same);
    let mut comparison = Comparison {
        format: "leadsman-compare",
        version: 1,
        tool: Tool { name: "leadsman", version: env!("CARGO_PKG_VERSION") },
        verdict: String::new(),
        next: verdict::next(&findings),
        cannot_tell: verdict::cannot_tell(before, after, &same, &wires),
        before: side_row(before),
        after: side_row(after),
        findings,
        devices: devices::compare(&forth, &back, &same),
        sources: sources::compare(&forth, &back),
        timing: timing::compare(&forth, &back),
        wires,
    };
    comparison.verdict = verdict::line(&comparison);
    comparison
}

fn side_row(side: &Side) -> SideRow {
    let number = |severity| side.findings.iter().filter(|f| f.severity == severity).count() as u64;
    let recordings = side.recordings.iter().map(|r| RecordingRow {
        path: r.path.clone(),
        first: r.first,
        last: r.last,
        duration_s: r.first.zip(r.last).map(|(first, last)| last.since(first)),
        frames: r.frames,
    });
    SideRow {
        recordings: recordings.collect(),
        faults: number(Severity::Fault),
        warnings: number(Severity::Warning),
    }
}
