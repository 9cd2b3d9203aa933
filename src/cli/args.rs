//! What may be typed: one record a command, from which help, completions and manual are made.
//!
//! Only the forms of the arguments; what a command does is in a file of its own.

use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use std::path::PathBuf;

/// A port-planning ledger: links, loss, margin, latency and uplink ratios by unit-checked formulas.
#[derive(Debug, Parser)]
#[command(
    name = "portledger",
    version,
    args_conflicts_with_subcommands = true,
    after_help = "Without a command: the ledger on the screen, of PLAN or of the built-in demo plan. Where the output\n\
                  is no terminal, or with --plain: its findings, links and switches as text.\n\
                  Never look into a fibre or port. Local codes and licensed practice rule."
)]
pub struct Line {
    /// The plan to look at; without it, the built-in demo plan.
    pub plan: Option<PathBuf>,
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
    /// How data is written.
    #[arg(
        long = "as",
        value_enum,
        global = true,
        default_value = "table",
        value_name = "FORM"
    )]
    pub form: Form,
    /// Text instead of the screen.
    #[arg(long)]
    pub plain: bool,
    /// Marks and lines of the screen in ASCII alone.
    #[arg(long)]
    pub ascii: bool,
    /// Listen to the mouse on the screen: wheel and clicks.
    #[arg(long)]
    pub mouse: bool,
    /// Whether the screen uses colours; `auto` looks at `NO_COLOR` and the terminal.
    #[arg(long, value_enum, default_value = "auto", value_name = "WHEN")]
    pub colour: Colour,
}

/// When colours are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// Where the terminal has them and `NO_COLOR` is not set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// How data is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Form {
    /// Aligned columns for a person.
    Table,
    /// RFC 4180, exact values, units in the heading.
    Csv,
    /// Exact values, for programs.
    Json,
}

/// A command.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Says what the checks find, worst first; exit 1 where a stop is found.
    #[command(after_help = "Example: portledger check examples/aquarium.plan")]
    Check {
        /// The plan.
        plan: PathBuf,
        /// Look at the plan with this proposal.
        #[arg(long = "in", value_name = "PROPOSAL")]
        within: Option<String>,
    },
    /// Shows a sheet with its computed columns.
    #[command(
        after_help = "Example: portledger show examples/aquarium.plan links --columns id,length,margin,verdict --where 'margin < 1 dB'"
    )]
    Show(Show),
    /// Explains one cell: formula, numbers, and where each of them comes from.
    #[command(after_help = "Example: portledger why examples/aquarium.plan links UP1 margin")]
    Why {
        /// The plan.
        plan: PathBuf,
        /// The sheet, e.g. links.
        sheet: String,
        /// The id of the row.
        row: String,
        /// The column, e.g. margin.
        column: String,
        /// Look at the plan with this proposal.
        #[arg(long = "in", value_name = "PROPOSAL")]
        within: Option<String>,
    },
    /// Computes one formula.
    #[command(after_help = "Example: portledger calc '10 km * 0.35 dB/km + 2 * 0.5 dB'")]
    Calc(Calc),
    /// Writes one cell, in any unit, and saves; says what changed.
    #[command(
        after_help = "Examples: portledger set my.plan links UP1 length '250 ft'\n          \
                            portledger set my.plan assume reserve value '0.3 dB'\n          \
                            portledger set my.plan links --formula margin 'loss_limit - loss - 0.2 dB'"
    )]
    Set(Set),
    /// Makes a new plan, empty or from a table.
    #[command(
        after_help = "Example: portledger new my.plan --from cables.csv --map 'Cable Len=length:ft'"
    )]
    New(New),
    /// Adds the links of a table, or a module from its memory dump, and saves; says what changed.
    #[command(
        after_help = "Examples: portledger import my.plan cables.xlsx --dry-run\n          \
                            portledger import my.plan cables.csv --map 'Cable Len=length:ft'\n          \
                            portledger import my.plan module.bin --link UP1 --end near\n\n\
                      A dump is binary or hex text (0000: 03 04 07 10 ...): 128, 256 or 512 bytes of an SFP,\n\
                      256 or 640 bytes of a QSFP. It becomes a row of the sheet modules; `check` then says where\n\
                      the module is another than the link plans. Its light reading is not taken as measured: to\n\
                      count it, type it yourself: portledger set my.plan links UP1 measured_rx '-4.5 dBm'"
    )]
    Import(Import),
    /// Says what breaks when something fails: links, members, routes and switches out in turn, worst
    /// first; exit 1 where a switch or a path is cut off.
    #[command(
        after_help = "Examples: portledger fail examples/aquarium.plan\n          \
                            portledger fail my.plan --by link --pairs --where 'from == \"acc-reef\"'"
    )]
    Fail(Fail),
    /// Turns one or two entered values over a range; shows what becomes of columns, and where a
    /// verdict turns.
    #[command(
        after_help = "Examples: portledger sweep my.plan links P105 length 10 m to 400 m in 40\n          \
                            portledger sweep my.plan links P105 length 1 to 400 --with links P105 connections 3\n          \
                            portledger sweep my.plan assume reserve 0 to 2 in 20 --of links P105 --show margin,verdict\n          \
                            portledger sweep my.plan links P105 length 10 to 400 --and links P105 connections 1 to 5"
    )]
    Sweep(Sweep),
    /// Ranks every interface and medium that could carry links at their speed, and says why the
    /// others cannot.
    #[command(
        after_help = "Example: portledger options examples/aquarium.plan P105 --rank price,watts"
    )]
    Options(Options),
    /// Says when ports, cages, access and uplinks of each switch are full, and what the next step up
    /// gives.
    #[command(after_help = "Example: portledger growth my.plan --from 2031")]
    Growth(Growth),
    /// Lists what to buy for the planned links, against stock; or the labels of all cables.
    #[command(after_help = "Examples: portledger order my.plan\n          \
                            portledger order my.plan --behind\n          \
                            portledger order my.plan --labels --as csv")]
    Order(Order),
    /// Lists the proposals of a plan, or makes, accepts or drops one, and saves.
    #[command(after_help = "Examples: portledger propose my.plan\n          \
                            portledger propose my.plan 'OS2 uplinks' --note 'quote of May'\n          \
                            portledger set my.plan links UP1 medium OS2 --in 'OS2 uplinks'\n          \
                            portledger propose my.plan 'OS2 uplinks' --accept")]
    Propose(Propose),
    /// Holds proposals beside the base: findings, margins, ratios, latency, power, parts, rows.
    #[command(
        after_help = "Example: portledger compare examples/aquarium.plan 'keep and patch' 'renew the backbone'"
    )]
    Compare(Compare),
    /// Writes pages for people, such as a workbook that calculates by itself; the ending says which.
    #[command(
        after_help = "Examples: portledger export examples/aquarium.plan reef.xlsx\n          \
                                portledger export examples/aquarium.plan switches.csv --sheet switches\n          \
                                portledger export examples/aquarium.plan work.txt\n\n\
                      Each says what it leaves out.\n\
                      The formulas of the workbook follow when lengths, interfaces or assumptions are changed in it.\n\
                      With the first export the plan gets an id, by which a returned workbook finds it again."
    )]
    Export(Export),
    /// Lists what was changed in an exported workbook that came back; takes what you accept, as one
    /// step, and saves.
    #[command(
        after_help = "Examples: portledger merge my.plan returned.xlsx\n          \
                            portledger merge my.plan returned.xlsx --accept theirs\n          \
                            portledger merge my.plan returned.xlsx --accept theirs --accept row:L7\n\n\
                      Each cell is compared on three sides: as it was exported, as it came back, as the plan has\n\
                      it now. Without --accept nothing is changed. Computed cells are never taken."
    )]
    Merge(Merge),
    /// Lists the built-in tables, or shows one with its sources.
    #[command(after_help = "Example: portledger tables channels")]
    Tables {
        /// The table.
        name: Option<String>,
    },
    /// Lists the functions of the formula language, or explains one.
    #[command(after_help = "Example: portledger functions attenuation_at")]
    Functions {
        /// The function.
        name: Option<String>,
    },
    /// Writes completions for a shell.
    #[command(after_help = "Example: portledger completions bash")]
    Completions {
        /// The shell.
        shell: Shell,
    },
    /// Reads a spreadsheet from the standard input within limits, for this program itself.
    #[command(name = crate::files::spreadsheet::SERVE, hide = true)]
    ReadApart {
        /// Which pages.
        wanted: String,
    },
    /// Writes the manual page.
    #[command(after_help = "Example: portledger manual | man -l -")]
    Manual,
}

/// Arguments of `show`.
#[derive(Debug, Args)]
pub struct Show {
    /// The plan.
    pub plan: PathBuf,
    /// The sheet, e.g. links or switches, or `assume` for the assumptions.
    pub sheet: String,
    /// Only these columns, with commas between.
    #[arg(long, value_delimiter = ',', value_name = "NAMES")]
    pub columns: Vec<String>,
    /// Only rows where this formula says yes.
    #[arg(long = "where", value_name = "FORMULA")]
    pub condition: Option<String>,
    /// All columns, the quiet ones too.
    #[arg(long)]
    pub all: bool,
    /// Look at the plan with this proposal.
    #[arg(long = "in", value_name = "PROPOSAL")]
    pub within: Option<String>,
}

/// Arguments of `propose`.
#[derive(Debug, Args)]
pub struct Propose {
    /// The plan.
    pub plan: PathBuf,
    /// The name of the proposal; without it, all are listed.
    pub name: Option<String>,
    /// What there is to say of a new one.
    #[arg(long, value_name = "TEXT", requires = "name", conflicts_with_all = ["accept", "drop", "take_away"])]
    pub note: Option<String>,
    /// The proposal that a new one stands on; without it, the base.
    #[arg(long, value_name = "PROPOSAL", requires = "name", conflicts_with_all = ["accept", "drop", "take_away"])]
    pub on: Option<String>,
    /// Takes a row away in it.
    #[arg(long, num_args = 2, value_names = ["SHEET", "ROW"], requires = "name", conflicts_with_all = ["accept", "drop"])]
    pub take_away: Vec<String>,
    /// Writes it into the base.
    #[arg(long, requires = "name", conflicts_with = "drop")]
    pub accept: bool,
    /// Takes it away with all its changes.
    #[arg(long, requires = "name")]
    pub drop: bool,
}

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub struct Compare {
    /// The plan.
    pub plan: PathBuf,
    /// The proposals; without any, all of them.
    #[arg(value_name = "PROPOSAL")]
    pub proposals: Vec<String>,
    /// All rows that differ, cell by cell.
    #[arg(long)]
    pub rows: bool,
}

/// Arguments of `fail`.
#[derive(Debug, Args)]
pub struct Fail {
    /// The plan.
    pub plan: PathBuf,
    /// Only failures of this kind; may be given several times.
    #[arg(long, value_enum, value_name = "KIND")]
    pub by: Vec<Failing>,
    /// Every two links out together as well; told is what goes beyond each of them alone.
    #[arg(long)]
    pub pairs: bool,
    /// Only links where this formula says yes, one by one and in pairs.
    #[arg(long = "where", value_name = "FORMULA")]
    pub condition: Option<String>,
}

/// What fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Failing {
    /// A whole link.
    Link,
    /// One cable of a bundle.
    Member,
    /// All links on a route.
    Route,
    /// A switch with all its links.
    Switch,
}

/// Arguments of `sweep`.
#[derive(Debug, Args)]
pub struct Sweep {
    /// The plan.
    pub plan: PathBuf,
    /// What is turned, and its range: SHEET ROW COLUMN FROM to TO in STEPS, or assume NAME FROM to TO
    /// in STEPS; units may be left out, and so may the steps.
    #[arg(required = true, num_args = 3.., allow_hyphen_values = false, value_name = "RANGE")]
    pub range: Vec<String>,
    /// A second range, written in the same way.
    #[arg(long, num_args = 3.., value_name = "RANGE")]
    pub and: Vec<String>,
    /// The columns or formulas to look at, with commas between.
    #[arg(long, value_delimiter = ',', value_name = "NAMES")]
    pub show: Vec<String>,
    /// The row to look at, where it is not the one that is swept.
    #[arg(long, num_args = 2, value_names = ["SHEET", "ROW"])]
    pub of: Vec<String>,
    /// A change that holds for the whole sweep: SHEET ROW COLUMN VALUE; may be given several times.
    #[arg(long, num_args = 4, value_names = ["SHEET", "ROW", "COLUMN", "VALUE"])]
    pub with: Vec<String>,
    /// Only the places where a verdict, or another word or flag, turns.
    #[arg(long)]
    pub turns: bool,
    /// Writes the curves into an SVG file.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
}

/// Arguments of `options`.
#[derive(Debug, Args)]
pub struct Options {
    /// The plan.
    pub plan: PathBuf,
    /// The links, of one speed; several are tried together.
    #[arg(required = true, value_name = "LINK")]
    pub links: Vec<String>,
    /// What they are ranked by, the first first: price, watts, latency, margin.
    #[arg(long, value_delimiter = ',', value_name = "WORDS")]
    pub rank: Vec<String>,
}

/// Arguments of `growth`.
#[derive(Debug, Args)]
pub struct Growth {
    /// The plan.
    pub plan: PathBuf,
    /// The year that it is now, so that calendar years can be told.
    #[arg(long, value_name = "YEAR")]
    pub from: Option<i32>,
}

/// Arguments of `order`.
#[derive(Debug, Args)]
pub struct Order {
    /// The plan.
    pub plan: PathBuf,
    /// The links behind each quantity as well.
    #[arg(long)]
    pub behind: bool,
    /// The labels of all cables instead: two of each.
    #[arg(long, conflicts_with = "behind")]
    pub labels: bool,
}

/// Arguments of `calc`.
#[derive(Debug, Args)]
pub struct Calc {
    /// The formula.
    #[arg(allow_hyphen_values = true)]
    pub formula: String,
    /// The unit of the result.
    #[arg(long = "in", value_name = "UNIT")]
    pub unit: Option<String>,
    /// A plan whose assumptions and rows the formula may use; without it, those built in.
    #[arg(long)]
    pub plan: Option<PathBuf>,
    /// A sheet whose columns it may use.
    #[arg(long, requires = "row")]
    pub sheet: Option<String>,
    /// The row of that sheet.
    #[arg(long, requires = "sheet")]
    pub row: Option<String>,
}

/// Arguments of `set`.
#[derive(Debug, Args)]
pub struct Set {
    /// The plan.
    pub plan: PathBuf,
    /// The sheet, or `assume`.
    pub sheet: String,
    /// The id of the row, or the name of the assumption; with --formula, the column.
    pub row: String,
    /// The column; with --formula, the formula.
    #[arg(allow_hyphen_values = true)]
    pub column: String,
    /// The value; empty clears the cell, or puts the built-in value of an assumption back.
    #[arg(
        allow_hyphen_values = true,
        required_unless_present = "formula",
        conflicts_with = "formula"
    )]
    pub value: Option<String>,
    /// Adds the row when it is not there.
    #[arg(long)]
    pub add: bool,
    /// Puts a formula in place of a column's own; an empty one puts the built-in one back.
    #[arg(long)]
    pub formula: bool,
    /// Writes it in this proposal, not in the base.
    #[arg(long = "in", value_name = "PROPOSAL")]
    pub within: Option<String>,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct New {
    /// The plan to make; an existing file is never overwritten.
    pub plan: PathBuf,
    /// The title of the plan.
    #[arg(long, default_value = "")]
    pub title: String,
    /// A table of links to start from.
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,
    /// How a table is read.
    #[command(flatten)]
    pub table: Table,
    /// Only says what would be read.
    #[arg(long)]
    pub dry_run: bool,
}

/// Arguments of `import`.
#[derive(Debug, Args)]
pub struct Import {
    /// The plan.
    pub plan: PathBuf,
    /// A table of links (xlsx, xlsb, xls, ods, csv, tsv), or the memory dump of a module; the
    /// content tells which.
    pub file: PathBuf,
    /// How a table is read.
    #[command(flatten)]
    pub table: Table,
    /// The link that the module serves; without it, its row has no link until you enter one.
    #[arg(long, value_name = "LINK", requires = "end")]
    pub link: Option<String>,
    /// The end of that link where the module sits.
    #[arg(long, value_enum, requires = "link")]
    pub end: Option<End>,
    /// A name for the row of the module; without it, its serial number.
    #[arg(long, value_name = "NAME")]
    pub id: Option<String>,
    /// Only says what would be read.
    #[arg(long)]
    pub dry_run: bool,
}

/// How a table is read, for `import` and `new`.
#[derive(Debug, Args)]
pub struct Table {
    /// Says what a heading means: HEADING=column or HEADING=column:unit; HEADING=text keeps its
    /// cells as text, HEADING=- leaves them out. Kept with the plan for the same headings.
    #[arg(long, value_name = "HEADING=COLUMN")]
    pub map: Vec<String>,
    /// The page of a spreadsheet; without it, the one whose headings say most.
    #[arg(long, value_name = "NAME")]
    pub page: Option<String>,
    /// The number of the row of headings, where it is not found.
    #[arg(long, value_name = "ROW")]
    pub heading_row: Option<usize>,
    /// The encoding of a text, such as windows-1252.
    #[arg(long, value_name = "NAME")]
    pub encoding: Option<String>,
    /// The decimal sign of numbers, where the table does not show it.
    #[arg(long, value_enum, value_name = "SIGN")]
    pub decimal: Option<Sign>,
    /// Leaves out rows that are hidden in the spreadsheet.
    #[arg(long)]
    pub leave_hidden: bool,
    /// Gives an id that stands more than once a number at its end: L1, then L1-2.
    #[arg(long)]
    pub tell_apart: bool,
}

/// A decimal sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Sign {
    /// 1.5
    Point,
    /// 1,5
    Comma,
}

/// Arguments of `export`.
#[derive(Debug, Args)]
pub struct Export {
    /// The plan.
    pub plan: PathBuf,
    /// The file to write; its ending says as what: .xlsx, .ods, .html, .csv, .tsv, .json, or .txt for a work list.
    pub file: PathBuf,
    /// The sheet of a list (links without it), or a sheet of a page or of json; may be given again.
    #[arg(long, value_name = "SHEET")]
    pub sheet: Vec<String>,
    /// A work list of all links, also of those that are in service, spare or out.
    #[arg(long)]
    pub every_state: bool,
    /// Replaces the file when it is there.
    #[arg(long)]
    pub replace: bool,
}

/// Arguments of `merge`.
#[derive(Debug, Args)]
pub struct Merge {
    /// The plan.
    pub plan: PathBuf,
    /// The workbook that came back.
    pub file: PathBuf,
    /// Takes a part of the changes: theirs, conflict, new, missing, duplicate, row:ID,
    /// row:SHEET/ID or column:NAME. May stand several times.
    #[arg(long, value_name = "WHAT")]
    pub accept: Vec<String>,
}

/// An end of a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum End {
    /// The end named by `from`.
    Near,
    /// The end named by `to`.
    Far,
}
