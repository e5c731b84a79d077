//! Whether a reading shows an engine that stands.

use crate::messages::Reading;

/// An engine that turns more slowly than this stands or is started: a starter turns it at 150 to 250 a minute (common practice,
/// no source).
const RUNS_RPM: f64 = 250.0;

/// The oil of an engine that stands has no pressure; at idle it has more than this, pascal (common practice, no source).
const RUNS_PA: f64 = 50_000.0;

/// Whether a reading shows an engine that stands.
pub(super) fn stands(reading: &Reading) -> bool {
    match reading {
        Reading::Engine { rpm: Ok(rpm), .. } => *rpm < RUNS_RPM,
        Reading::Other { quantity: "oil-pressure", value: Ok(pa), .. } => *pa < RUNS_PA,
        _ => false,
    }
}
