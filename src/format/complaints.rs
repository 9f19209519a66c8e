//! What GDAL complains of while it reads. A layer that ends early looks like a short one, and a damaged tile like a dark one: the reason goes to the error
//! handler alone.

use std::sync::{Mutex, Once, PoisonError};
use std::thread;
use std::thread::ThreadId;

use gdal::errors::CplErrType;

/// A complaint: the thread that it was made on, and whether that may be one that a driver made for itself.
struct Wording {
    thread: ThreadId,
    nameless: bool,
    text: String,
}

/// In one place for all threads: a driver that decodes on threads of its own complains there.
static WORDING: Mutex<Vec<Wording>> = Mutex::new(Vec::new());
/// Threads that ask for their complaints.
static ASKING: Mutex<Vec<ThreadId>> = Mutex::new(Vec::new());

/// More than these are not kept; the oldest go, which nobody asked for.
const MAXIMUM: usize = 200;

/// Warnings that speak of how a file is written, and of nothing that is lost: parts of their texts.
const HARMLESS: [&str; 24] = [
    // Tags that the TIFF library does not know, or finds in an odd form.
    "Unknown field with tag",
    "does not end in null byte",
    "contains null byte",
    "Nonstandard tile",
    "tags are not sorted in ascending order",
    "Invalid data type for tag",
    "Photometric type-related color channels",
    "TIFFReadDirectory:Ignoring",
    "Wrong data type",
    // Names and citations of reference systems; the system itself is judged where it is read.
    "not the same as the one from the EPSG registry",
    "is deprecated",
    "CRS definition",
    "PROJ: ",
    // Rings that run the other way round, and many parts: nothing is left out.
    "invalid winding order",
    "polygon with more than 100 parts",
    "organizePolygons() received a polygon with more than",
    // Versions and names of databases.
    "application_id",
    "user_version",
    "non conformant file extension",
    "partially supported",
    // A picture's profile of colours.
    "iCCP:",
    "sRGB",
    // A schema that is not fetched, and one that is not there.
    "schema",
    // Pixels beyond the edge of an image in its last tiles.
    "tile size",
];

/// Keeps failures and warnings in place of printing them.
pub(crate) fn listen() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        gdal::config::set_error_handler(|kind, _, text| {
            let counts = match kind {
                CplErrType::Failure | CplErrType::Fatal => true,
                CplErrType::Warning => !HARMLESS.iter().any(|part| text.contains(part)),
                CplErrType::None | CplErrType::Debug => false,
            };
            if counts {
                let mut wording = WORDING.lock().unwrap_or_else(PoisonError::into_inner);
                if wording.len() == MAXIMUM {
                    wording.remove(0);
                }
                let thread = thread::current();
                wording.push(Wording {
                    thread: thread.id(),
                    nameless: thread.name().is_none(),
                    text: text.lines().collect::<Vec<_>>().join(" "),
                });
            }
        });
    });
}

/// Complaints of this thread since the last call, and of a driver's own threads; forgets them.
pub(crate) fn take() -> Vec<String> {
    let own = thread::current().id();
    let asking = {
        let mut asking = ASKING.lock().unwrap_or_else(PoisonError::into_inner);
        if !asking.contains(&own) {
            asking.push(own);
        }
        asking.clone()
    };
    let mut wording = WORDING.lock().unwrap_or_else(PoisonError::into_inner);
    if wording.is_empty() {
        return Vec::new();
    }
    let (mine, others): (Vec<Wording>, Vec<Wording>) = std::mem::take(&mut *wording)
        .into_iter()
        .partition(|one| one.thread == own || one.nameless && !asking.contains(&one.thread));
    *wording = others;
    mine.into_iter().map(|one| one.text).collect()
}
