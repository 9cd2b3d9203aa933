//! A number of things with its word; nothing about what the things are.

/// `1 link`, `2 links`: a count with its word in the right number.
pub fn several(n: usize, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}
