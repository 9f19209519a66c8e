//! The command line: arguments, one file a command, printing.

pub mod args;
mod batch;
mod brief;
mod check;
mod completions;
mod convert;
mod environment;
mod explain;
mod inspect;
mod keys;
mod known;
mod layout;
mod lists;
mod manual;
mod map;
mod new;
mod page;
mod picture;
pub(crate) mod printer;
mod progress;
mod rate;
mod stick;

use std::ffi::OsString;
use std::io;
use std::process::ExitCode;
use std::sync::{Mutex, PoisonError};

use clap::FromArgMatches;

use crate::app::api::{Batch, Common};
use crate::app::cancel::Cancel;
use crate::app::error::AppError;
use crate::app::page::PageServer;
use crate::app::{api, rights};
use crate::cli::args::{Cli, Command, Global, UnitSystem};
use crate::cli::printer::Printer;
use crate::cli::progress::Meter;
use crate::finding::by_weight;
use crate::report::model::Report;

/// Exit status of a fault of haulm, and of misuse.
const FAULT: u8 = 2;
/// Exit status where another run has the output folder.
const BUSY: u8 = 3;

/// What a command leaves to be printed.
enum Outcome {
    /// A result for people or scripts.
    Report(Box<Report>),
    /// The same, with a line of JSON where others have a document, and whether another run has a folder.
    Batch(Box<Batch>),
    /// Text that is itself the result: completions.
    Text(String),
}

/// Runs the command that the arguments ask for, with the server of the page that `main` knows, and says how it went: 0 done, 1 refused or stopped, 2 misuse or fault, 3 output folder at another run, 130 and 143 for signals.
pub fn run(arguments: Vec<OsString>, pages: PageServer) -> ExitCode {
    let place = std::sync::Arc::new(Mutex::new(String::new()));
    let noted = std::sync::Arc::clone(&place);
    std::panic::set_hook(Box::new(move |fault| {
        let mut text = noted.lock().unwrap_or_else(PoisonError::into_inner);
        if text.is_empty() {
            *text = fault.to_string().replace('\n', " ");
        }
    }));
    let printer = Printer::of(&arguments);
    if let Err((error, names)) = environment::clean(&arguments) {
        let error = AppError::refused(
            "environment",
            "haulm cannot start itself in a clean environment",
        )
        .with_fact("this program", error.to_string())
        .with_fact("variables", names.join(", "))
        .with_hint("start it without these variables, which could change results");
        return printer
            .error("haulm", &error)
            .map_or(FAULT, |()| error.exit_status())
            .into();
    }
    std::panic::catch_unwind(|| execute(arguments, pages, &printer)).unwrap_or_else(|_| {
        let text = place.lock().unwrap_or_else(PoisonError::into_inner).clone();
        let error = AppError::fault("internal", "haulm met a fault of its own; outputs are as they were, or the next run completes them")
            .with_fact("haulm", concat!(env!("CARGO_PKG_VERSION"), ", at the place below"))
            .with_fact("place", text)
            .with_hint("please report it with the job file and this message");
        printer.error("haulm", &error).map_or(FAULT, |()| FAULT).into()
    })
}

fn execute(arguments: Vec<OsString>, pages: PageServer, printer: &Printer) -> ExitCode {
    let parsed = args::command(printer.colour())
        .try_get_matches_from(arguments)
        .and_then(|matches| Cli::from_arg_matches(&matches));
    let cli = match parsed {
        Ok(cli) => cli,
        Err(error) => return printer.usage(error).into(),
    };
    start_log(&cli.global, printer);
    let name = cli.command.name();
    let cancel = Cancel::new();
    let done = dispatch(cli, pages, &cancel, printer);
    let (printed, status) = match done {
        Ok(Outcome::Report(report)) => (printer.report(name, &report), u8::from(report.stopped)),
        Ok(Outcome::Batch(done)) => {
            let status = if done.busy {
                BUSY
            } else {
                u8::from(done.report.json["done"] != done.report.json["fields"])
            };
            (printer.batch(name, &done.report), status)
        }
        Ok(Outcome::Text(text)) => (printer.text(&text), 0),
        Err(error) => (printer.error(name, &error), error.exit_status()),
    };
    let status = cancel
        .signal()
        .map_or(status, crate::app::cancel::Signal::exit_status);
    match printed {
        // Whoever read the result has seen enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => status.into(),
        Err(error) => {
            let error = AppError::refused("stdout.write", "the result could not be printed")
                .with_fact("standard output", error.to_string())
                .with_hint(
                    "print to another place; what the run wrote to its output folder stands",
                );
            printer.say_error(&error);
            status.max(error.exit_status()).into()
        }
        Ok(()) => status.into(),
    }
}

fn dispatch(
    cli: Cli,
    pages: PageServer,
    cancel: &Cancel,
    printer: &Printer,
) -> Result<Outcome, AppError> {
    let common = Common {
        threads: cli.global.threads.map(|count| usize::from(count.get())),
        memory_mib: cli.global.memory.get(),
        network: cli.global.network,
        us_units: cli.global.units.map(|system| system == UnitSystem::Us),
        cancel: cancel.clone(),
        confined: match &cli.command {
            Command::Map(args) => Some(args.output.iter().cloned().collect()),
            // Files are made beside it.
            Command::Batch(args) if args.write_jobs => Some(vec![args.farm.clone()]),
            Command::Batch(args) => Some(args.stick.iter().cloned().collect()),
            Command::Picture(args) => Some(vec![args.output.clone()]),
            _ => Some(Vec::new()),
        },
    };
    let meter = Meter::new(printer.meter(cli.global.quiet));
    if cli.command.is_long() {
        let shown = meter.clone();
        let watched = cancel.watch(move |signal| shown.interrupt(signal));
        watched.map_err(|error| {
            AppError::fault("signals", "the system does not let haulm watch for Ctrl-C")
                .with_fact("signals", error.to_string())
        })?;
    }
    let report = match cli.command {
        Command::Map(args) => map::run(args, common, &meter),
        Command::Batch(args) => {
            let done = batch::run(args, common, printer, &meter);
            meter.finish();
            return done.map(|mut done| {
                done.report.findings.extend(rights::note());
                by_weight(&mut done.report.findings);
                Outcome::Batch(Box::new(done))
            });
        }
        Command::Check(args) => check::run(*args, &common, &meter),
        Command::Stick(args) => stick::run(args, common, &meter),
        Command::Convert(args) => convert::run(*args, common),
        Command::Inspect(args) => inspect::run(&args, &common, &meter),
        Command::Rate(args) => rate::run(*args, common),
        Command::New(args) => new::run(*args, common),
        Command::Picture(args) => picture::run(args, common, &meter),
        Command::Page(args) => page::run(args, common, pages, printer),
        Command::Indices => lists::run(api::List::Indices),
        Command::Methods(args) => match args.crop {
            Some(crop) => api::compare_methods(&crop),
            None => lists::run(api::List::Methods),
        },
        Command::Crops => lists::run(api::List::Crops),
        Command::Products => lists::run(api::List::Products),
        Command::Explain(args) if args.markdown => return Ok(Outcome::Text(api::findings_page())),
        Command::Explain(args) => explain::run(&args),
        Command::Keys(args) => return keys::run(&args),
        Command::Completions(args) => return Ok(Outcome::Text(completions::of(args.shell)?)),
        Command::Options => {
            let mut whole = args::command(printer.colour());
            whole.build();
            let text = whole
                .find_subcommand_mut("options")
                .map(|options| options.render_help().ansi().to_string());
            return Ok(Outcome::Text(text.unwrap_or_default()));
        }
        Command::Manual(args) => manual::run(&args),
    };
    meter.finish();
    report.map(|mut report| {
        report.findings.extend(rights::note());
        by_weight(&mut report.findings);
        Outcome::Report(Box::new(report))
    })
}

/// Logs are for those who work on haulm: off unless asked for.
fn start_log(global: &Global, printer: &Printer) {
    let level = match global.verbose {
        0 => return,
        1 => tracing::Level::INFO,
        2 => tracing::Level::DEBUG,
        _ => tracing::Level::TRACE,
    };
    let log = tracing_subscriber::fmt()
        .with_max_level(level)
        .with_writer(io::stderr)
        .with_ansi(printer.colours_errors())
        .finish();
    // Fails only when a log is there already, as when a test runs two commands in one process.
    let _ = tracing::subscriber::set_global_default(log);
}
