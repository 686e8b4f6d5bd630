//! What can be typed. The comments here are the help.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;

use crate::trial::TrialArgs;

/// Ties the closing downforce of a row-crop planter to how evenly the crop came up.
///
/// A review is a folder with your files in raw/ and, if you like, your settings in evenstand.toml. The usual command is
/// `evenstand run REVIEW`; then open report/index.html in that folder.
#[derive(Debug, Parser)]
#[command(version = env!("EVENSTAND_VERSION"), propagate_version = true, max_term_width = 100)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Read raw/ into store/: checked tables, with every row accounted for.
    ///
    /// A file's kind is its name up to the first dot, dash or digit: stand_count-north.csv is a stand count. Columns that
    /// measure something end in their unit (row_length_ft). Other files are read as source blocks in evenstand.toml say;
    /// `evenstand check` proposes one for each. Rows that cannot be used are set aside with the reason.
    #[command(
        after_help = "Example:\n  evenstand ingest my-review\n  Reads my-review/raw/ and writes my-review/store/."
    )]
    Ingest(Common),
    /// Sum the kept telemetry by strip into one file. Only for networks too large for one machine or one go.
    ///
    /// `evenstand model --strip-totals FILE` takes the sums in place of the telemetry.
    #[command(
        after_help = "Example:\n  evenstand link my-review\n  Reads my-review/store/ and writes my-review/strip_totals.parquet: whole-number sums, one row a field, season, strip and planter."
    )]
    Link {
        /// Where the review is.
        #[command(flatten)]
        common: Common,
        /// Write this file; by default strip_totals.parquet in the review folder, or in the folder that --out names.
        #[arg(long, value_name = "FILE")]
        out_file: Option<PathBuf>,
    },
    /// Work out results/ from store/: strips, curves, starting points, comparisons.
    #[command(
        after_help = "Example:\n  evenstand model my-review\n  Reads my-review/store/ and writes my-review/results/, each table as CSV and Parquet."
    )]
    Model {
        /// Where the review is.
        #[command(flatten)]
        common: Common,
        /// Take telemetry from this file, which `evenstand link` wrote, and do not read it again. It is not watched then.
        #[arg(long, value_name = "FILE")]
        strip_totals: Option<PathBuf>,
    },
    /// Make report/ from results/ alone: a page to read and print, and its charts.
    #[command(
        after_help = "Example:\n  evenstand report my-review\n  Reads my-review/results/ and writes my-review/report/index.html."
    )]
    Report(Common),
    /// Do all three: ingest, model, report.
    #[command(
        after_help = "Example:\n  evenstand run my-review\n\n  my-review/\n    evenstand.toml          your planters and choices (may be missing)\n    raw/\n      field.csv             one row a field and season\n      setting_log-2025.csv  how the closing system was set, strip by strip\n      soil_note.csv         moisture and residue near planting\n      stand_count.csv       plants up, by strip and visit\n\n  Then open my-review/report/index.html. Exit status: 0 done; 1 done, but some rows were set aside or some\n  answer is withheld; 2 nothing could be done."
    )]
    Run(Common),
    /// Read and judge raw/ without writing anything, and propose how to read what is not understood.
    #[command(
        after_help = "Example:\n  evenstand check my-review\n  Says which files are read as what and everything that looks wrong in them, and prints a [[source]] block,\n  ready to paste into evenstand.toml, for each file that nothing says how to read."
    )]
    Check(Common),
    /// Write blank record sheets into plan/sheets/: one a raw table, cards for the cab and the dig, a starter evenstand.toml.
    ///
    /// Drop-downs offer the fields, strips and planters that store/ and evenstand.toml know. What is typed into a sheet reads
    /// back without a source block once it lies in raw/.
    #[command(
        after_help = "Example:\n  evenstand sheets my-review\n  Writes my-review/plan/sheets/: CSV and XLSX of each raw table, cab-card.html, dig-card.html, feel-card.html, weigh-card.html, evenstand.toml."
    )]
    Sheets {
        /// Where the review is.
        #[command(flatten)]
        common: Common,
        /// Units of the columns; by default those of the display section.
        #[arg(long, value_enum)]
        units: Option<UnitChoice>,
    },
    /// Lay out next season's strip trial and write its papers into plan/.
    ///
    /// Settings go around the default, inside the knob's limits and where digs found the trench shut. What the review does not
    /// know is asked for; --ask asks for everything, question by question.
    #[command(
        after_help = "Example:\n  evenstand trial my-review --field home-north --condition \"moist, covered\" --planting-date 2027-05-05\n  Writes my-review/plan/home-north-2027/: a page for the cab, count sheets, the layout as a map, and strip, setting_log,\n  stand_count and field tables to fill in. Put those into raw/ after the season; they read back as they are."
    )]
    Trial(Box<TrialArgs>),
    /// Print what makes a shell complete the commands and options of evenstand when Tab is pressed.
    #[command(
        after_help = "Examples:\n  evenstand completions bash > ~/.local/share/bash-completion/completions/evenstand\n  evenstand completions zsh  > DIR/_evenstand      where DIR is one of $fpath\n  evenstand completions fish > ~/.config/fish/completions/evenstand.fish\n  evenstand completions powershell | Out-String | Invoke-Expression\n  It holds from the next shell on."
    )]
    Completions {
        /// The shell.
        #[arg(value_enum)]
        shell: Shell,
    },
    /// Write manual pages: evenstand.1, and one a command.
    #[command(
        after_help = "Example:\n  evenstand man --out ~/.local/share/man/man1\n  Then: man evenstand, man evenstand-run."
    )]
    Man {
        /// Write them into this folder, which is made where it is missing.
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
    },
}

/// Units of blank sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum UnitChoice {
    /// Newtons, kilopascals, metres.
    Metric,
    /// Pounds-force, pounds a square inch, feet.
    Us,
}

/// Options of every command.
#[derive(Debug, Clone, Args)]
pub struct Common {
    /// The review folder.
    pub review: PathBuf,
    /// Put store/, results/ and report/ below this folder instead, and leave the review folder untouched.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Do everything anew, also what hangs on nothing that has changed since the last run.
    #[arg(long)]
    pub afresh: bool,
    /// Print one JSON object on standard output instead of words.
    #[arg(long)]
    pub json: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    pub quiet: bool,
}
