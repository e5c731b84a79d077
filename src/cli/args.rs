//! What can be typed.

use super::when;
use crate::complaints;
use crate::report::model::Severity;
use crate::survey::When;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Reads recordings of a small boat's networks and says what is wrong with the boat, and how it knows.
#[derive(Debug, Parser)]
#[command(
    name = "leadsman",
    version,
    max_term_width = 100,
    after_help = "\
Examples:
  leadsman demo demo/                             write recordings with known faults
  leadsman report bow.log                         say what is wrong
  leadsman report bow.log --complaint no-depth    weigh the causes of one complaint
  leadsman explain duplicate-heading-source       what a finding means
  leadsman scrub bow.log -o share.log             write a copy that is fit to share

Exit status: 0 ran; 1 --fail-on met; 2 nothing usable could be read, or wrong usage.

An aid to fault-finding, not to navigation."
)]
pub struct Args {
    /// The job.
    #[command(subcommand)]
    pub command: Command,
}

/// The jobs.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Report on recordings of one boat: what is wrong, which devices are there, how steadily they send
    Report(ReportArgs),
    /// Explain a kind of finding: what it means, how it is detected, what to check on the boat
    Explain(ExplainArgs),
    /// Write a copy of a recording that tells the fault and not the place, the owner or the gear
    Scrub(ScrubArgs),
    /// Write demo recordings with known faults
    Demo(DemoArgs),
    /// Write the completion script of a shell to standard output
    Completions(CompletionsArgs),
    /// Write the manual page to standard output
    Manual(ManualArgs),
}

/// Arguments of `report`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  leadsman report bow.log
  leadsman report console.pcapng bow.log.gz --complaint heading-jumps
  leadsman report bow.log --from 10:02 --to 10:15 --format json -o bow.json
  zcat bow.log.gz | leadsman report - --fail-on fault

What a recording is, is told from its content: pcap, pcapng, CAN logs, NMEA 0183 text,
plain or compressed with gzip or zstd. Recordings of one boat are merged by time.

Exit status: 0 ran; 1 --fail-on met; 2 nothing usable could be read, or wrong usage.")]
pub struct ReportArgs {
    /// Recordings of one boat; - is standard input
    #[arg(required = true, value_name = "RECORDING", value_hint = clap::ValueHint::FilePath)]
    pub recordings: Vec<String>,
    /// What the owner says; weighs its causes
    #[arg(long, value_name = "NAME", value_parser = complaint())]
    pub complaint: Option<&'static str>,
    /// How to write the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Write to this file, whole or not at all, instead of standard output
    #[arg(short, long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Leave out what lies before: RFC 3339, or a time of day in UTC on the day of the recording
    #[arg(long, value_name = "TIME", value_parser = when::parse)]
    pub from: Option<When>,
    /// Leave out what lies after; a time of day before the begin means the next day
    #[arg(long, value_name = "TIME", value_parser = when::parse)]
    pub to: Option<When>,
    /// Exit with 1 when there is a finding so grave
    #[arg(long, value_enum, value_name = "SEVERITY")]
    pub fail_on: Option<FailOn>,
}

/// Arguments of `explain`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  leadsman explain                             list every kind
  leadsman explain duplicate-heading-source")]
pub struct ExplainArgs {
    /// The finding's kind, as the report names it; without one, all are listed
    #[arg(value_name = "KIND")]
    pub kind: Option<String>,
}

/// Arguments of `scrub`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  leadsman scrub bow.log -o share.log
  leadsman scrub console.pcapng -o share.pcapng --shift-time
  leadsman scrub monday.pcap -o monday-share.pcap --key boat.key
  leadsman scrub tuesday.pcap -o tuesday-share.pcap --key boat.key

Positions move to invented water, names and numbers become invented ones, what is not
understood is blanked. Findings, devices and timing stay. The copy is of the same kind and
compressed alike. Whoever has the key file can turn a copy back: do not pass it on.

Exit status: 0 ran; 2 nothing usable could be read, or wrong usage.")]
pub struct ScrubArgs {
    /// Recording to copy; - is standard input
    #[arg(value_name = "RECORDING", value_hint = clap::ValueHint::FilePath)]
    pub recording: String,
    /// The copy; written whole or not at all
    #[arg(short, long, value_name = "OUT", value_hint = clap::ValueHint::FilePath)]
    pub output: PathBuf,
    /// Leave makers as they are: their codes, and the first half of hardware addresses
    #[arg(long)]
    pub keep_makers: bool,
    /// Secret that several recordings of one boat are copied with, so that the copies belong together; made when missing
    #[arg(long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub key: Option<PathBuf>,
    /// Shift all times by the same number of whole weeks, into the past
    #[arg(long)]
    pub shift_time: bool,
    /// Write over a file that is there
    #[arg(long)]
    pub force: bool,
}

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  leadsman demo demo/")]
pub struct DemoArgs {
    /// Folder to write into; made when it is missing
    #[arg(value_name = "DIR", value_hint = clap::ValueHint::DirPath)]
    pub dir: PathBuf,
    /// Write over files of the same names
    #[arg(long)]
    pub force: bool,
}

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  leadsman completions bash > ~/.local/share/bash-completion/completions/leadsman")]
pub struct CompletionsArgs {
    /// The shell
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}

/// Arguments of `manual`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  leadsman manual > leadsman.1
  leadsman manual report > leadsman-report.1")]
pub struct ManualArgs {
    /// The command whose page is wanted; without one, the page of the whole
    #[arg(value_name = "COMMAND")]
    pub command: Option<String>,
}

/// Formats of the report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people
    Text,
    /// For programs: version 1 of the format in docs/report.schema.json
    Json,
}

/// Severities that can fail a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FailOn {
    /// A fault
    Fault,
    /// A fault or a warning
    Warning,
}

impl FailOn {
    /// The least severity that fails the run.
    #[must_use]
    pub const fn least(self) -> Severity {
        match self {
            Self::Fault => Severity::Fault,
            Self::Warning => Severity::Warning,
        }
    }
}

/// Takes the known complaints and nothing else.
fn complaint() -> impl TypedValueParser<Value = &'static str> {
    PossibleValuesParser::new(complaints::NAMES)
        .map(|name| complaints::NAMES.into_iter().find(|known| *known == name).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_definition_is_sound() {
        Args::command().debug_assert();
    }

    #[test]
    fn every_complaint_can_be_asked() {
        for name in complaints::NAMES {
            let args = Args::try_parse_from(["leadsman", "report", "-", "--complaint", name]).unwrap();
            assert!(matches!(args.command, Command::Report(args) if args.complaint == Some(name)));
        }
    }
}
