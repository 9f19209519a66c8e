//! Numbers with their nouns.

/// "1 map", "3 maps": English nouns that take an s.
pub(crate) fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_not_many() {
        let said = [0, 1, 2].map(|count| counted(count, "caution"));
        assert_eq!(said, ["0 cautions", "1 caution", "2 cautions"]);
    }
}
