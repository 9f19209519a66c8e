//! Keywords as changes of a job's text: what they mean is for the job's own reader to say.

use haulm::app::change::Change;
use pyo3::exceptions::{PyTypeError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyDate, PyDict, PyFloat, PyInt, PyList, PyMapping, PyString, PyTuple};
use toml_edit::{Array, Datetime, InlineTable, Value};

/// Changes that keywords ask for: `rate={"maximum": "80 kg N/ha"}` is one of `rate.maximum`. Tables are gone into, so that what they do not name stays; `None`
/// takes a key out.
pub(crate) fn changes(sections: Option<&Bound<'_, PyDict>>) -> PyResult<Vec<Change>> {
    let mut found = Vec::new();
    for (name, value) in sections.iter().flat_map(|sections| sections.iter()) {
        add(&mut found, vec![name.extract()?], &value)?;
    }
    Ok(found)
}

fn add(found: &mut Vec<Change>, path: Vec<String>, value: &Bound<'_, PyAny>) -> PyResult<()> {
    if let Ok(table) = value.cast::<PyMapping>() {
        for item in table.items()?.iter() {
            let (name, value): (Bound<'_, PyAny>, Bound<'_, PyAny>) = item.extract()?;
            let mut inner = path.clone();
            inner.push(key(&path, &name)?);
            add(found, inner, &value)?;
        }
        return Ok(());
    }
    let value = if value.is_none() {
        None
    } else {
        Some(toml(&path.join("."), value)?.to_string())
    };
    found.push(Change { path, value });
    Ok(())
}

fn key(path: &[String], name: &Bound<'_, PyAny>) -> PyResult<String> {
    name.extract().map_err(|_error| {
        PyTypeError::new_err(format!(
            "{}: names of keys are texts, not {name}",
            path.join(".")
        ))
    })
}

/// A value as it would stand in a job.
fn toml(place: &str, value: &Bound<'_, PyAny>) -> PyResult<Value> {
    if let Ok(value) = value.cast::<PyBool>() {
        return Ok(value.is_true().into());
    }
    if let Ok(value) = value.cast::<PyString>() {
        return Ok(value.to_str()?.into());
    }
    if value.is_instance_of::<PyInt>() {
        return Ok(value.extract::<i64>()?.into());
    }
    if value.is_instance_of::<PyFloat>() {
        return Ok(value.extract::<f64>()?.into());
    }
    // A time of day is a date too; the reader says that none is due.
    if value.is_instance_of::<PyDate>() {
        let text: String = value.call_method0("isoformat")?.extract()?;
        let date: Datetime = text
            .parse()
            .map_err(|error| PyValueError::new_err(format!("{place}: {text}: {error}")))?;
        return Ok(date.into());
    }
    if value.is_instance_of::<PyList>() || value.is_instance_of::<PyTuple>() {
        let mut list = Array::new();
        for (number, item) in value.try_iter()?.enumerate() {
            list.push(toml(&format!("{place}[{number}]"), &item?)?);
        }
        return Ok(list.into());
    }
    if let Ok(table) = value.cast::<PyMapping>() {
        let mut inner = InlineTable::new();
        for item in table.items()?.iter() {
            let (name, value): (Bound<'_, PyAny>, Bound<'_, PyAny>) = item.extract()?;
            let name = key(&[place.to_owned()], &name)?;
            inner.insert(&name, toml(&format!("{place}.{name}"), &value)?);
        }
        return Ok(inner.into());
    }
    // Of the class: a class itself has such names and is no value.
    let kind = value.get_type();
    if kind.hasattr("__fspath__")? {
        let text: String = value.call_method0("__fspath__")?.extract()?;
        return Ok(text.into());
    }
    // Numbers of other libraries.
    if kind.hasattr("__index__")? {
        return Ok(value.extract::<i64>()?.into());
    }
    if kind.hasattr("__float__")? {
        return Ok(value.extract::<f64>()?.into());
    }
    Err(PyTypeError::new_err(format!(
        "{place}: a {} is no value of a job; give a text, number, date, true or false, list or table",
        kind.name()?
    )))
}
