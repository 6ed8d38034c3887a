//! Cross-checks.
