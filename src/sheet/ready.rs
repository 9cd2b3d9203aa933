//! Built before the program: the sheets of `sheets/` in a form that is read in a tenth of the time.
//!
//! A program that starts in a blink cannot read 180 kB of TOML first. Holds no rule: what a sheet may
//! hold is checked in `load.rs`, and a test holds the ready form to the files.

#![expect(clippy::print_stdout, reason = "that is how cargo is spoken to")]

use std::error::Error;
use std::fs;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=sheets");
    println!("cargo::rerun-if-changed=src/sheet/ready.rs");
    let out = std::env::var("OUT_DIR")?;
    for entry in fs::read_dir("sheets")? {
        let path = entry?.path();
        let is_definition = path.extension().is_some_and(|ending| ending == "toml");
        if let (true, Some(name)) = (is_definition, path.file_stem()) {
            let text = fs::read_to_string(&path)?;
            let read: serde_json::Value =
                toml::from_str(&text).map_err(|error| format!("{}: {error}", path.display()))?;
            let ready = Path::new(&out).join(name).with_extension("json");
            fs::write(ready, read.to_string())?;
        }
    }
    Ok(())
}
