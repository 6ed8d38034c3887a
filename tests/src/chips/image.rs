//! A linked firmware: its sizes, and the symbols that must not be in it.

use std::fs;
use std::path::{Path, PathBuf};

use object::{Object, ObjectSection, ObjectSymbol, SectionFlags, SectionKind, elf};

use super::ChipsError;

/// Section of what is copied from flash to memory at start.
const DATA_SECTION: &str = ".data";
/// Parts of the names of panic paths, of compilers' helpers for floats, for 64 bits, and for division.
///
/// Helpers begin with two underscores; mangled names of Rust's own library have its crates in them. The endings are those of the
/// machine modes in the names of libgcc's functions: `si` 32 bits, `di` 64 bits, `sf` and `df` floats.
const PANIC: [&str; 2] = ["panicking", "rust_begin_unwind"];
const HELPERS: [&str; 16] = [
    "div",
    "mod",
    "di2",
    "di3",
    "di4",
    "sidi",
    "_aeabi_l",
    "_aeabi_ul",
    "sf2",
    "sf3",
    "df2",
    "df3",
    "float",
    "_fix",
    "_aeabi_f",
    "_aeabi_d",
];

/// One linked firmware.
#[derive(Clone, Debug)]
pub(crate) struct Image {
    pub(crate) path: PathBuf,
    flash_bytes: u64,
    data_bytes: u64,
    /// Symbols that must not be linked in.
    pub(crate) forbidden: Vec<String>,
    symbols: Vec<(String, u64)>,
}

/// What the policy adds to the smallest firmware.
#[derive(Clone, Debug)]
pub(crate) struct Sizes {
    pub(crate) flash_bytes: u64,
    pub(crate) data_bytes: u64,
    pub(crate) forbidden: Vec<String>,
}

impl Image {
    /// Reads a linked ELF file.
    pub(crate) fn read(path: &Path) -> Result<Self, ChipsError> {
        let bytes = fs::read(path)?;
        let strange = |error: object::Error| ChipsError::Strange(format!("{}: {error}", path.display()));
        let file = object::File::parse(&*bytes).map_err(strange)?;
        let mut image = Self {
            path: path.to_owned(),
            flash_bytes: 0,
            data_bytes: 0,
            forbidden: Vec::new(),
            symbols: Vec::new(),
        };
        for section in file.sections() {
            let SectionFlags::Elf { sh_flags } = section.flags() else {
                continue;
            };
            if sh_flags & u64::from(elf::SHF_ALLOC) == 0 || section.kind() == SectionKind::UninitializedData {
                continue;
            }
            image.flash_bytes += section.size();
            if section.name().map_err(strange)? == DATA_SECTION {
                image.data_bytes += section.size();
            }
        }
        for symbol in file.symbols() {
            let name = symbol.name().map_err(strange)?;
            if is_forbidden(name) && symbol.is_definition() {
                image.forbidden.push(name.to_owned());
            }
            image.symbols.push((name.to_owned(), symbol.address()));
        }
        Ok(image)
    }

    /// Address of a symbol.
    pub(crate) fn address(&self, symbol: &str) -> Result<u64, ChipsError> {
        let found = self.symbols.iter().find(|(name, _)| name == symbol);
        let missing = || ChipsError::Strange(format!("{} has no symbol {symbol}", self.path.display()));
        found.map(|(_, address)| *address).ok_or_else(missing)
    }

    /// What this image has beyond `base`.
    pub(crate) fn beyond(&self, base: &Self) -> Sizes {
        Sizes {
            flash_bytes: self.flash_bytes.saturating_sub(base.flash_bytes),
            data_bytes: self.data_bytes.saturating_sub(base.data_bytes),
            forbidden: self.forbidden.clone(),
        }
    }
}

fn is_forbidden(name: &str) -> bool {
    let is_panic = PANIC.iter().any(|part| name.contains(part));
    let is_helper = name.starts_with("__") && HELPERS.iter().any(|part| name.contains(part));
    let is_rust_helper =
        name.contains("compiler_builtins") && ["div", "float"].iter().any(|part| name.contains(part));
    is_panic || is_helper || is_rust_helper
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Names that compilers link in for a division, a 64-bit product and shift, a float, and a panic.
    #[test]
    fn helpers_and_panics_are_found() {
        for name in [
            "__udivmodsi4",
            "__aeabi_uidivmod",
            "__aeabi_lmul",
            "__aeabi_ulcmp",
            "__muldi3",
            "__lshrdi3",
            "__umulsidi3",
            "__addsf3",
            "__aeabi_fadd",
            "__floatsisf",
            "_RNvNtCscSmOAlAQlcP_4core9panicking5panic",
            "rust_begin_unwind",
        ] {
            assert!(is_forbidden(name), "{name}");
        }
    }

    /// Names that any firmware has, and 16-bit and 32-bit multiplication.
    #[test]
    fn what_belongs_to_a_firmware_passes() {
        for name in [
            "__mulsi3",
            "__umulhisi3",
            "__do_copy_data",
            "__dtors_start",
            "__bss_end",
            "__data_load_start",
            "crack_gauge_decide",
            "stream_display_case",
            "memcpy",
            "__aeabi_memcpy",
        ] {
            assert!(!is_forbidden(name), "{name}");
        }
    }
}
