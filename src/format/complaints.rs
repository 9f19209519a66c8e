//! What GDAL complains of while it reads. A layer that ends early looks like a short one: the reason goes to the error handler alone.

use std::cell::RefCell;
use std::sync::Once;

use gdal::errors::CplErrType;

thread_local! {
    static SAID: RefCell<Vec<String>> = const { RefCell::new(Vec::new()) };
}

/// More than these are not kept: the first ones say why.
const MOST: usize = 20;

/// Keeps failures in place of printing them; warnings are dropped.
pub fn listen() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // A ring whose ends lie apart is a complaint, not a ring: where it was meant to close nobody can tell.
        let _ = gdal::config::set_config_option("OGR_GEOMETRY_ACCEPT_UNCLOSED_RING", "NO");
        gdal::config::set_error_handler(|kind, _, text| {
            if matches!(kind, CplErrType::Failure | CplErrType::Fatal) {
                // A handler that is called while the list is looked at has nobody to tell.
                let _ = SAID.try_with(|said| {
                    if let Ok(mut said) = said.try_borrow_mut()
                        && said.len() < MOST
                    {
                        said.push(text.lines().collect::<Vec<_>>().join(" "));
                    }
                });
            }
        });
    });
}

/// Failures of this thread since the last call, and forgets them.
pub(crate) fn take() -> Vec<String> {
    SAID.with_borrow_mut(std::mem::take)
}
