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
  leadsman compare before.log after.log           what is cleared, and what is new
  leadsman learn good.pcapng -o boat.toml         draft a boat file
  leadsman verify bow.log --boat boat.toml        hold a recording against it
  leadsman explain duplicate-heading-source       what a finding means
  leadsman scrub bow.log -o share.log             write a copy that is fit to share

Exit status: 0 ran; 1 verify failed or --fail-on met; 2 nothing usable could be read, or wrong
usage.

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
    /// Compare two visits to one boat: what is cleared, what is still there, what is new
    Compare(CompareArgs),
    /// Draft a boat file from recordings of a boat that works
    Learn(LearnArgs),
    /// Check a boat against its boat file: on paper, or with recordings held against it
    Verify(VerifyArgs),
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
  leadsman report shop/ --tables shop-tables/    a line for each recording in a folder, and tables to ask

What a recording is, is told from its content: pcap, pcapng, CAN logs, NMEA 0183 text,
plain or compressed with gzip or zstd. Recordings of one boat are merged by time.

Exit status: 0 ran; 1 --fail-on met; 2 nothing usable could be read, or wrong usage.")]
pub struct ReportArgs {
    /// Recordings of one boat; - is standard input; a folder stands for each recording in it, by itself
    #[arg(required = true, value_name = "RECORDING", value_hint = clap::ValueHint::AnyPath)]
    pub recordings: Vec<String>,
    /// Take each recording as a boat of its own: one line a recording, or one JSON document a line
    #[arg(long)]
    pub each: bool,
    /// Also write devices, sources, timing and findings as Parquet files into this folder
    #[arg(long, value_name = "DIR", value_hint = clap::ValueHint::DirPath)]
    pub tables: Option<PathBuf>,
    /// What the owner says; weighs its causes
    #[arg(long, value_name = "NAME", value_parser = complaint())]
    pub complaint: Option<&'static str>,
    /// Call devices by the names of this boat file, and name cables and ports (see docs/boat-file.md)
    #[arg(long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub boat: Option<PathBuf>,
    /// How to write the report
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Write to this file, whole or not at all, instead of standard output
    #[arg(short, long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Leave out what lies before: RFC 3339, or a time of day in UTC, on the day of the recording or
    /// the next where it runs over midnight
    #[arg(long, value_name = "TIME", value_parser = when::parse)]
    pub from: Option<When>,
    /// Leave out what lies after; a time of day before the begin means the next day
    #[arg(long, value_name = "TIME", value_parser = when::parse)]
    pub to: Option<When>,
    /// Exit with 1 when there is a finding so grave
    #[arg(long, value_enum, value_name = "SEVERITY")]
    pub fail_on: Option<FailOn>,
}

/// Arguments of `compare`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  leadsman compare before.log after.log
  leadsman compare before.json after.log.gz
  leadsman compare --before bow.log console.pcapng --after bow2.log console2.pcapng
  leadsman compare before.log after.log --format json --fail-on fault

A side is a recording, - for standard input, or the JSON report of an earlier run
(leadsman report RECORDING --format json); which of them is told from its content.

Exit status: 0 ran; 1 --fail-on met; 2 nothing usable could be read, or wrong usage.")]
pub struct CompareArgs {
    /// The earlier side and the later one
    #[arg(
        value_names = ["BEFORE", "AFTER"], num_args = 2, required_unless_present = "before",
        value_hint = clap::ValueHint::FilePath
    )]
    pub sides: Vec<String>,
    /// Several recordings of the earlier side
    #[arg(
        long, num_args = 1.., value_name = "RECORDING", requires = "after", conflicts_with = "sides",
        value_hint = clap::ValueHint::FilePath
    )]
    pub before: Vec<String>,
    /// Several recordings of the later side
    #[arg(
        long, num_args = 1.., value_name = "RECORDING", requires = "before", conflicts_with = "sides",
        value_hint = clap::ValueHint::FilePath
    )]
    pub after: Vec<String>,
    /// How to write the comparison
    #[arg(long, value_enum, default_value_t = CompareFormat::Text)]
    pub format: CompareFormat,
    /// Write to this file, whole or not at all, instead of standard output
    #[arg(short, long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Exit with 1 when the later side has a finding so grave that the earlier one does not show
    #[arg(long, value_enum, value_name = "SEVERITY")]
    pub fail_on: Option<FailOn>,
}

/// Arguments of `learn`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  leadsman learn console.pcapng bow.log -o boat.toml

The draft holds what the recordings tell, and comments that begin with FILL IN for what only you
know. Faults are not learnt: they are told on standard error and in comments.

Exit status: 0 ran; 2 nothing usable could be read, or wrong usage.")]
pub struct LearnArgs {
    /// Recordings of one boat; - is standard input
    #[arg(required = true, value_name = "RECORDING", value_hint = clap::ValueHint::FilePath)]
    pub recordings: Vec<String>,
    /// Write to this file, whole or not at all, instead of standard output
    #[arg(short, long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Write over a file that is there
    #[arg(long)]
    pub force: bool,
}

/// Arguments of `verify`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  leadsman verify --boat boat.toml                         check the plan before anything is mounted
  leadsman verify bow.log --boat boat.toml                 acceptance: hold recordings against it
  leadsman verify bow.log --boat boat.toml --format html -o sheet.html

Without a recording: ports, plugs, cable lengths, terminators, current and voltage of the backbone,
suppliers and needs. With recordings also: every device, supply, need, address and limit, with the
number that was measured beside the one that is expected.

Exit status: 0 nothing failed; 1 something failed; 2 nothing usable could be read, or wrong usage.")]
pub struct VerifyArgs {
    /// Recordings of the boat; - is standard input; none for a check on paper
    #[arg(value_name = "RECORDING", value_hint = clap::ValueHint::FilePath)]
    pub recordings: Vec<String>,
    /// The boat file (see docs/boat-file.md)
    #[arg(long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub boat: PathBuf,
    /// How to write the sheet
    #[arg(long, value_enum, default_value_t = SheetFormat::Text)]
    pub format: SheetFormat,
    /// Write to this file, whole or not at all, instead of standard output
    #[arg(short, long, value_name = "FILE", value_hint = clap::ValueHint::FilePath)]
    pub output: Option<PathBuf>,
}

/// Formats of the acceptance sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SheetFormat {
    /// For people
    Text,
    /// For programs: version 1 of the format in docs/verify.schema.json
    Json,
    /// For a forum or a ticket
    Markdown,
    /// A page in one file, to be printed and signed
    Html,
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
    /// A page in one file, to open on a phone, to print or to mail
    Html,
    /// For a post in a forum, short
    Markdown,
}

/// Formats of the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum CompareFormat {
    /// For people
    Text,
    /// For programs: version 1 of the format in docs/compare.schema.json
    Json,
    /// For a forum or a ticket
    Markdown,
    /// One page in one file, for a browser or the printer
    Html,
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
