//! What the pictures are drawn from: plain numbers, bounded in the books; no part of the machine-readable format.

mod compare;
mod fill;

use super::model::Bin;
use crate::time::{Span, Time};
pub use fill::fill;

/// Everything that pictures show and no other format does.
#[derive(Debug, Clone, Default)]
pub struct Plots {
    /// The first and the last timed frame of all wires.
    pub range: Option<Span>,
    /// When each device was heard, in the order of the report's devices.
    pub presence: Vec<Presence>,
    /// Values over time, source by source.
    pub lines: Vec<Line>,
    /// Intervals of the periodic messages that have findings, then of the sources of heading, position and depth.
    pub intervals: Vec<IntervalPlot>,
    /// The spans of each finding on the time that the pictures are drawn on, where that is not the stamps': it goes on evenly
    /// where the recorder's clock was set back.
    pub spans: Vec<Vec<Span>>,
    /// Share of valid depth by the boat's speed.
    pub depth_by_speed: Vec<BySpeed>,
    /// Two headings, the second minus the first over the first; degrees.
    pub heading_differences: Vec<Scatter>,
    /// Two positions, the second seen from the first; metres.
    pub separations: Vec<Scatter>,
}

/// When a device was heard.
#[derive(Debug, Clone)]
pub struct Presence {
    /// Device id.
    pub device: String,
    /// First to last frame.
    pub heard: Span,
    /// Its longest silences, in order of time.
    pub silences: Vec<Span>,
}

/// A value over time.
#[derive(Debug, Clone)]
pub struct Line {
    /// Id of the device that supplies it, or of the wire whose load it is.
    pub subject: String,
    /// In which message; empty for a wire.
    pub message: String,
    /// Plain name of the quantity; `load` (percent) and `rate` (kilobyte a second) are of wires.
    pub quantity: &'static str,
    /// What it counts from.
    pub reference: Option<&'static str>,
    /// Which of several alike.
    pub instance: Option<u8>,
    /// Points further apart than this are not joined, seconds.
    pub join_s: f64,
    /// The points in the order of time.
    pub points: Vec<Point>,
}

/// What came within a short time.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    /// The first message.
    pub from: Time,
    /// The last message.
    pub to: Time,
    /// Smallest value, mean, largest value; `None` when the messages held none.
    pub values: Option<(f64, f64, f64)>,
}

/// The intervals of one message.
#[derive(Debug, Clone)]
pub struct IntervalPlot {
    /// Device id.
    pub device: String,
    /// PGN in decimal, or sentence with talker.
    pub message: String,
    /// Standard or learnt interval, seconds.
    pub nominal_s: Option<f64>,
    /// Bins of even width on a logarithmic axis, without the empty ones.
    pub bins: Vec<Bin>,
}

/// Depth messages by the boat's speed.
#[derive(Debug, Clone)]
pub struct BySpeed {
    /// Device id.
    pub device: String,
    /// The message.
    pub message: String,
    /// Lower edge of the class in knots, messages with depth, messages without; without the empty classes.
    pub classes: Vec<(f64, u32, u32)>,
    /// Width of a class, knots.
    pub class_kn: f64,
}

/// Points of two sources compared, for one finding.
#[derive(Debug, Clone)]
pub struct Scatter {
    /// Index of the finding.
    pub finding: usize,
    /// Ids of the two devices.
    pub devices: [String; 2],
    /// Whether positions are in the boat's axes (forward, starboard) rather than north and east.
    pub boat_axes: bool,
    /// Heading and difference, or metres to starboard (east) and forward (north).
    pub points: Vec<(f64, f64)>,
}
