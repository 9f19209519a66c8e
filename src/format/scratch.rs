//! Files in GDAL's memory and options of one thread, both gone when they go out of scope.

use std::sync::atomic::{AtomicU64, Ordering};

use gdal::config::{
    clear_thread_local_config_option, get_thread_local_config_option,
    set_thread_local_config_option,
};
use gdal::errors::GdalError;
use gdal::vsi::{get_vsi_mem_file_bytes_owned, unlink_mem_file};

static NEXT: AtomicU64 = AtomicU64::new(0);

/// A file in GDAL's memory under a name that no other has.
#[derive(Debug)]
pub(crate) struct Scratch {
    path: String,
}

impl Scratch {
    /// A name not yet used; the file is made by whoever writes to it.
    pub(crate) fn new(extension: &str) -> Self {
        Self {
            path: format!(
                "/vsimem/haulm-{}.{extension}",
                NEXT.fetch_add(1, Ordering::Relaxed)
            ),
        }
    }
    /// Its name.
    pub(crate) fn path(&self) -> &str {
        &self.path
    }
    /// Its content. Close whatever writes to it first.
    ///
    /// # Errors
    /// When nobody wrote to it.
    pub(crate) fn into_bytes(self) -> Result<Vec<u8>, GdalError> {
        get_vsi_mem_file_bytes_owned(&self.path)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // Already gone when its bytes were taken.
        drop(unlink_mem_file(&self.path));
    }
}

/// A GDAL option that holds for this thread only, as long as this value lives.
#[derive(Debug)]
pub(crate) struct ThreadOption {
    key: &'static str,
    before: String,
}

impl ThreadOption {
    /// Sets it.
    ///
    /// # Errors
    /// When key or value hold a zero byte.
    pub(crate) fn set(key: &'static str, value: &str) -> Result<Self, GdalError> {
        let before = get_thread_local_config_option(key, "")?;
        set_thread_local_config_option(key, value)?;
        Ok(Self { key, before })
    }
}

impl Drop for ThreadOption {
    fn drop(&mut self) {
        // Neither can fail: the key was taken before and the value came from GDAL.
        drop(if self.before.is_empty() {
            clear_thread_local_config_option(self.key)
        } else {
            set_thread_local_config_option(self.key, &self.before)
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_differ_and_options_end() {
        assert_ne!(Scratch::new("tif").path(), Scratch::new("tif").path());
        assert!(Scratch::new("tif").into_bytes().is_err());
        {
            let _held = ThreadOption::set("HAULM_TEST", "outer").unwrap();
            {
                let _inner = ThreadOption::set("HAULM_TEST", "inner").unwrap();
                assert_eq!(
                    get_thread_local_config_option("HAULM_TEST", "none").unwrap(),
                    "inner"
                );
            }
            assert_eq!(
                get_thread_local_config_option("HAULM_TEST", "none").unwrap(),
                "outer"
            );
        }
        assert_eq!(
            get_thread_local_config_option("HAULM_TEST", "none").unwrap(),
            "none"
        );
    }
}
