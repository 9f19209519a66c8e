//! SHA-256 (FIPS 180-4) of outputs, in lower-case hexadecimal.

use std::fmt::Write;
use std::io;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

/// Of bytes in memory.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Of a file, read in pieces.
///
/// # Errors
/// When the file cannot be read.
pub fn sha256_of_file(path: &Path) -> io::Result<String> {
    let mut file = fs_err::File::open(path)?;
    let mut digest = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Ok(hex(&digest.finalize())),
            Ok(count) => digest.update(&piece[..count]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
            // Writing to a String does not fail.
            let _ = write!(text, "{byte:02x}");
            text
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digest_of_abc() {
        // FIPS 180-4, example "abc" of NIST's example values (from memory).
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256_hex(b"abc"), expected);
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("abc");
        fs_err::write(&file, "abc").unwrap();
        assert_eq!(sha256_of_file(&file).unwrap(), expected);
    }
}
