//! `haulm page`.

use crate::app::error::AppError;
use crate::app::page::{PageRequest, PageServer, Started};
use crate::app::requests::Common;
use crate::app::rights;
use crate::cli::args::PageArgs;
use crate::cli::printer::Printer;
use crate::report::model::Report;

pub(crate) fn run(
    args: PageArgs,
    common: Common,
    serve: PageServer,
    printer: &Printer,
) -> Result<Report, AppError> {
    let PageArgs {
        path,
        write,
        port,
        lan,
    } = args;
    let request = PageRequest {
        path,
        write,
        lan,
        port,
        common,
    };
    serve(&request, &|started| {
        // Whoever closed the terminal can no longer be told, and the page still serves.
        let _ = printer.text(&wording(started));
    })
}

/// What is printed when the page listens.
fn wording(started: &Started) -> String {
    let mut lines = vec![
        format!("The page is open at {}", started.address),
        format!(
            "It shows {}{}",
            started.folder.display(),
            if started.write {
                ", and may change jobs and write maps there."
            } else {
                ", for looking: start it with --write to change and write."
            }
        ),
    ];
    if let (Some(code), Some(fingerprint)) = (&started.code, &started.fingerprint) {
        lines.extend(started.picture.clone());
        lines.push(format!(
            "Code for one device: {code}. Everybody on this network who has it is let in; the next device gets another, printed here."
        ));
        lines.push(format!(
            "The browser will warn, since nobody vouches for the certificate: compare its SHA-256 before you go on.\n{fingerprint}"
        ));
    }
    lines.extend(rights::note().map(|note| format!("Note: {} ({})", note.message, note.code)));
    lines.push("Ctrl-C closes it.\n".to_owned());
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_for_the_network_says_code_and_fingerprint() {
        let started = Started {
            address: "https://192.168.1.20:4321/#abc".to_owned(),
            folder: "fields".into(),
            write: false,
            code: Some("abc".to_owned()),
            picture: Some("blocks".to_owned()),
            fingerprint: Some("AA:BB".to_owned()),
        };
        let text = wording(&started);
        for part in [
            "https://192.168.1.20:4321/#abc",
            "for looking",
            "blocks",
            "Code for one device: abc",
            "AA:BB",
            "Ctrl-C",
        ] {
            assert!(text.contains(part), "{part}");
        }
    }
}
