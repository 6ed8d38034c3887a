//! `millpond workbench`: the library in a page, with the node's inputs as fields.

use std::path::Path;

use millpond::input::LoadError;
use millpond::node::NodeFile;
use millpond::visible;
use millpond::workbench;

use crate::cli::Workbench;
use crate::failure::Failure;
use crate::serve;

/// The library compiled for WebAssembly, where this program was built with it.
#[cfg(feature = "workbench")]
const WASM: Option<&[u8]> = Some(include_bytes!(env!("MILLPOND_WASM")));
#[cfg(not(feature = "workbench"))]
const WASM: Option<&[u8]> = None;

const WITHOUT: &str = "this millpond was built without the workbench; `cargo install --path generator --features workbench` builds \
                       one with it, given `rustup target add wasm32-unknown-unknown`";

/// node file → page → file, or a server on this machine alone
pub(crate) fn run(arguments: &Workbench) -> Result<(), Failure> {
    let wasm = WASM.ok_or_else(|| Failure::Unusable(WITHOUT.to_owned()))?;
    let (text, profiles) = match NodeFile::load(&arguments.node) {
        Ok(file) => (file.text, file.profiles),
        // The page is a place to mend a node file in.
        Err(LoadError::Refused(problems)) => {
            super::say_problems(&problems);
            let mut files = problems.files.into_iter();
            let text = files.next().map_or_else(String::new, |file| file.text);
            (text, files.collect())
        }
        Err(other) => return Err(other.into()),
    };
    let profiles = profiles.into_iter().map(|file| (file.path, file.text)).collect();
    let name = arguments.node.file_name().unwrap_or(arguments.node.as_os_str());
    let page = workbench::page(&visible::path(Path::new(name)), &text, &profiles, wasm);
    let Some(output) = &arguments.output else {
        return serve::page(&page, arguments.port);
    };
    super::write(&[(output.clone(), page)])
}
