//! `haulm indices`, `methods`, `crops` and `products`.

use crate::app::api;
use crate::app::api::List;
use crate::app::error::AppError;
use crate::report::model::Report;

pub(crate) fn run(list: List) -> Result<Report, AppError> {
    api::list(list)
}
